"""Say why a mix greys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    MeasureOption,
    ScaleOption,
    StudioOption,
    check_finish,
    open_store,
    print_table,
    say,
    usual,
)
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.basis import Basis
    from ..mixing.tubes.greying import Muddy

EXAMPLE = 'tintladder muddy "ANCHOR=1,LANTERN=3"'


def muddy(
    mix: Annotated[
        str,
        typer.Argument(
            help="NAME=PARTS by weight of tube paint, with commas between; or one tube."
        ),
    ],
    finish: FinishOption = None,
    light: LightOption = None,
    scale: ScaleOption = None,
    measure: MeasureOption = None,
    volume: Annotated[
        bool, typer.Option("--volume", help="The parts are by volume of tube paint.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say why a mix turns grey, and what would stay cleaner.

    It names the paint that dulls the mix, and the cleanest pair on hand for its hue. Of one tube:
    the partner that greys it cleanest, and its neutral tints.
    """
    with open_store(studio) as store:
        from ..easel.prediction import MixRequest, greying
        from ..easel.tubes.neutral import NeutralRequest, neutral
        from .muddy_tube import neutral_as_dict, show_neutral

        gloss = check_finish(finish)
        habits = usual(store, scale, measure, finish, light)
        if "=" not in mix:
            tube = store.paints.find(mix).nickname
            grey = neutral(store, NeutralRequest(tube, finish=gloss, measuring=habits.measuring))
            say(neutral_as_dict(grey), as_json, lambda: show_neutral(grey))
            return
        answer = greying(store, MixRequest(mix, volume, gloss))
    found, basis = answer.found, answer.basis
    result = {
        "mix": answer.parts,
        "lab": [float(x) for x in found.lab],
        "band_de00": found.band,
        "chroma": found.chroma,
        "could": found.could,
        "cleaner": found.cleaner,
        "dulls": [
            {
                "paint": d.paint,
                "instead": d.instead,
                "gain": d.gain,
                "band_nm": d.band,
                "share": d.share,
            }
            for d in found.dulls
        ],
        "leans": found.leans,
        "several_pigments": {n: list(p) for n, p in found.several.items()},
        "calculated": basis.calculated,
        "scan_made": bool(basis.scanned(answer.parts)),
    } | basis.said  # fmt: skip
    say(result, as_json, lambda: _show(found, basis))


def _show(found: Muddy, basis: Basis) -> None:
    from ..common.words import colour_words
    from ..mixing.prediction import mix_words

    names = basis.names
    typer.echo(
        f"The mix is {colour_words(found.lab)} {basis.manner.viewing.words}, of chroma "
        f"{found.chroma:.0f}; at its hue and lightness these tubes come to {found.could:.0f}. "
        f"Sure to within CIEDE2000 {found.band:.1f} (95 of 100 times). "
        f"{in_terminal(basis.calculated)}"
    )
    for d in found.dulls:
        where = f" (it absorbs {d.band[0]:.0f}-{d.band[1]:.0f} nm)" if d.band else ""
        if d.instead is None:
            typer.echo(f"{names[d.paint]} greys it{where}: without it, chroma {d.gain:.0f} higher.")
        else:
            typer.echo(
                f"{names[d.instead]} in place of {names[d.paint]}{where}: chroma {d.gain:.0f} "
                "higher, at the same hue and lightness."
            )
    if not any(d.instead is None for d in found.dulls):
        typer.echo("No one paint of it greys the others.")
    if found.cleaner and found.could > found.chroma + 3:
        parts = {n: round(100 * share) / 10 for n, share in found.cleaner.items() if share > 5e-3}
        typer.echo(f"Cleanest on hand there: {mix_words(parts, names)}, by weight.")
    if found.leans:
        typer.echo("")
        print_table(["paint", "in a tint it is"], [(names[n], w) for n, w in found.leans.items()])
    for nickname, pigments in found.several.items():
        typer.echo(
            f"{names[nickname]} is itself a mix ({', '.join(pigments)}): each pigment more is one "
            "more that absorbs."
        )
