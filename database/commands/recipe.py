"""Find ways to mix a colour from the tubes on hand; keep them, and what was mixed of them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    MeasureOption,
    ScaleOption,
    StudioOption,
    check_finish,
    number,
    open_store,
    say,
    usual,
    working,
)
from .photographs import BlackOption, GreyOption, WhiteOption, no_photo, target_in_photo

if TYPE_CHECKING:
    from ..easel.recipe import Amounts, Ways
    from ..mixing.film import Film
    from ..mixing.target import Target
    from ..store import schema
    from ..store.store import Store

EXAMPLE = 'tintladder recipe "62,-18,-9" --without PITCH --tubes 3'


def recipe(
    target: Annotated[
        str | None,
        typer.Argument(
            help="L,a,b; '#5f8ea0'; a file of readings; a tube; 'ANCHOR 4:1' (white to colour); "
            "a kept recipe; CARD/STEP. Without one, the kept recipes are listed."
        ),
    ] = None,
    photo: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Match a spot of this photograph.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="X,Y", help="The spot, px from its upper left corner.")
    ] = None,
    grey: GreyOption = None,
    white: WhiteOption = None,
    black: BlackOption = None,
    with_: Annotated[
        list[str] | None, typer.Option("--with", metavar="NAME", help="A tube that must be in it.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    tubes: Annotated[int, typer.Option(min=1, max=6, help="Tubes in a mix, at most.")] = 4,
    ways: Annotated[int, typer.Option(min=1, max=20, help="How many ways to show.")] = 4,
    thickness: Annotated[
        float | None,
        typer.Option(
            parser=number(0.1),
            metavar="UM",
            help="Dry thickness of one coat in µm, for a glaze: medium may be in it.",
        ),
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(
            metavar="GROUND",
            help="What a glaze lies over: white, black, or any colour as COLOUR "
            "is written; of a --photo a spot, X,Y.",
        ),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option(
            metavar="COLOUR",
            help="Steps that look equal, from the colour to this one; of a "
            "--photo a second spot, X,Y.",
        ),
    ] = None,
    steps: Annotated[
        int, typer.Option(min=3, max=20, help="With --to: how many, both ends among them.")
    ] = 7,
    instead: Annotated[
        str | None,
        typer.Option(metavar="TUBE", help="This tube of a mix is gone: find what stands in."),
    ] = None,
    finish: FinishOption = None,
    light: LightOption = None,
    scale: ScaleOption = None,
    measure: MeasureOption = None,
    make: Annotated[
        str | None, typer.Option(metavar="AMOUNT", help="How much to make: 40ml or 25g.")
    ] = None,
    area: Annotated[
        str | None, typer.Option(metavar="SIZE", help="Area to cover: 40x50cm.")
    ] = None,
    coats: Annotated[int, typer.Option(min=1, max=10, help="Coats, with --area.")] = 2,
    keep: Annotated[
        str | None, typer.Option(metavar="NAME", help="Keep the first way under a name.")
    ] = None,
    made: Annotated[
        bool, typer.Option("--made", help="Keep the batch: the recipe was mixed in this amount.")
    ] = False,
    swatch: Annotated[
        str | None,
        typer.Option(metavar="COLOUR", help="What the last batch of a kept recipe dried to."),
    ] = None,
    note: Annotated[str, typer.Option(help="A note to keep with it.")] = "",
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the ways beside the target: a .png, .svg or .pdf."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Find ways to mix a colour from the tubes on hand.

    Every set of tubes on hand is searched. The answer says how to begin, and how sure it is.
    """
    with open_store(studio) as store, working("Searching", as_json):
        from ..easel.basis import nickname
        from ..easel.recipe import Quantity, RecipeRequest, amounts, recipe_question
        from ..easel.steps import StepsRequest, steps_question
        from ..easel.tubes.cost import bill_of_grams, stocks
        from ..easel.tubes.stand_in import StandInRequest, stand_in_question
        from ..mixing.measures import amount_words
        from .recipe_instead import instead_as_dict, show_instead
        from .recipe_shown import as_dict, show
        from .recipe_steps import show_steps, steps_as_dict

        if target is None and photo is None:
            _list(store, {"--keep": keep, "--make": make, "--swatch": swatch}, as_json)
            return
        gloss = check_finish(finish)
        habits = usual(store, scale, measure, finish, light)
        must, out = (
            tuple(nickname(store, text) for text in split(texts)) for texts in (with_, without)
        )
        if to is not None:
            refuse_beside("--to", {
                "--keep": keep, "--area": area, "--made": made, "--swatch": swatch,
                "--thickness": thickness, "--over": over,
            })  # fmt: skip
            start = _wanted(store, target, photo, at, grey, white, black)
            if photo is None:
                end = _wanted(store, to, None, None, None, None, None)
            else:
                end = target_in_photo(store, photo, to, grey, white, black)
            way = steps_question(store, StepsRequest(
                start, end, steps, make or "", habits.measuring, must, out, finish=gloss,
                most=tubes,
            )).answer()  # fmt: skip
            say(steps_as_dict(way), as_json, lambda: show_steps(way))
            return
        if instead is not None:
            refuse_beside("--instead", {"--made": made, "--swatch": swatch, "--picture": picture,
                                        "--thickness": thickness, "--over": over,
                                        "--with": with_})  # fmt: skip
            mix = _wanted(store, target, photo, at, grey, white, black)
            place = stand_in_question(store, StandInRequest(
                mix, nickname(store, instead), out, finish=gloss, most=tubes
            )).answer()  # fmt: skip
            quantity = Quantity(make or area or "", coats, habits.measuring)
            measured = [amounts(place.ways, way, quantity) for way in place.ways.answer.recipes]
            with store.transaction():
                said = _keep(store, keep, place.ways, note) if keep else []
            say(instead_as_dict(place, measured), as_json,
                lambda: show_instead(place, measured, said))  # fmt: skip
            return
        kept = None if photo else store.recipes.find(target or "")
        _check(target, picture, make, area, kept, made, swatch)
        film = _film(store, thickness, over, photo, grey, white, black)
        if kept and not (with_ or without or film or finish):
            request = RecipeRequest(kept=kept.name)
        else:
            request = RecipeRequest(
                _wanted(store, target, photo, at, grey, white, black),
                must=must,
                without=out,
                finish=gloss,
                film=film,
                most=tubes,
                ways=ways,
            )
        found = recipe_question(store, request).answer()
        quantity = Quantity(make or area or "", coats, habits.measuring)
        measured = [amounts(found, each, quantity) for each in found.answer.recipes]
        batch = measured[0].batch
        costs = bill_of_grams(stocks(store), found.basis.read, batch.grams)
        result = as_dict(found, measured) | {"cost": costs.said}
        if picture is not None:
            result["picture"] = str(_draw(found, picture))
        with store.transaction():
            said = costs.words(found.basis.names, f"{amount_words(batch.total, batch.measure)} of "
                               "the first way")  # fmt: skip
            said += _keep(store, keep, found, note) if keep else []
            if kept and (made or swatch):
                row, words = _batch(store, kept, measured[0] if made else None, swatch, note)
                result |= {"batch": row}
                said.append(words)
    if picture is not None:
        said.append(f"Picture: {picture}")
    say(result, as_json, lambda: show(found, measured, said))


