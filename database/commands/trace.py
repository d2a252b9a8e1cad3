"""Trace a number back to what was read."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any

import typer

from .common import JsonOption, ModelOption, StudioOption, number, open_store, print_table, say

EXAMPLE = "tintladder trace ANCHOR 550"


def trace(
    paint: Annotated[str, typer.Argument(help="Nickname, or a part of the name.")],
    wavelength: Annotated[
        float, typer.Argument(parser=number(), help="Wavelength in nm, such as 550.")
    ],
    release: Annotated[
        Path | None, typer.Option(help="Folder or zip of a release; without it, the studio's fit.")
    ] = None,
    model: ModelOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Follow one number back to its readings and weighed grams.

    The number is K and S, or mu_a and mu_s', of a paint at one wavelength.
    """
    from ..care.trace import of_release, of_store
    from ..care.trace import trace as walk

    if release is not None:
        from ..releases.load import load_release

        origin = of_release(load_release(release), paint, model)
    else:
        with open_store(studio) as store:
            origin = of_store(store, paint, model)
    found = walk(origin, wavelength)
    say(found, as_json, lambda: _show(found))


def _show(found: dict[str, Any]) -> None:
    from ..mixing.model_choice import SYMBOLS, WORDS

    value, fit = found["coefficient"], found["fit"]
    symbols = SYMBOLS[value["model"]]
    unit = "1/mm" if value["scale"] == "absolute" else value["scale"]
    typer.echo(
        f"{value['paint']} at {value['wavelength']:g} nm, in {found['place']}, by "
        f"{WORDS[value['model']]}:"
    )
    for name, symbol in zip("KS", symbols, strict=True):
        parts = value["uncertainty_parts"][name]
        said = ", ".join(f"{part} {u:.2g}" for part, u in parts.items())
        typer.echo(
            f"  {symbol} = {_sure(value[name], value[f'uncertainty_{name}'])} {unit} "
            f"(standard uncertainty: {said})"
        )
    if value["ratio_only"]:
        typer.echo(f"  Only {'/'.join(symbols)} is known here: the film hid its substrate.")
    if own := round(value["surface_offset"], 4):
        more = "more" if own > 0 else "less"
        typer.echo(f"  Its own surface reflects {abs(own):.4f} {more} than the fit's others do.")
    typer.echo(
        f"from fit {fit['number']} of {fit['created']}, tintladder {fit['code_version']}, judged "
        f"'{fit['verdict']}', kept as {fit['sha256'][:12]}..., of these readings:"
    )
    if fit["adopted"]:
        typer.echo(
            f"  adopted from {fit['adopted']['release']} (SHA256SUMS {fit['adopted']['digest']}); "
            "its readings are packed there: trace it with --release"
        )
        return
    if found["scans"]:
        _show_scans(found["scans"])
    if not found["readings"]:
        return
    print_table(
        ["Card", "Patch", "Weighed, g", "Corrected", "Raw", "How", "Fit off by", "Session"],
        [
            (
                row["card"],
                row["patch"],
                _grams(row),
                _figure(row["corrected"]),
                " ".join(_figure(raw) for raw in row["raw"]) + f" at {row['raw_nm']:g} nm",
                row["correction"],
                "" if row["fit_de00"] is None else f"{row['fit_de00']:.2f}",
                str(row["session"]),
            )
            for row in found["readings"]
        ],
    )
    for row in {row["session"]: row for row in found["readings"]}.values():
        device = row["device"] or "an instrument that its file doesn't name"
        serial = f" no. {row['serial']}" if row["serial"] else ""
        tile = row["calibrated"] or "no calibration recorded"
        typer.echo(
            f"Session {row['session']}: {row['file']} (SHA-256 {row['sha256'][:12]}...), read "
            f"{row['date'] or 'on an unstated date'} with {device}{serial}, {row['geometry']}; "
            f"{tile}; card painted {row['card_date'] or 'on an unstated date'}."
        )
        for stage in row["stages"]:
            typer.echo(f"  {stage}")


def _show_scans(rows: list[dict[str, Any]]) -> None:
    print_table(
        ["Card", "Patch", "Weighed, g", "Red", "Green", "Blue", "Fit off by", "Scan"],
        [
            (
                row["card"],
                row["patch"],
                _grams(row),
                *(
                    _sure(value, sd)
                    for value, sd in zip(row["channels"], row["uncertainty"], strict=True)
                ),
                "" if row["fit_de00"] is None else f"{row['fit_de00']:.2f}",
                str(row["scan"]),
            )
            for row in rows
        ],
    )
    for row in {row["scan"]: row for row in rows}.values():
        typer.echo(
            f"Scan {row['scan']}: {row['file']} (SHA-256 {row['sha256'][:12]}...), {row['date']}, "
            f"{row['dpi']:.0f} dpi, by {row['device']}, which was characterised "
            f"{row['characterised']} on a picture of SHA-256 {row['target_sha256'][:12]}...; card "
            f"painted {row['card_date'] or 'on an unstated date'}."
        )


def _grams(row: dict[str, Any]) -> str:
    parts = [f"{grams:g} {paint}" for paint, grams in row["masses_g"].items()]
    if row["taken_from"]:
        parts.append(f"{row['taken_g']:g} of {row['taken_from']}")
    return " + ".join(parts)


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"


def _sure(value: float, uncertainty: float) -> str:
    """A value to the digits of its uncertainty, of which two are enough (JCGM 100:2008, 7.2.6)."""
    if not 0 < uncertainty < math.inf:
        return f"{value:.4g} ± {uncertainty:.2g}"
    two = float(f"{uncertainty:.1e}")
    after = 1 - math.floor(math.log10(two))
    return " ± ".join(f"{round(each, after):.{max(after, 0)}f}" for each in (value, two))
