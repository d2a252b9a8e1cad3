"""Another studio's release taken into this one: first shown, then adopted as chosen."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...releases.adopt import Adoption, adopt
from ...releases.compare import masstones
from ...releases.load import load_release
from ...releases.trust import judge
from ...store.store import Store
from ..asked import Asked, Changed, go, shown, view
from ..jobs import Progress
from ..uploads import keep, kept

ARCHIVES = (".zip",)
LEAVE, THEIRS, BESIDE, IN = "leave", "theirs", "beside", "in"
CHOICES = {
    "new": {IN: "take it in", LEAVE: "leave it"},
    "same": {LEAVE: "keep ours", THEIRS: "mix by theirs", BESIDE: "keep both"},
    "other": {LEAVE: "leave it", BESIDE: "take it in"},
}
"""What can be done with a paint that isn't here, one that is, and one whose nickname is taken."""


@view
def release(asked: Asked) -> Response:
    """What a dropped release holds, and what stands against it."""
    file = asked.text("file")
    said: dict[str, Any] = {"found": None, "rows": [], "seen": ""}
    if file:
        path = kept(asked.studio, [file])[0]
        with asked.store() as store:
            found = adopt(store, path, digest=asked.text("digest") or None, preview=True)
            said |= {"found": found, "rows": _rows(found, path), "seen": _seen(store, found)}
    return asked.show("adopt.html", file=file, choices=CHOICES, **said)


def _rows(found: Adoption, path: Path) -> list[dict[str, Any]]:
    against = {conflict.paint: conflict for conflict in found.conflicts}
    theirs = load_release(path)
    names = theirs.tables["paints"].set_index("paint")["name"]
    colours = dict(zip(found.paints, masstones(theirs.select(list(found.paints))), strict=True))
    rows = []
    for paint in found.paints:
        conflict = against.get(paint)
        kind = "new" if conflict is None else "same" if conflict.same else "other"
        ours = "" if conflict is None else conflict.ours
        rows.append(
            {"paint": paint, "name": str(names[paint]), "kind": kind, "ours": ours}
            | {"lab": colours[paint]}
        )
    return rows


def _seen(store: Store, found: Adoption) -> str:
    here = sorted(paint.nickname for paint in store.paints.all())
    return shown([found.digest, here, sorted(store.fits.current().items())])


@view
def take_release(asked: Asked) -> Response:
    """Keep a dropped release, and show what it holds."""
    return show_release(asked)


def show_release(asked: Asked) -> Response:
    """Keep a release dropped here, or where any file may be, and show what it holds."""
    files = keep(asked.studio, asked.uploads("files"), ARCHIVES)
    # A studio may begin with what another gave it.
    with asked.store(create=True):
        pass
    digest = {"digest": asked.text("digest")} if asked.text("digest") else {}
    return go("/adopt", {"file": files[0].name} | digest)


@view
def adopt_now(asked: Asked) -> Response:
    """Adopt what was chosen of a release, all or none."""
    path = kept(asked.studio, [asked.text("file")])[0]
    digest, seen = asked.text("digest") or None, asked.text("seen")
    with asked.store() as store:
        found = adopt(store, path, digest=digest, preview=True)
        if _seen(store, found) != seen:
            raise Changed("what it was compared with")
    kinds = {row["paint"]: row["kind"] for row in _rows(found, path)}
    chosen = {
        paint: asked.one_of(f"do:{paint}", list(CHOICES[kind])) or next(iter(CHOICES[kind]))
        for paint, kind in kinds.items()
    }
    take = [paint for paint, what in chosen.items() if what == THEIRS]
    skip = [paint for paint, what in chosen.items() if what == LEAVE]
    rename = {
        paint: asked.text(f"name:{paint}") for paint, what in chosen.items() if what == BESIDE
    }

    # What can't be is said beside the form, which keeps what was chosen.
    with asked.store() as store:
        left = adopt(store, path, rename, take, skip, digest, preview=True).conflicts
    if left:
        raise InputError(path.name, left[0].paint, left[0].words, "nothing was adopted")

    unproven, here = (asked.text(key) == "yes" for key in ("unproven", "here"))
    taken = [rename.get(paint, paint) for paint in found.paints if paint not in skip]

    def work(progress: Progress) -> str:
        progress("fitting its readings anew")
        with asked.store() as store:
            # Before the lock: nobody waits for a fit.
            trust = judge(path, digest, store.keys, progress=progress)
            with store.transaction():
                if _seen(store, found) != seen:
                    raise Changed("what it was compared with")
                adopt(store, path, rename, take, skip, digest, False, unproven, trust)
                for paint in taken if here else ():
                    store.paints.set_on_hand(paint, True)
        return f"/mix?{urlencode({'lay': taken}, doseq=True)}" if here else "/fits"

    back = f"/adopt?file={path.name}"
    return asked.job(f"Adopting {found.release}", back, work)
