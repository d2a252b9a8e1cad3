"""Find ways to mix a colour from the tubes on hand; keep them, and what was mixed of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, number, open_store, say, working
from .photographs import BlackOption, GreyOption, WhiteOption, no_photo, target_in_photo

if TYPE_CHECKING:
    from ..easel.manner import Manner
    from ..mixing.palette import Palette
    from ..mixing.recipes import Answer, Recipe
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
            help="Dry film thickness in µm, for a glaze: medium may be in it.",
        ),
    ] = None,
    over: Annotated[
        str, typer.Option(help="With --thickness: what lies below, white or black.")
    ] = "white",
    finish: Annotated[
        str | None,
        typer.Option(
            help="Finish under which the eye sees it: gloss, satin or matt. Without it a colour "
            "said, shown or photographed is seen in gloss, and a reading is matched as read."
        ),
    ] = None,
    scale: Annotated[
        float,
        typer.Option(parser=number(0.001, 1), metavar="G", help="Smallest step of your scale, g."),
    ] = 0.01,
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
        typer.Option(metavar="FILE", help="Draw the ways beside the target: a .png or .svg."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Find ways to mix a colour from the tubes on hand.

    Every set of tubes on hand is searched. The answer says how to begin, and how sure it is.
    """
    with open_store(studio) as store, working("Searching", as_json):
        from ..easel.densities import volume_slip, with_densities
        from ..easel.manner import Manner, as_kept, tubes_for
        from ..easel.swatches import dried
        from ..mixing.film import Film
        from ..mixing.measures import weighed
        from ..mixing.medium import MEDIUM, NAME
        from ..mixing.recipes import recipes
        from .predict import check_finish
        from .recipe_kept import show_kept
        from .recipe_shown import as_dict, prepared, show

        names = {MEDIUM: NAME} | {paint.nickname: paint.name for paint in store.paints.all()}
        if target is None and photo is None:
            listed = _kept(store, {"--keep": keep, "--make": make, "--swatch": swatch})
            say(listed[1], as_json, lambda: show_kept(listed[0], names))
            return
        if picture is not None:
            from ..pictures.style import check_suffix

            check_suffix(picture)
        gloss = check_finish(finish)
        film = None if thickness is None else Film(thickness, over)
        kept = None if photo else store.recipes.find(target or "")
        if kept is None and (made or swatch):
            raise InputError(
                "--made" if made else "--swatch", target, "is no kept recipe",
                "keep it first: --keep NAME",
            )  # fmt: skip
        batch = _swatch(store, kept, swatch) if kept and swatch else None
        if kept and not (with_ or without or film or finish):
            manner = Manner.of_kept(kept.predicted)
            palette, answer = as_kept(store, kept, names)
        else:
            wanted = _wanted(store, target, photo, at, grey, white, black)
            must = [_nickname(store, text) for text in split(with_)]
            out = [_nickname(store, text) for text in split(without)]
            manner = Manner.matching(wanted, gloss, film)
            read = tubes_for(store, must, out, film is not None)
            palette, wanted = manner.palette(read), manner.target(wanted, read.surface)
            answer = recipes(palette.coefficients, wanted, tubes, must, ways, names, film=film)
        grams = _grams(manner, palette, answer.recipes[0], make, area, coats)
        orders, snapped = prepared(palette, answer, scale, grams)
        result = as_dict(answer, orders, snapped)
        result["viewing"] = manner.viewing.said
        result["model"] = palette.coefficients.model
        result["reckoned"] = store.fits.model_words(palette.coefficients)
        parts = answer.recipes[0].parts
        assumed = [p for p in with_densities(store, palette.coefficients)[1] if p in parts]
        slip = volume_slip(palette, parts, assumed)
        result |= {"density_assumed": assumed, "by_volume_de00": slip}
        if picture is not None:
            result["picture"] = str(_draw(answer, palette, names, picture))
        before = store.recipes.find(keep) if keep else None
        if keep:
            _keep(store, keep, result, manner.said, note)
        if kept and made:
            batch = store.recipes.keep_batch(kept, weighed(snapped[0][0]), note)
        if batch is not None:
            result["batch"] = {"made": batch.made, "grams": batch.masses, "lots": batch.lots}
            result["batch"] |= {"note": batch.note, "swatch": batch.swatch}
    said = f"The first is kept as {keep}." if keep else ""
    if before is not None:
        said = f"The first is kept as {keep}, in place of the one of {before.created[:10]}."
    if batch is not None:
        said = "The batch is kept."
    if batch is not None and kept and swatch and (seen := dried(kept, batch)):
        said = f"It dried {seen.off:.1f} off what was expected ({seen.words}); kept with the batch."
    said = f"{result['reckoned']}\n{said}".rstrip()
    if assumed:
        typical = " and ".join(names[p] for p in assumed)
        said = (
            f"The density of {typical} is only typical: measured by volume, the first way may be "
            f"{slip:.1f} off. Weigh 2 ml once: tintladder tubes weigh {assumed[0]}\n{said}"
        )
    if grams is not None:
        said = f"Spoons, lengths and whole parts are a handy batch in the same ratio.\n{said}"
    if picture is not None:
        said += f"\nPicture: {picture}"
    say(result, as_json, lambda: show(answer, orders, snapped, names, palette, said))


def _kept(store: Store, asked: dict[str, str | None]) -> tuple[list[Any], list[dict[str, Any]]]:
    """Every kept recipe, as it is and for machines."""
    from .recipe_kept import kept_as_dict

    for option, text in asked.items():
        if text:
            raise InputError(option, text, "expected a colour to mix", "name it first")
    kept = store.recipes.all()
    return kept, [kept_as_dict(each) for each in kept]


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
        return target_in_photo(photo, at, grey, white, black)
    no_photo(at=at, grey=grey, white=white, black=black)
    return parse_target(target or "", store)


def _draw(answer: Answer, palette: Palette, names: dict[str, str], file: Path) -> Path:
    from ..pictures.style import save
    from ..pictures.ways import plot_ways

    figure = plot_ways(answer, palette, names).get_figure(root=True)
    assert figure is not None
    figure.set_layout_engine("tight")
    return save(figure, file)


def _nickname(store: Store, text: str) -> str:
    from ..mixing.medium import resolver

    return resolver(lambda name: store.paints.find(name).nickname)(text)


def _swatch(store: Store, kept: schema.Recipe, text: str) -> schema.Batch:
    from ..easel.asked_colour import parse_target
    from ..easel.swatches import keep_swatch

    return keep_swatch(store, kept.name, parse_target(text, store))


def split(texts: list[str] | None) -> list[str]:
    """Names of an option given several times, or once with commas."""
    return [name.strip() for text in texts or [] for name in text.split(",") if name.strip()]


def _grams(
    manner: Manner,
    palette: Palette,
    first: Recipe,
    make: str | None,
    area: str | None,
    coats: int,
) -> float | None:
    from ..mixing.batch import batch_grams

    if make and area:
        raise InputError("--area", area, "--make was given too", "give one of them")
    if make:
        return batch_grams(palette.coefficients, first.parts, make)
    if area:
        return manner.area_grams(palette.coefficients, first.parts, area, coats)
    return None


def _keep(store: Store, name: str, result: dict[str, Any], seen: dict[str, Any], note: str) -> None:

    first = result["recipes"][0]
    predicted = {k: first[k] for k in ("lab", "difference_de00", "band_de00")} | seen
    store.recipes.keep(name, first["parts"], result["target"], predicted, note)