def _film(
    store: Store,
    thickness: float | None,
    over: str | None,
    photo: Path | None,
    grey: str | None,
    white: str | None,
    black: str | None,
) -> Film | None:
    """Return the film that is to be painted; None for paint that hides."""
    from ..easel.ground import ground_of
    from ..mixing.film import GROUNDS, Film
    from ..mixing.measures import COAT_UM

    if thickness is None and over is None:
        return None
    thick = COAT_UM if thickness is None else thickness
    if over is None or over in GROUNDS:
        return Film(thick, over or "white")
    if photo is not None and over.count(",") == 1:
        below = target_in_photo(store, photo, over, grey, white, black)
    else:
        below = _wanted(store, over, None, None, None, None, None)
    return Film.on(thick, ground_of(store, below))


def refuse_beside(option: str, given: Mapping[str, Any]) -> None:
    """Refuse options that an option leaves without meaning."""
    for name, value in given.items():
        if value:
            raise InputError(name, str(value), f"goes with no {option}", "leave one of them out")


def _check(
    target: str | None,
    picture: Path | None,
    make: str | None,
    area: str | None,
    kept: schema.Recipe | None,
    made: bool,
    swatch: str | None,
) -> None:
    """Refuse what can't go together, before anything is searched."""
    if picture is not None:
        from ..pictures.style import check_suffix

        check_suffix(picture)
    if make and area:
        raise InputError("--area", area, "--make was given too", "give one of them")
    if kept is None and (made or swatch):
        raise InputError(
            "--made" if made else "--swatch", target, "is no kept recipe",
            "keep it first: --keep NAME",
        )  # fmt: skip


