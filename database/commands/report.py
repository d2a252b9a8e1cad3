"""Make the page of a release."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say, working

EXAMPLE = "tintladder report --out paints.html"


def report(
    release: Annotated[
        str | None,
        typer.Argument(help="Folder or zip of a release, or a version; without it, the last one."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="An .html file; without it, reports/RELEASE.html in this folder."
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write one page of a release, for any browser.

    The page has a wall of swatches, every paint, and how far to trust it.
    """
    from ...calibrate.errors import InputError

    if out is not None and out.suffix.lower() not in (".html", ".htm"):
        raise InputError(out, None, "expected a file that ends in .html", "give such a name")
    place = _place(release, studio)
    with working("Making the page", as_json) as progress:
        from ..common.files import write_whole
        from ..paper.report.page import report as page_of
        from ..releases.files import SUMS, read_files, sha256
        from ..releases.load import load_release

        loaded = load_release(place)
        sums = read_files(place).get(SUMS)
        page = page_of(loaded, sha256(sums) if sums else "", progress).encode()
        file = out or Path("reports") / f"{loaded.name}.html"
        write_whole({file: page})
    result = {
        "release": loaded.name,
        "version": loaded.version,
        "paints": len(loaded.tables["paints"]),
        "file": str(file),
        "bytes": len(page),
    }

    def show() -> None:
        size = f"{result['paints']} paints, {len(page) / 1e6:.1f} MB"
        typer.echo(f"The page of {loaded.name}, {size}: {file}")
        typer.echo("Open it in any browser; it needs no net, and prints on A4.")

    say(result, as_json, show)


def _place(release: str | None, studio: str | None) -> Path:
    """Where the release is that the user means."""
    from ...calibrate.errors import InputError

    if release is not None and (Path(release).exists() or release.endswith(".zip")):
        return Path(release)
    from ..releases.publish import find_release, releases

    with open_store(studio) as store:
        if release is not None:
            return find_release(store, release)
        published = releases(store)
        if not published:
            raise InputError(
                store.studio.folder, None, "nothing was published here yet",
                "publish with: tintladder publish, or give a release",
            )  # fmt: skip
        return find_release(store, published[-1].version)
