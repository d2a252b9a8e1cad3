"""Read files into the studio."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, number, open_store, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..cards.intake import TakenIn
    from ..store.imports import UndoneImport

EXAMPLE = "tintladder read keel.toml keel.txt"
_SHOWN = 5


def read(
    files: Annotated[
        list[Path] | None,
        typer.Argument(help="Cards, readings, scans or lists of paints, in any order."),
    ] = None,
    card: Annotated[
        str | None,
        typer.Option(
            help="Card that was read, by name or file; without it, the one named like the file."
        ),
    ] = None,
    unit: Annotated[
        str | None, typer.Option(help="percent or fraction, where the file doesn't say.")
    ] = None,
    geometry: Annotated[
        str | None, typer.Option(help="di:8, 8:di or 45:0, where the file doesn't say.")
    ] = None,
    specular: Annotated[
        str | None, typer.Option(help="included or excluded, where the file doesn't say.")
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(
            metavar="WORD",
            help="Which readings, where a file holds several of one sample: a word such as M1, or "
            "COLUMN=WORD such as Mode=SCE.",
        ),
    ] = None,
    tiles: Annotated[
        Path | None,
        typer.Option(
            help="Certified values of reference tiles, one sample each; samples named tile/white, "
            "tile/trap, tile/grey-50, tile/orange among the readings are then used to correct them."
        ),
    ] = None,
    band: Annotated[
        float | None,
        typer.Option(
            parser=number(0),
            metavar="NM",
            help="Width of the instrument's triangular band, nm, if left uncorrected.",
        ),
    ] = None,
    without: Annotated[
        str | None,
        typer.Option(
            help="Corrections to leave out, with commas between: zero, drift, scale, linearity, "
            "wavelength, bandpass, repeats."
        ),
    ] = None,
    tiles_are_clean: Annotated[
        bool,
        typer.Option(
            "--tiles-are-clean",
            help="Go by tiles that are at odds with their certificates or with earlier sittings.",
        ),
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Undo the last import instead; its files stay, marked.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Read files: cards, readings, scans or lists of paints.

    The command says what each file was taken for. All of them are read, or none.
    """
    from dataclasses import asdict

    if undo == bool(files):
        raise InputError(None, "read", "expected files, or --undo alone", "give one of them")
    if undo or not files:
        with open_store(studio) as store:
            back = store.imports.undo()
        say(asdict(back), as_json, lambda: _show_undone(back))
        return

    with working("Reading", as_json), open_store(studio, create=True) as store:
        from ...calibrate.formats.read import read_session
        from ...calibrate.instrument.corrections import InstrumentOptics
        from ...calibrate.instrument.sitting import Correcting
        from ..cards.intake import take_in

        known = (
            read_session(tiles, unit=unit, geometry=geometry, specular=specular) if tiles else None
        )
        left_out = tuple(word.strip() for word in (without or "").split(",") if word.strip())
        correcting = Correcting(known, InstrumentOptics(band), left_out, tiles_are_clean)
        taken = take_in(store, files, card, unit, geometry, specular, correcting, only)
    say([asdict(item) for item in taken], as_json, lambda: _show(taken))


def _show_undone(back: UndoneImport) -> None:
    some = ", ".join(back.files[:_SHOWN])
    more = f" and {len(back.files) - _SHOWN} more" if len(back.files) > _SHOWN else ""
    counts = {"file{} of readings": back.sessions, "scan{}": back.scans, "card{}": back.cards}
    gone = " and ".join(f"{n} {w.format('' if n == 1 else 's')}" for w, n in counts.items() if n)
    typer.echo(
        f"Undone: the import of {back.done[:10]} ({some}{more}). No longer counted, but still in "
        f"the studio, marked: {gone}."
    )
    if back.fits:
        typer.echo("Fits in use rest on them. Fit again: tintladder fit")


def _show(taken: list[TakenIn]) -> None:
    for item in taken:
        typer.echo(f"{item.file}: {item.words}")
        for patch, wavelength, words in item.flags[:_SHOWN]:
            typer.echo(f"  flagged: {patch} at {wavelength:g} nm is {words} (kept as read)")
        if len(item.flags) > _SHOWN:
            typer.echo(f"  and {len(item.flags) - _SHOWN} more values flagged; --json lists them")
        for remark in item.remarks:
            typer.echo(f"  Note: {in_terminal(remark)}.")
