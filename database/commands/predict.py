"""Predict a mix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    StudioOption,
    check_finish,
    number,
    open_store,
    print_table,
    say,
    usual,
)
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.prediction import PredictedMix

EXAMPLE = 'tintladder predict "ANCHOR=2,ROPE=1,HULL=7" --thickness 60'


def predict(
    mix: Annotated[
        str, typer.Argument(help="NAME=PARTS by weight of tube paint, with commas between.")
    ],
    thickness: Annotated[
        float | None,
        typer.Option(
            parser=number(0.1),
            metavar="UM",
            help="Dry film thickness in µm; it is then shown over black and white too.",
        ),
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(
            metavar="READING",
            help="With --thickness: over a ground of yours too, a reading or a tube.",
        ),
    ] = None,
    finish: FinishOption = None,
    light: LightOption = None,
    as_read: Annotated[
        bool,
        typer.Option(
            "--as-read", help="As the instrument that read the paints reads it, not as it is seen."
        ),
    ] = False,
    volume: Annotated[
        bool, typer.Option("--volume", help="The parts are by volume of tube paint.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Predict the colour of a mix, and how sure that is.

    It uses the studio's current fits. MEDIUM is clear medium, which every studio has.
    """
    gloss = check_finish(finish)
    with open_store(studio) as store:
        from ..easel.asked_colour import parse_target
        from ..easel.prediction import MixRequest, predicted_mix
        from ..mixing.prediction import VIEWS

        usual(store, finish=finish, light=light)
        ground = None if over is None else parse_target(over, store)
        found = predicted_mix(store, MixRequest(mix, volume, gloss, as_read, thickness, ground))
    from .drying import wet_as_dict

    basis, read = found.basis, found.basis.read
    result = {
        "mix": found.parts,
        "scale": read.scale,
        "calculated": basis.calculated,
        "scan_made": bool(basis.scanned(found.parts)),
        "dry_volume_assumed": found.dry_volume_assumed,
        "density_assumed": found.assumed,
        "thickness_um": thickness,
        "wet": wet_as_dict(found.wet),
        "band_times": basis.widening(found.parts).times,
        "finish": basis.manner.viewing.finish,
        "looks": [
            {
                "over": seen.over,
                "words": seen.words,
                "srgb": seen.hex.rstrip("!"),
                "out_of_gamut": seen.hex.endswith("!"),
                "lab": {str(view): [float(x) for x in seen.lab(view)] for view in VIEWS},
                "band_de00": seen.band,
                "wavelengths": read.wavelengths.tolist(),
                "reflectance": seen.reflectance.tolist(),
                "uncertainty": seen.prediction.uncertainty[0].tolist(),
            }
            for seen in found.looks
        ],
    } | basis.said  # fmt: skip
    say(result, as_json, lambda: _show(found, result))


def _show(found: PredictedMix, result: dict[str, Any]) -> None:
    from ...calibrate.optics.colour import in_words
    from ..mixing.prediction import VIEWS

    whole = found.looks[0]
    seen_so = found.basis.manner.viewing.words
    by = "volume" if found.by_volume else "weight"
    typer.echo(f"{found.words}, by {by}, {seen_so}: {whole.words}.")
    typer.echo(
        f"Sure to within CIEDE2000 {whole.band:.1f} (95 of 100 times; {in_words(whole.band)})."
    )
    rows = []
    for seen in found.looks:
        shown = seen.hex.rstrip("!") + (" (a screen can't show it)" if "!" in seen.hex else "")
        lit = ("{:.1f}  {:+.1f}  {:+.1f}".format(*seen.lab(view)) for view in VIEWS)
        opaque = seen.over == "opaque"
        title = seen.over if opaque else f"{result['thickness_um']:g} µm over {seen.over}"
        rows.append((title, seen.words, *lit, f"±{seen.band:.1f}", shown))
    lights = (f"L* a* b* ({view})" for view in VIEWS)
    print_table(["film", "looks", *lights, "band", "sRGB"], rows)
    words = found.basis.widening(found.parts).words
    if words:
        typer.echo(f"{words[:1].upper()}{words[1:]}.")
    if found.wet is not None:
        from .drying import wet_words

        typer.echo(f"Wet it looks {wet_words(found.wet)}, and dries to that.")
    if found.dry_volume_assumed and len(found.looks) > 1:
        listed = ", ".join(found.basis.names[paint] for paint in found.dry_volume_assumed)
        typer.echo(
            f"Dry volume per gram is assumed for {listed}; the bands of the films hold that."
        )
    if result["density_assumed"]:
        typer.echo(
            f"The density of {', '.join(result['density_assumed'])} is only typical, so parts by "
            "volume are less sure: tintladder tubes weigh"
        )
    typer.echo(in_terminal(result["calculated"]))
    if result["scan_made"]:
        typer.echo("One or more of these paints was read by a scanner, not an instrument.")