def _keep(store: Store, name: str, ways: Ways, note: str) -> list[str]:
    """Keep the first way."""
    before, first = store.recipes.find(name), ways.answer.recipes[0]
    store.recipes.keep(name, first.parts, *ways.kept(first), note)
    instead = f", in place of the one of {before.created[:10]}" if before else ""
    return [f"The first is kept as {name}{instead}."]


def _batch(
    store: Store, kept: schema.Recipe, made: Amounts | None, swatch: str | None, note: str
) -> tuple[dict[str, Any], str]:
    """Keep a batch as it was weighed out, or what the last one dried to."""
    from ..easel.asked_colour import parse_target
    from ..easel.basis import Manner
    from ..easel.batches import kept_portions
    from ..easel.swatches import dried, keep_swatch

    words = "The batch is kept."
    if made is not None:
        manner = Manner.of_kept(kept.predicted)
        whole = made.batch
        batch = store.recipes.keep_batch(kept, whole.grams, note, kept_portions(whole, manner))
    if swatch:
        batch = keep_swatch(store, kept.name, parse_target(swatch, store))
        seen = dried(kept, batch)
        assert seen is not None
        words = (
            f"It dried {seen.off:.1f} off what was expected ({seen.words}); kept with the batch."
        )
    said = {"made": batch.made, "grams": batch.masses, "lots": batch.lots, "note": batch.note}
    return said | {"swatch": batch.swatch}, words


def _list(store: Store, asked: dict[str, str | None], as_json: bool) -> None:
    """Say every kept recipe."""
    from ..easel.basis import names_of
    from ..easel.habits import weighing
    from .recipe_kept import kept_as_dict, show_kept

    for option, text in asked.items():
        if text:
            raise InputError(option, text, "expected a colour to mix", "name it first")
    kept, names, scale = store.recipes.all(), names_of(store), weighing(store).measuring.scale
    say([kept_as_dict(each) for each in kept], as_json, lambda: show_kept(kept, names, scale))


def _wanted(
    store: Store,
    target: str | None,
    photo: Path | None,
    at: str | None,
    grey: str | None,
    white: str | None,
    black: str | None,
) -> Target:
    from ..easel.asked_colour import parse_target

    if photo is not None:
        if target is not None:
            raise InputError("--photo", str(photo), f"{target} was named too", "name one of them")
        return target_in_photo(store, photo, at, grey, white, black)
    no_photo(at=at, grey=grey, white=white, black=black)
    return parse_target(target or "", store)


def _draw(ways: Ways, file: Path) -> Path:
    from ..pictures.style import save
    from ..pictures.ways import ways_figure

    return save(ways_figure(ways), file)


def split(texts: list[str] | None) -> list[str]:
    """Names of an option given several times, or once with commas."""
    return [name.strip() for text in texts or [] for name in text.split(",") if name.strip()]
