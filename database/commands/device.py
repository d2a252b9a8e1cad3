"""Characterise a scanner or phone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, say, worked, working

if TYPE_CHECKING:
    import numpy as np

    from ...calibrate.formats.target_values import TargetValues
    from ...calibrate.scan.characterise import Characterised
    from ...calibrate.scan.image import Facts

EXAMPLE = (
    "tintladder device scanner target.tif target.txt --name flatbed --grid 22x12 "
    "--corners '120,95 3010,98 3008,1672 118,1669'"
)
app = typer.Typer()


@app.callback(invoke_without_command=True, epilog=worked(EXAMPLE))
def device(ctx: typer.Context, as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """List the devices that read cards, or characterise one."""
    if ctx.invoked_subcommand is not None:
        return
    with open_store(studio) as store:
        devices = [each.device for each in store.scanners()]
    say([_as_dict(each) for each in devices], as_json, lambda: _list(devices))


@app.command("scanner", epilog=worked(EXAMPLE))
def scanner(
    picture: Annotated[Path, typer.Argument(help="Scan of a reference target, or of a card.")],
    values: Annotated[
        Path,
        typer.Argument(help="Known values: CGATS with spectra, XYZ or CIELAB; or readings."),
    ],
    name: Annotated[str, typer.Option(help="What you call the device.")] = "scanner",
    grid: Annotated[
        str | None, typer.Option(help="Columns x rows of the target's patches, such as 22x12.")
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            help="Outer corners of the grid, px, clockwise from upper left: 'x,y x,y x,y x,y'."
        ),
    ] = None,
    card: Annotated[
        str | None, typer.Option(help="Instead: a card of this studio, measured as well.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Characterise a scanner or phone from a target of known values, as it is set now."""
    if (card is None) == (grid is None or corners is None):
        raise InputError(
            None,
            "device scanner",
            "expected --grid with --corners, or --card",
            "say where the target's patches lie",
        )
    with working("Characterising", as_json) as told, open_store(studio, create=True) as store:
        from ...calibrate.formats.target_values import read_target_values
        from ...calibrate.scan.find import find_card
        from ...calibrate.scan.image import read_picture
        from ...calibrate.scan.improved import bent, improvements
        from ...calibrate.scan.overlay import overlay as draw
        from ...calibrate.scan.sample import sites
        from ...calibrate.scan.target import grid_found, read_target
        from ..scan_files import overlay_of_scanner, save_overlay
        from ..scanning import layouts

        known = read_target_values(values)
        told("opening the picture")
        opened = read_picture(picture)
        if card is not None:
            from ...calibrate.cards.card_plan import seats

            scanned = store.card(card)
            layout, others = layouts(scanned)
            found = find_card(opened, others, layout)
            where = sites(layout, {n: step for step, n in seats(layout, scanned).items()})
        else:
            columns, rows = _grid(grid or "")
            found, where = grid_found(_corners(corners or ""), columns, rows, str(picture))
        told("fitting")
        made, samples = read_target(name, opened, found, where, known)
        remarks = [f"the picture was {each}" for each in improvements(opened, found, samples)]
        if (words := bent(made.bend)) is not None:
            remarks.append(f"the picture was given {words}")
        with store.transaction():
            kept = store.add_scanner(made, _target(opened.facts, known))
            drawn = save_overlay(
                overlay_of_scanner(store.studio, name), draw(opened, found, samples)
            )
    said = _as_dict(made) | {
        "calibration": kept.calibration, "remarks": remarks, "overlay": str(drawn)
    }  # fmt: skip
    say(said, as_json, lambda: _show(made, remarks, drawn))


def _target(facts: Facts, known: TargetValues) -> dict[str, str]:
    return {
        "picture": facts.file,
        "picture_sha256": facts.sha256,
        "values": known.file,
        "values_sha256": known.sha256,
    }


def _grid(words: str) -> tuple[int, int]:
    found = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,2})\s*", words)
    if found is None:
        raise InputError(None, "--grid", f"expected columns x rows, got {words}", "write 22x12")
    return int(found[1]), int(found[2])


def _corners(words: str) -> np.ndarray:
    import numpy as np

    numbers = re.findall(r"-?\d+(?:\.\d+)?", words)
    if len(numbers) != 8:
        raise InputError(
            None,
            "--corners",
            f"expected four corners, eight numbers, got {len(numbers)}",
            "write them as 'x,y x,y x,y x,y'",
        )
    return np.array(numbers, dtype=float).reshape(4, 2)


def _as_dict(made: Characterised) -> dict[str, Any]:
    return {
        "device": made.name,
        "settings": made.settings.as_dict(),
        "patches": made.patches,
        "left_out_mean_ciede2000": round(made.mean, 3),
        "left_out_p95_ciede2000": round(made.p95, 3),
        "stray_light": round(made.stray, 4),
        "sensitivities": made.sensors is not None,
    }


def _list(devices: list[Characterised]) -> None:
    if not devices:
        typer.echo("No device is characterised yet: tintladder device scanner --help")
    for made in devices:
        typer.echo(f"{made.name}: {_words(made)}")


def _words(made: Characterised) -> str:
    from ...calibrate.optics.colour import in_words

    s = made.settings
    dpi = f", {s.dpi:g} dpi" if s.dpi else ""
    return (
        f"{s.kind}, {s.bits} bit{dpi}; errors on patches left out in turn are "
        f"{in_words(made.mean)} (CIEDE2000 {made.mean:.2f} on average, {made.p95:.2f} for 95 %)"
    )


def _show(made: Characterised, remarks: list[str], drawn: Path) -> None:
    typer.echo(f"{made.name} characterised from {made.patches} patches: {_words(made)}.")
    typer.echo(
        "Its channels' sensitivities were estimated: K and S can be fitted to its scans."
        if made.sensors is not None
        else "The target has no spectra: colours only, K and S can't be fitted to its scans."
    )
    for remark in remarks:
        typer.echo(f"Note: {remark}.")
    typer.echo(f"Look at what was read where: {drawn}")
