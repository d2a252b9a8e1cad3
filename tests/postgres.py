"""A PostgreSQL server of our own for tests: never root's, gone when they end."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

USER = "bench"


def programs() -> Path | None:
    """Folder of the server's programs, where Debian's packages or the path have them."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    found = [str(path) for path in debian] or [shutil.which("initdb")]
    return Path(found[0]).resolve().parent if found[0] else None


def why_not() -> str | None:
    """Why no server can be started here; None where one can."""
    if programs() is None:
        return "PostgreSQL isn't installed here (Debian: apt-get install postgresql)"
    if os.geteuid() == 0 and shutil.which("setpriv") is None:
        return "PostgreSQL won't run as root, and there is no setpriv to become another user"
    return None


@contextmanager
def server() -> Iterator[str]:
    """Start a server that listens on a socket alone; yields its URL without a database's name."""
    where = programs()
    assert where is not None
    folder = Path(tempfile.mkdtemp(prefix="tl-pg-", dir="/tmp"))  # a socket's path must be short
    as_user = []
    if os.geteuid() == 0:
        # Nobody's: the server refuses to be root's.
        os.chown(folder, 65534, 65534)
        as_user = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
    data, log = folder / "data", (folder / "log").open("w")
    told = {"stdout": log, "stderr": log, "cwd": "/"}
    made = [where / "initdb", "-D", data, "-U", USER, "-A", "trust", "-E", "UTF8", "--no-sync"]
    running = None
    try:
        subprocess.run([*as_user, *made], check=True, **told)
        options = ["-D", data, "-k", folder, "-c", "listen_addresses=", "-F"]
        running = subprocess.Popen([*as_user, where / "postgres", *options], **told)
        for _ in range(200):
            ready = [where / "pg_isready", "-q", "-h", folder, "-U", USER]
            if subprocess.run(ready, check=False, **told).returncode == 0:
                break
            assert running.poll() is None, (folder / "log").read_text()
            time.sleep(0.05)
        yield f"postgresql://{USER}@/{{}}?host={folder}"
    finally:
        if running is not None:
            running.send_signal(signal.SIGINT)  # a fast shutdown: waits for no client
            running.wait(timeout=30)
        log.close()
        shutil.rmtree(folder, ignore_errors=True)


def new_database(url: str, name: str) -> str:
    """Make a database, and return its URL."""
    import psycopg

    with psycopg.connect(url.format("postgres"), autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    return url.format(name)
