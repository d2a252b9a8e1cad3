"""Releases: what would be published, publishing it, and what changed between two."""

from __future__ import annotations

import hashlib

from starlette.responses import FileResponse, HTMLResponse, Response

from ....calibrate.errors import InputError
from ....calibrate.optics.colour import in_words
from ...paper.report.page import report
from ...pictures.compared import comparison_figure
from ...releases.compare import Numbers, compare, of_release, of_store
from ...releases.files import SUMS, read_files, sha256
from ...releases.load import load_release
from ...releases.publish import ReleasePlan, find_release, plan, publish, releases
from ...store.store import Store
from ..asked import Asked, Changed, view
from ..drawing import drawn
from ..jobs import Progress
from ..remedies import on_page


@view
def preview(asked: Asked) -> Response:
    """What would be published, and what stands against it."""
    excluded = asked.texts("exclude")
    with asked.store() as store:
        try:
            made = plan(store, exclude=excluded)
        except InputError as error:
            return asked.show("publish.html", plan=None, line=on_page(error))
        names = {paint.nickname: paint.name for paint in store.paints.all()}
        from_scans = store.fits.scan_made()
    stopping = {g.paint for g in made.gates if g.stops and g.paint}
    return asked.show(
        "publish.html", plan=made, excluded=excluded, seen=_seen(made), names=names,
        offered=sorted({*stopping, *from_scans, *excluded}),
    )  # fmt: skip


def _seen(made: ReleasePlan) -> str:
    """What a plan would publish, in few letters: so that nothing else is published for it."""
    held = [(paint, said["fit"]) for paint, said in sorted(made.contents.paints.items())]
    return hashlib.sha256(repr((made.version, held)).encode()).hexdigest()[:16]


@view
def publish_now(asked: Asked) -> Response:
    """Publish what was shown."""
    excluded, seen = asked.texts("exclude"), asked.text("seen")
    note, force = asked.text("note"), asked.text("force")

    def work(progress: Progress) -> str:
        progress("writing tables")
        with asked.store() as store, store.transaction():
            if _seen(plan(store, exclude=excluded)) != seen:
                raise Changed("what would be published")
            made = publish(store, note=note, exclude=excluded, force=force)
        return f"/releases?fresh={made.version}"

    return asked.job("Publishing", "/publish", work)


@view
def all_releases(asked: Asked) -> Response:
    """The releases so far."""
    with asked.store() as store:
        found = releases(store)
    return asked.show("releases.html", releases=found[::-1])


@view
def archive(asked: Asked) -> Response:
    """A release as one file."""
    with asked.store() as store:
        place = find_release(store, asked.path("version"))
    file = place.with_name(f"{place.name.removesuffix('.zip')}.zip")
    if not file.is_file():
        raise InputError(None, file.name, "is gone from the releases", "bring it back there")
    return FileResponse(file, media_type="application/zip", filename=file.name)


@view
def report_page(asked: Asked) -> Response:
    """The page of a release, as `report` makes it."""
    with asked.store() as store:
        place = find_release(store, asked.path("version"))
    loaded = load_release(place)
    sums = read_files(place).get(SUMS)
    made = report(loaded, sha256(sums) if sums else "")
    # It states a policy of its own, which lets in the one style and script that it carries.
    return HTMLResponse(made, headers={"Content-Security-Policy": "frame-ancestors 'none'"})


@view
def comparison(asked: Asked) -> Response:
    """What changed from one release to another, or to now."""
    with asked.store() as store:
        versions = [row.version for row in releases(store)][::-1]
        old, new = asked.text("old") or (versions or [""])[0], asked.text("new") or "now"
        if not versions:
            raise InputError(None, None, "nothing was published yet", "publish first")
        found = compare(_numbers(store, old), _numbers(store, new))
    table = found.table[found.table["refitted"]].copy()
    table["most"] = table[["masstone_de00", "tint_de00"]].fillna(0.0).max(axis=1)
    rows = table.sort_values("most", ascending=False, kind="stable").to_dict("records")
    return asked.show(
        "compare.html", found=found, rows=rows, versions=versions, old=old, new=new,
        in_words=in_words,
    )  # fmt: skip


def _numbers(store: Store, which: str) -> Numbers:
    if which == "now":
        return of_store(store)
    return of_release(load_release(find_release(store, which)))


@view
def comparison_picture(asked: Asked) -> Response:
    """The same as a picture."""
    with asked.store() as store:
        found = compare(_numbers(store, asked.text("old")), _numbers(store, asked.text("new")))
    return drawn(lambda: comparison_figure(found))
