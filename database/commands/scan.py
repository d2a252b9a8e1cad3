"""Read a card from its scan or photograph."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, number, open_store, print_table, say, working
from .device import show_device
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..cards.scanning import ReadScan

EXAMPLE = "tintladder scan keel.tif --target target.tif target.txt    (later: tintladder scan ...)"
BEFORE = (
    "Before you scan: let the paint dry. Clean the glass. In the scanner's program switch off "
    "automatic colour, exposure and contrast, sharpening and dust removal. Scan the whole card in "
    "colour at 300 dpi, 16 bit if it offers that (48-bit colour), and save as TIFF or PNG.\n"
    "With a phone: open shade, no flash, no filter; card flat; hold the phone level above it, "
    "so that the card fills the picture and no shadow falls on it.\n"
    "Scan a reference target too, with the same settings, and give both, once:\n"
    "tintladder scan CARD.png --target TARGET.png TARGET.txt"
)


def scan(
    file: Annotated[
        Path | None, typer.Argument(help="The picture; without one, the command says how to scan.")
    ] = None,
    card: Annotated[
        str | None,
        typer.Option(
            help="Card that was scanned; without it, the one named like the file, or the only one "
            "that waits to be read."
        ),
    ] = None,
    target: Annotated[
        tuple[Path, Path] | None,
        typer.Option(
            metavar="PICTURE VALUES",
            help="First characterise the scanner: its scan of a reference target, and the target's "
            "data file. Once is enough.",
        ),
    ] = None,
    device: Annotated[
        str | None,
        typer.Option(help="Device that made it; without it, the one whose settings fit."),
    ] = None,
    grey: Annotated[
        float | None,
        typer.Option(
            parser=number(0.02, 0.95),
            metavar="PART",
            help="Reflectance of a bought grey card's two pieces.",
        ),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="STEP", help="A step left unpainted. May be repeated."),
    ] = None,
    overlay: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Also draw there what was read where.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Read a card from its scan or photograph.

    Without a file, it says how to scan.
    """
    if file is None:
        say({"before": BEFORE}, as_json, lambda: typer.echo(BEFORE))
        return
    with working("Reading the scan", as_json) as told, open_store(studio) as store:
        from ..cards.characterising import FIRST, characterise_device, read_by_known_device
        from ..cards.scanning import take_picture

        by_target = None
        if target is not None:
            by_target = characterise_device(store, device or FIRST, *target, progress=told)
        read, by_card = read_by_known_device(
            store, file, card, device, grey, without or (), overlay, told
        )
        number, drawn = take_picture(store, read)
    said = read.as_dict() | {"scan": number, "overlay": str(drawn)}

    def show() -> None:
        if made := by_target or by_card:
            show_device(made)
        show_scan(read, drawn)

    say(said, as_json, show)


def show_scan(read: ReadScan, drawn: Path) -> None:
    """Print what was read of a card: a line a patch, then what is to be known."""
    found = read.scan
    card = found.channels.card.name
    stray = found.evened.stray
    typer.echo(
        f"Card {card} found at {found.found.dpi:.0f} dpi, {len(found.channels.labels)} patches "
        f"read. Stray light {stray.share:.1%} ± {stray.uncertainty:.1%} and uneven light up to "
        f"{found.evened.uneven:.1%} taken away."
    )
    flags = dict(found.flags)
    print_table(
        ("Patch", "L*", "a*", "b*", "Spread", "Left out", ""),
        [
            (
                label,
                *(f"{v:.1f}" for v in found.lab[i]),
                f"{found.spread[i]:.1%}",
                f"{found.left_out[i]:.0%}" if found.left_out[i] > 0.005 else "",
                flags.get(label, ""),
            )
            for i, label in enumerate(found.channels.labels)
        ],
    )
    for remark in read.remarks:
        typer.echo(f"Note: {in_terminal(remark)}.")
    typer.echo(f"Look at what was read where: {drawn}")
