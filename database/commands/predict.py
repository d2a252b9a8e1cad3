"""Predict a mix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, number, open_store, print_table, say

if TYPE_CHECKING:
    from ...calibrate.optics.surface import Gloss
    from ..mixing.prediction import Look

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
    finish: Annotated[
        str | None,
        typer.Option(help="Finish under which the eye sees it: gloss, satin or matt."),
    ] = None,
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
        from ..easel.typed_mix import typed_mix
        from ..mixing.prediction import VIEWS, look
        from ..mixing.viewing import Viewing

        typed = typed_mix(store, mix, volume)
        coefficients = typed.coefficients
        ground = None if over is None else parse_target(over, store).as_ground(thickness)
        looks = look(coefficients, typed.parts, thickness, Viewing(gloss), ground)
    result = {
        "mix": typed.parts,
        "scale": coefficients.scale,
        "model": coefficients.model,
        "reckoned": typed.reckoned,
        "scan_made": bool(coefficients.scan_made.any()),
        "dry_volume_assumed": [
            p
            for p, known in zip(coefficients.paints, coefficients.dry_volume_measured, strict=True)
            if not known
        ],
        "density_assumed": typed.assumed,
        "thickness_um": thickness,
        "finish": finish,
        "looks": [
            {
                "over": seen.over,
                "words": seen.words,
                "srgb": seen.hex.rstrip("!"),
                "out_of_gamut": seen.hex.endswith("!"),
                "lab": {str(view): [float(x) for x in seen.lab(view)] for view in VIEWS},
                "band_de00": seen.band,
                "wavelengths": coefficients.wavelengths.tolist(),
                "reflectance": seen.reflectance.tolist(),
                "uncertainty": seen.prediction.uncertainty[0].tolist(),
            }
            for seen in looks
        ],
    }
    say(result, as_json, lambda: _show(typed.words, looks, result, volume))


def check_finish(finish: str | None) -> Gloss | None:
    """Return the finish named.

    Raises
    ------
    InputError
        Where there is no such finish.
    """
    from ...calibrate.optics.surface import GLOSSES

    found = next((gloss for gloss in GLOSSES if gloss == finish), None)
    if finish is not None and found is None:
        raise InputError("--finish", finish, f"expected {', '.join(GLOSSES)}", "choose one")
    return found


def _show(words: str, looks: list[Look], result: dict, volume: bool) -> None:
    from ...calibrate.optics.colour import in_words
    from ..mixing.prediction import VIEWS

    whole = looks[0]
    finish = f", {result['finish']}" if result["finish"] else ""
    typer.echo(f"{words}, by {'volume' if volume else 'weight'}{finish}: {whole.words}.")
    typer.echo(
        f"Sure to within CIEDE2000 {whole.band:.1f} (95 of 100 times; {in_words(whole.band)})."
    )
    rows = []
    for seen in looks:
        shown = seen.hex.rstrip("!") + (" (a screen can't show it)" if "!" in seen.hex else "")
        lit = ("{:.1f}  {:+.1f}  {:+.1f}".format(*seen.lab(view)) for view in VIEWS)
        opaque = seen.over == "opaque"
        title = seen.over if opaque else f"{result['thickness_um']:g} µm over {seen.over}"
        rows.append((title, seen.words, *lit, f"±{seen.band:.1f}", shown))
    lights = (f"L* a* b* ({view})" for view in VIEWS)
    print_table(["film", "looks", *lights, "band", "sRGB"], rows)
    if result["dry_volume_assumed"]:
        typer.echo(
            f"Dry volume per gram is assumed for {', '.join(result['dry_volume_assumed'])}; "
            "it matters only to films of a given dry thickness, and the band holds that."
        )
    if result["density_assumed"]:
        typer.echo(
            f"The density of {', '.join(result['density_assumed'])} is only typical, so parts by "
            "volume are less sure: tintladder tubes weigh"
        )
    typer.echo(result["reckoned"])
    if result["scan_made"]:
        typer.echo("One or more of these paints was read by a scanner, not an instrument.")
