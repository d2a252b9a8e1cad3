"""Teach and show how paint changes as it dries."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, print_table, say
from .photographs import BlackOption, GreyOption, WhiteOption, no_photo, target_in_photo

if TYPE_CHECKING:
    from ..mixing.drying import Drying, Wet
    from ..mixing.target import Target
    from ..store import schema
    from ..store.store import Store

EXAMPLE = 'tintladder drying "HULL=8,STARBOARD=1" --wet "58,-21,-6" --dry "54,-24,-7"'


def drying(
    mix: Annotated[
        str | None,
        typer.Argument(
            help="NAME=PARTS by weight, of which there are a wet and a dried dab. Without it, what "
            "was taught so far is listed."
        ),
    ] = None,
    wet: Annotated[
        str | None,
        typer.Option(metavar="COLOUR", help="The wet dab's colour; with --photo where it is seen."),
    ] = None,
    dry: Annotated[
        str | None,
        typer.Option(metavar="COLOUR", help="The dried dab's; with --photo where it is seen."),
    ] = None,
    photo: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A photograph of both dabs.")
    ] = None,
    grey: GreyOption = None,
    white: WhiteOption = None,
    black: BlackOption = None,
    forget: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Forget what one pair taught.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Teach how your paint changes as it dries.

    Show a wet dab beside a dried one of the same mix, for some mixes from dark to light. Never lay
    an instrument on wet paint.
    """
    with open_store(studio) as store:
        from ..easel.basis import nickname
        from ..easel.drying import taught, teach
        from ..mixing.prediction import parse_mix

        if forget is not None and not store.dryings.forget(forget):
            raise InputError("--forget", str(forget), "there is no such pair", "list them")
        if mix is not None:
            parts = parse_mix(mix, lambda name: nickname(store, name))
            one, other = (
                _dab(store, name, text, photo, grey, white, black)
                for name, text in (("--wet", wet), ("--dry", dry))
            )
            teach(store, parts, one, other, photo is not None)
        elif wet or dry or photo:
            raise InputError(
                "mix", None, "expected the mix that both dabs are of", "name it: HULL=8,STARBOARD=1"
            )
        rows, models = store.dryings.all(), taught(store)
    result = {
        "pairs": [_as_dict(row) for row in rows],
        "taught": {medium: model_as_dict(model) for medium, model in models.items()},
    }
    say(result, as_json, lambda: _show(rows, models))


def _dab(
    store: Store,
    name: str,
    text: str | None,
    photo: Path | None,
    grey: str | None,
    white: str | None,
    black: str | None,
) -> Target:
    from ..easel.asked_colour import parse_target

    if text is None:
        raise InputError(name, None, "expected both dabs", "give --wet and --dry")
    if photo is not None:
        return target_in_photo(store, photo, text, grey, white, black)
    no_photo(grey=grey, white=white, black=black)
    return parse_target(text, store)


def _as_dict(row: schema.Drying) -> dict[str, Any]:
    return {
        "number": row.id, "noted": row.noted, "binder": row.medium, "parts": row.parts,
        "wet": row.wet, "dry": row.dry, "unsure": row.unsure,
    }  # fmt: skip


def model_as_dict(model: Drying) -> dict[str, Any]:
    """What was taught of a medium, for machines."""
    return {
        "shift": model.shift,
        "shift_uncertainty": model.unsure[0],
        "chroma": model.chroma,
        "chroma_uncertainty": model.unsure[1],
        "scatter": model.scatter,
        "pairs": model.pairs,
        "words": model.words,
    }


def wet_as_dict(wet: Wet | None) -> dict[str, Any] | None:
    """What a mix looks like wet, for machines; None where that was never taught."""
    return None if wet is None else {"lab": list(wet.lab), "band_de00": wet.band}


def wet_words(wet: Wet) -> str:
    """Say what a mix looks like wet."""
    import numpy as np

    from ...calibrate.optics.display import hex_code, lab_to_srgb
    from ..common.words import colour_words

    colour = np.array(wet.lab)
    shown = hex_code(lab_to_srgb(colour)[0][0])
    return f"{colour_words(colour)} ({shown}, within {wet.band:.1f})"


def _show(rows: list[schema.Drying], models: dict[str, Drying]) -> None:
    from ..easel.drying import medium_words

    if not rows:
        typer.echo(
            "Nothing was taught yet: it isn't known how your paint changes as it dries. Put a wet "
            "dab beside a dried one of the same mix, and say both colours."
        )
        return
    print_table(
        ("pair", "noted", "parts by weight", "binder", "wet", "dry"),
        [
            (
                str(row.id), row.noted[:10], ", ".join(f"{n:g} {p}" for p, n in row.parts.items()),
                row.medium, row.wet["said"], row.dry["said"],
            )
            for row in rows
        ],
    )  # fmt: skip
    for medium, model in models.items():
        name = medium_words(medium)
        pairs = "one pair" if model.pairs == 1 else f"{model.pairs} pairs"
        typer.echo(
            f"{name[:1].upper()}{name[1:]} {model.words}; dabs lie within some "
            f"{2 * model.scatter:.0f} of that (by {pairs})."
        )
