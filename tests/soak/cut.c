/* Loaded before the C library: counts what is done to files below one folder, and at a given one
   kills the process, half a write done, or has the disk full from then on. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

enum { IDLE, KILL, FULL };
static int what = IDLE;
static atomic_long done, at;
static char below[4096];

/* mode KILL or FULL; number 0 only counts. */
void cut_begin(int mode, long number, const char *folder) {
    snprintf(below, sizeof below, "%s", folder);
    atomic_store(&done, 0);
    atomic_store(&at, number);
    what = mode;
}

long cut_end(void) {
    what = IDLE;
    return atomic_load(&done);
}

static int is_below(const char *path) { return !strncmp(path, below, strlen(below)); }

static int by_number(int file) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t size = readlink(link, path, sizeof path - 1);
    if (size < 0) return 0;
    path[size] = 0;
    return is_below(path);
}

static int by_name(const char *name) {
    char folder[4096];
    if (name && *name == '/') return is_below(name);
    return getcwd(folder, sizeof folder) && is_below(folder);
}

/* Whether this is the one. `grows` says that it takes room on the disk. */
static int falls(int ours, int grows) {
    if (what == IDLE || !ours || (what == FULL && !grows)) return 0;
    long number = atomic_fetch_add(&done, 1) + 1;
    if (!at) return 0;
    return what == KILL ? number == at : number >= at;
}

static void die(void) { kill(getpid(), SIGKILL); for (;;) pause(); }

#define NEXT(name) __typeof__(&name) next = (__typeof__(&name))dlsym(RTLD_NEXT, #name)
#define CUT(ours, grows) \
    if (falls(ours, grows)) { if (what == KILL) die(); errno = ENOSPC; return -1; }

#define WRITES(name, extra, passed) \
    ssize_t name(int file, const void *data, size_t size extra) { \
        NEXT(name); \
        if (what != IDLE && falls(by_number(file), 1)) { \
            if (what == KILL) { next(file, data, size / 2 passed); die(); } \
            errno = ENOSPC; \
            return -1; \
        } \
        return next(file, data, size passed); \
    }
#define AND(...) , __VA_ARGS__
WRITES(write, , )
WRITES(pwrite, AND(off_t place), AND(place))
WRITES(pwrite64, AND(off64_t place), AND(place))

#define OPENS(name) \
    int name(const char *path, int flags, ...) { \
        NEXT(name); \
        va_list rest; va_start(rest, flags); mode_t mode = va_arg(rest, mode_t); va_end(rest); \
        if (what != IDLE && flags & (O_CREAT | O_TRUNC)) \
            CUT(by_name(path), flags & O_CREAT && access(path, F_OK)) \
        return next(path, flags, mode); \
    }
OPENS(open)
OPENS(open64)

#define OPENS_AT(name) \
    int name(int folder, const char *path, int flags, ...) { \
        NEXT(name); \
        va_list rest; va_start(rest, flags); mode_t mode = va_arg(rest, mode_t); va_end(rest); \
        if (what != IDLE && flags & (O_CREAT | O_TRUNC)) \
            CUT(by_name(path), flags & O_CREAT && faccessat(folder, path, F_OK, 0)) \
        return next(folder, path, flags, mode); \
    }
OPENS_AT(openat)
OPENS_AT(openat64)

#define ONE(type, name, arguments, passed, ours, grows) \
    type name arguments { \
        NEXT(name); \
        if (what != IDLE) CUT(ours, grows) \
        return next passed; \
    }
ONE(int, rename, (const char *from, const char *to), (from, to), by_name(to), 0)
ONE(int, link, (const char *from, const char *to), (from, to), by_name(to), 1)
ONE(int, unlink, (const char *path), (path), by_name(path), 0)
ONE(int, unlinkat, (int folder, const char *path, int flags), (folder, path, flags),
    *path == '/' ? is_below(path) : by_number(folder), 0)
ONE(int, rmdir, (const char *path), (path), by_name(path), 0)
ONE(int, mkdir, (const char *path, mode_t mode), (path, mode), by_name(path), 1)
ONE(int, ftruncate, (int file, off_t size), (file, size), by_number(file), size > 0)
ONE(int, ftruncate64, (int file, off64_t size), (file, size), by_number(file), size > 0)
ONE(int, fsync, (int file), (file), by_number(file), 0)
ONE(int, fdatasync, (int file), (file), by_number(file), 0)
ONE(int, fchmod, (int file, mode_t mode), (file, mode), by_number(file), 0)
ONE(ssize_t, sendfile, (int to, int from, off_t *place, size_t size), (to, from, place, size),
    by_number(to), 1)
ONE(ssize_t, sendfile64, (int to, int from, off64_t *place, size_t size), (to, from, place, size),
    by_number(to), 1)
