"""Read a card from its scan or photograph."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, print_table, say, working

if TYPE_CHECKING:
    from ...calibrate.cards.layout import Layout
    from ...calibrate.scan.reading import ScannedCard

EXAMPLE = "tintladder scan keel.tif --card keel --device flatbed"
BEFORE = (
    "Before you scan: let the paint dry. Clean the glass. In the scanner's program switch off "
    "automatic colour, exposure and contrast, sharpening and dust removal. Scan the whole card in "
    "colour at 300 dpi, 16 bit if it offers that (48-bit colour), and save as TIFF or PNG.\n"
    "With a phone: open shade, no flash, no filter; card flat; hold the phone level above it, "
    "so that the card fills the picture and no shadow falls on it.\n"
    "Scan the reference target first, with the same settings: tintladder device scanner"
)


def scan(
    file: Annotated[
        Path | None, typer.Argument(help="The picture; without one: how to scan.")
    ] = None,
    card: Annotated[
        str | None, typer.Option(help="Card that was scanned; else the one named like the file.")
    ] = None,
    device: Annotated[
        str | None, typer.Option(help="Characterised device; else the only one.")
    ] = None,
    grey: Annotated[
        float | None,
        typer.Option(min=0.02, max=0.95, help="Reflectance of a bought grey card's two pieces."),
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option(metavar="STEP", help="A step left unpainted; repeat it.")
    ] = None,
    overlay: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Also draw there what was read where.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Read a card from its scan; without a file: how to scan."""
    if file is None:
        say({"before": BEFORE}, as_json, lambda: typer.echo(BEFORE))
        return
    with working("Reading the scan", as_json) as told, open_store(studio) as store:
        from ...calibrate.scan.image import read_picture
        from ...calibrate.scan.improved import improvements
        from ...calibrate.scan.overlay import overlay as draw
        from ...calibrate.scan.reading import read_scan
        from ..scan_store import load_device, save_overlay, save_scan, scan_as_dict

        known = store.card(card or file.stem)
        layout, others = _layouts(known.layout, known.file)
        characterised = load_device(store.studio, device)
        told("opening the picture")
        picture = read_picture(file)
        told("finding the card")
        try:
            found = read_scan(
                picture, known, layout, others, characterised, grey, tuple(without or ())
            )
        except InputError:
            if overlay is not None:
                save_overlay(overlay, draw(picture, None, ()))
            raise
        remarks = [
            f"the picture was {each}" for each in improvements(picture, found.found, found.samples)
        ]
        if characterised is None:
            remarks.append(
                "no device is characterised: taken as plain sRGB, so colours are far less sure"
            )
        if found.scale == "white":
            remarks.append("no known grey: the level rests on a typical white, so bands are wide")
        if found.evened.stray.typical:
            remarks.append("the card shows no stray light of its own: a typical share was taken")
        drawn = draw(picture, found.found, found.samples)
        name = characterised.name if characterised else None
        kept = save_scan(store.studio, found, picture.facts.sha256, name, remarks, drawn)
        if overlay is not None:
            save_overlay(overlay, drawn)
    said = scan_as_dict(found, name, remarks) | {"file": str(kept[0]), "overlay": str(kept[1])}
    say(said, as_json, lambda: _show(found, remarks, kept[1]))


def _layouts(named: str | None, file: str) -> tuple[Layout, dict[int, Layout]]:
    from ...calibrate.cards.layout import layout_names, read_layout

    if named is None:
        raise InputError(
            file,
            "layout",
            "the card doesn't say what it is printed with",
            f'write layout = "{layout_names()[0]}" or the like',
        )
    every = [read_layout(name) for name in layout_names()]
    return read_layout(named), {layout.number: layout for layout in every}


def _show(found: ScannedCard, remarks: list[str], picture: Path) -> None:
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
    for remark in remarks:
        typer.echo(f"Note: {remark}.")
    typer.echo(f"Look at what was read where: {picture}")
