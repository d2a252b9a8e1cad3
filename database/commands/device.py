"""Characterise a scanner or phone."""

from __future__ import annotations

from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from . import spectro
from .common import JsonOption, StudioOption, number, open_store, say, worked, working

if TYPE_CHECKING:
    from ...calibrate.scan.characterise import Characterised
    from ..cards.characterising import KeptDevice

EXAMPLE = "tintladder device scanner target.tif target.txt --name flatbed"
app = typer.Typer()


@app.callback(invoke_without_command=True, epilog=worked(EXAMPLE))
def device(ctx: typer.Context, as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """Characterise a scanner or a phone; check a spectrophotometer.

    Alone, it lists the devices that read cards.
    """
    if ctx.invoked_subcommand is not None:
        return
    with open_store(studio) as store:
        devices = [each.device for each in store.scanners.all()]
    say([_as_dict(each) for each in devices], as_json, lambda: _list(devices))


@app.command("scanner", epilog=worked(EXAMPLE))
def scanner(
    picture: Annotated[Path, typer.Argument(help="Scan of a reference target, or of a card.")],
    values: Annotated[
        Path | None,
        typer.Argument(
            help="Known values: CGATS with spectra, XYZ or CIELAB; or readings of the card. "
            "Without them --card's own references stand in."
        ),
    ] = None,
    name: Annotated[str, typer.Option(help="What you call the device.")] = "scanner",
    grid: Annotated[
        str | None,
        typer.Option(
            help="Columns x rows of its patches, such as 22x12; without it, as their names say."
        ),
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            help="Outer corners of the grid, px, clockwise from upper left: 'x,y x,y x,y x,y'; "
            "without them, they are searched for."
        ),
    ] = None,
    strip: Annotated[
        str | None,
        typer.Option(help="Outer corners of its grey strip GS0, GS1 ..., in the same way."),
    ] = None,
    card: Annotated[
        str | None, typer.Option(help="Use a card of this studio instead of a target.")
    ] = None,
    grey: Annotated[
        float | None,
        typer.Option(
            parser=number(0.02, 0.95),
            metavar="PART",
            help="Reflectance of the card's bought grey pieces, without VALUES.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Characterise a scanner or phone from a target of known values, as it is set now."""
    if card is not None and (grid or corners):
        raise InputError(None, "--card", "a card shows where it lies", "leave out the corners")
    with working("Characterising", as_json) as told, open_store(studio, create=True) as store:
        from ..cards.characterising import characterise_device, parse_corners, parse_grid

        made = characterise_device(
            store,
            name,
            picture,
            values,
            card,
            parse_grid(grid) if grid else None,
            parse_corners(corners) if corners else None,
            parse_corners(strip) if strip else None,
            grey,
            told,
        )
    said = _as_dict(made.device) | {
        "calibration": made.calibration,
        "remarks": list(made.remarks),
        "overlay": str(made.overlay),
    }
    say(said, as_json, lambda: show_device(made))


def _as_dict(made: Characterised) -> dict[str, Any]:
    return {
        "device": made.name,
        "settings": made.settings.as_dict(),
        "patches": made.patches,
        "left_out_mean_ciede2000": None if isnan(made.mean) else round(made.mean, 3),
        "left_out_p95_ciede2000": None if isnan(made.p95) else round(made.p95, 3),
        "stray_light": round(made.stray, 4),
        "sensitivities": made.sensors is not None,
        "fit_for_spectra": made.fit_for_spectra,
    }


def _list(devices: list[Characterised]) -> None:
    from ..cards.characterising import device_words

    if not devices:
        typer.echo("No device is characterised yet: tintladder device scanner --help")
    for made in devices:
        typer.echo(f"{made.name}: {device_words(made)}")


def show_device(made: KeptDevice) -> None:
    """Print what a device's picture of a target told."""
    from ..cards.characterising import device_words, use_words

    device = made.device
    typer.echo(
        f"{device.name} characterised from {device.patches} patches: {device_words(device)}."
    )
    typer.echo(use_words(device))
    for remark in made.remarks:
        typer.echo(f"Note: {remark}.")
    typer.echo(f"Look at what was read where: {made.overlay}")


app.command("spectro", epilog=worked(spectro.EXAMPLE))(spectro.spectro)
