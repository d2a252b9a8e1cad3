"""Predict a mix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, open_store, print_table, say

if TYPE_CHECKING:
    from ..mixing import Look

EXAMPLE = 'tintladder predict "ANCHOR=2,ROPE=1,HULL=7" --thickness 60'


def predict(
    mix: Annotated[str, typer.Argument(help="NAME=PARTS by weight of tube paint, comma between.")],
    thickness: Annotated[
        float | None,
        typer.Option(min=0.1, help="Dry film thickness in µm: shows it over black and white too."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Predict the colour of a mix, and how surely, from the studio's current fits."""
    with open_store(studio) as store:
        from ..mixing import VIEWS, look, mix_words, parse_mix

        parts = parse_mix(mix, lambda name: store.find_paint(name).nickname)
        coefficients = store.current_coefficients(list(parts))
        names = {paint.nickname: paint.name for paint in store.paints()}
        looks = look(coefficients, parts, thickness)
    result = {
        "mix": parts,
        "scale": coefficients.scale,
        "scan_made": bool(coefficients.scan_made.any()),
        "dry_volume_assumed": [
            p
            for p, known in zip(coefficients.paints, coefficients.dry_volume_measured, strict=True)
            if not known
        ],
        "thickness_um": thickness,
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
    say(result, as_json, lambda: _show(mix_words(parts, names), looks, thickness, result))


def _show(words: str, looks: list[Look], thickness: float | None, result: dict) -> None:
    from ...calibrate.optics.colour import in_words

    whole = looks[0]
    typer.echo(f"{words}: {whole.words}.")
    typer.echo(
        f"Sure to within CIEDE2000 {whole.band:.1f} (95 of 100 times; {in_words(whole.band)})."
    )
    rows = []
    for seen in looks:
        title = "opaque" if seen.over == "opaque" else f"{thickness:g} µm over {seen.over}"
        lightness, a, b = seen.lab()
        shown = seen.hex.rstrip("!") + (" (a screen can't show it)" if "!" in seen.hex else "")
        colour = f"{lightness:.1f}  {a:+.1f}  {b:+.1f}"
        rows.append((title, seen.words, colour, f"±{seen.band:.1f}", shown))
    print_table(["film", "looks", "L* a* b* (D50/2°)", "band", "sRGB"], rows)
    if result["dry_volume_assumed"]:
        typer.echo(
            f"Dry volume per gram is assumed for {', '.join(result['dry_volume_assumed'])}; "
            "it matters only to films of a given dry thickness, and the band holds that."
        )
    if result["scan_made"]:
        typer.echo("One of these paints was read by a scanner, not an instrument.")
