"""Mixing as one worksheet: its address holds every choice, the studio what is on the plate."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlencode

import cv2
import numpy as np
from numpy.typing import NDArray
from starlette.responses import Response

from ....calibrate.errors import InputError
from ....calibrate.optics.surface import GLOSSES
from ...cards.new_tube import figure
from ...easel.basis import names_of
from ...easel.batches import batch_words, kept_portions
from ...easel.habits import gloss_of, weighing
from ...easel.made_words import beforehand_words, parts_words, surplus_words, tint_words
from ...easel.photographed import proposed_neutrals
from ...easel.reach import ReachQuestion, ReachRequest, reach_question
from ...easel.recipe import (
    Amounts,
    Quantity,
    RecipeRequest,
    Ways,
    amounts,
    recipe_question,
)
from ...easel.tubes.cost import bill_of_grams, stocks
from ...mixing.film import GROUNDS, Film
from ...mixing.made import Made
from ...mixing.measures import amount_words
from ...mixing.medium import MEDIUM
from ...mixing.next_addition import NEAR
from ...mixing.photo import Spot, parse_spot, shrunk
from ...mixing.recipes import Recipe
from ...mixing.viewing import LIGHTS
from ...pictures.swatch import swatch
from ...pictures.ways import ways_figure
from ...store.store import Store
from ..asked import Asked, Changed, go, view
from ..drawing import drawn
from ..jobs import Progress
from ..remedies import on_page
from ..touching import SPOTS, touched
from ..uploads import PHOTOS, keep_photo, kept
from ..worksheet import (
    NEUTRALS,
    SCALES,
    SHOWN,
    address,
    chosen_of,
    habits_of,
    photo_of,
    searches_of,
    shown_size,
    target_of,
    typed_mix,
)
from .plate import on_plate_shown, plate_step
from .table import key_of, table_step, way_amounts

Step = Callable[[Asked, Store, dict[str, Any]], bool]
_MOST, _THINNEST = 4, 0.1
_MEDIUM = {"": "may be in a film", "must": "must be in the mix", "out": "stays out"}


@view
def worksheet(asked: Asked) -> Response:
    """The worksheet as far as its address has come."""
    if asked.text("spot.x"):
        there = touched(asked, photo_of(kept(asked.studio, [asked.text("photo")])[0]))
        at = "tubes" if "at" in there else "aim"
        return go(address(chosen_of(asked) | there, at=at))
    said: dict[str, Any] = {
        "faults": {}, "photo": None, "target": None, "ways": None, "way": None, "amounts": None,
        "parts_words": parts_words, "key_of": key_of, "amount_of": _amount_of,
        "beforehand": beforehand_words, "surplus": surplus_words,
        "plate": None, "photos": PHOTOS, "text": asked.text("target"),
        "chosen": chosen_of(asked), "scales": SCALES, "swatch": swatch, "address": address,
        "near": NEAR, "others": False, "further": None, "finishes": GLOSSES,
        "lights": LIGHTS, "measured_out": batch_words,
        "grounds": list(GROUNDS), "mediums": _MEDIUM, "touched": SPOTS,
        "spots": urlencode({key: asked.text(key) for key in SPOTS if asked.text(key)}),
        "proposed": {}, "accept": "", "costs": [], "mix_of": typed_mix, "medium": MEDIUM,
        "table": None, "plate_seen": "", "on_sliders": {}, "plate_basis": None,
    }  # fmt: skip
    with asked.store() as store:
        paints, fitted = store.paints.all(), store.fits.current()
        said["habits"] = usual = weighing(store)
        said["scales"] = sorted({*SCALES, usual.scale or SCALES[0]})
        said["names"] = names_of(store)
        said["tubes"] = [p for p in paints if p.on_hand and p.nickname in fitted]
        kept_so_far = {each.recipe.name: each for each in store.recipes.all()}
        said["kept"], said["fresh"] = list(kept_so_far), kept_so_far.get(asked.text("kept"))
        if not said["tubes"]:
            raise InputError(
                None, None, "no tube on hand has a fit yet, so nothing can be mixed",
                "read a card and fit it, or say under Tubes what is on hand",
            )  # fmt: skip
        # Where one step can't be done the ones before it stay, and say why.
        for name, step in (("aim", _aim), ("ways", _ways), ("amounts", _amounts)):
            if not _done(name, step, asked, store, said):
                break
        _done("plate", plate_step, asked, store, said)
        _done("table", table_step, asked, store, said)
    return asked.show("mix.html", **said)


def _done(name: str, step: Step, asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    """Whether a step was done, and the next can follow."""
    try:
        return step(asked, store, said)
    except InputError as error:
        # What one step can't do, a later one can't either: it is said once, where it can be mended.
        if not said["faults"]:
            said["faults"][name] = on_page(error)
        return False


def _aim(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    photo = asked.text("photo")
    if photo:
        found = photo_of(kept(asked.studio, [photo])[0])
        said["photo"] = shown_size(found)
        if found.by == "nothing" and not any(asked.text(key) for key in NEUTRALS):
            said["proposed"] = cards = proposed_neutrals(found)
            guessed = {key: f"{card.at[0]:.0f},{card.at[1]:.0f}" for key, card in cards.items()}
            maybe = urlencode({**guessed, "maybe": list(guessed)}, doseq=True)
            said["spots"] = "&".join(filter(None, (said["spots"], maybe)))
            said["accept"] = address(chosen_of(asked) | guessed, "aim")
    target = target_of(asked, store)
    said["target"] = target
    looked = asked.texts("lay") or asked.text("again") or asked.text("look")
    return target is not None and bool(looked)


def _request(asked: Asked, store: Store) -> RecipeRequest:
    """The target, and how it is to be mixed, painted and seen."""
    if asked.text("again"):
        return RecipeRequest(kept=asked.text("again"))
    target = target_of(asked, store)
    if target is None:
        raise InputError("target", None, "nothing is aimed at", "begin at the top")
    finish = asked.one_of("finish", GLOSSES)
    medium = asked.one_of("medium", [key for key in _MEDIUM if key])
    thick = figure("film", asked.text("film"), "20", "µm")
    if thick is not None and thick < _THINNEST:
        raise InputError(
            "film", asked.text("film"), f"expected {_THINNEST:g} µm or more", "mend it"
        )
    must = [store.paints.find(name).nickname for name in asked.texts("must")]
    must += [MEDIUM] if medium == "must" else []
    return RecipeRequest(
        target,
        must=tuple(dict.fromkeys(must)),
        without=(MEDIUM,) if medium == "out" else (),
        laid_out=tuple(asked.texts("lay")) or None,
        finish=gloss_of(finish),
        film=None if thick is None else Film(thick, asked.one_of("over", list(GROUNDS)) or "white"),
        most=asked.number("tubes", _MOST, 1, 6),
    )


def _found(asked: Asked, store: Store) -> Ways:
    """What the tubes make of the target."""
    return searches_of(asked).answer(recipe_question(store, _request(asked, store)))


def _ways(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    ways = said["ways"] = _found(asked, store)
    said["way"] = _chosen_way(asked, ways)
    said["on_sliders"] = {
        key_of(each): way_amounts(asked, store, ways, each) for each in ways.answer.recipes
    }
    others = store.fits.current().keys() - set(ways.basis.read.paints)
    said["others"] = bool(others and ways.answer.missing and ways.basis.manner.film is None)
    if said["others"] and asked.text("further"):
        said["further"] = searches_of(asked).answer(_further(asked, store)).further
    return said["way"] is not None


def _chosen_way(asked: Asked, ways: Ways) -> Recipe | None:
    """The way taken; of a recipe that is mixed again the only one."""
    found = ways.answer.recipes
    if asked.text("again"):
        return found[0]
    return next((recipe for recipe in found if key_of(recipe) == asked.text("way")), None)


def _amounts(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    if not asked.text("make"):
        return False
    said["amounts"] = made = _how_much(asked, store, said["ways"], said["way"])
    bill = bill_of_grams(stocks(store), said["ways"].basis.read, made.batch.grams)
    said["costs"] = bill.words(said["names"], amount_words(made.batch.total, made.batch.measure))
    return bool(asked.text("mixing"))


def _how_much(asked: Asked, store: Store, ways: Ways, recipe: Recipe) -> Amounts:
    coats, habits = asked.number("coats", 2, 1, 10), habits_of(asked, store)
    return amounts(ways, recipe, Quantity(asked.text("make"), coats, habits.measuring))


def _amount_of(made: Made, paint: str, names: Mapping[str, str]) -> tuple[str, str]:
    """An amount as it is measured, and what of: a paint, or a tint of it."""
    tint = made.tint(paint)
    of = names.get(paint, paint) if tint is None else tint_words(tint, names)
    return amount_words(made.amounts[paint], made.measure), of


def _further(asked: Asked, store: Store) -> ReachQuestion:
    """Whether a tube that isn't laid out would help."""
    request = _request(asked, store)
    laid_out = (*(request.laid_out or ()), *request.must)
    wanted = ReachRequest(
        request.target, laid_out=laid_out, finish=request.finish, most=request.most
    )
    return reach_question(store, wanted)


@view
def try_further(asked: Asked) -> Response:
    """Try each tube that isn't laid out as one more."""
    searches = searches_of(asked)
    with asked.store() as store:
        question = _further(asked, store)
    there = address(chosen_of(asked), further="yes")

    def work(progress: Progress) -> str:
        progress("one after another")
        searches.answer(question)
        return f"{there}#ways"

    return asked.job("Trying further tubes", address(chosen_of(asked), "ways"), work)


@view
def stop_search(asked: Asked) -> Response:
    """Stop a search that goes on for a window, so that it takes no more of this computer."""
    if name := asked.text("search"):
        asked.request.app.state.stopped.append(name)
    return Response(status_code=204)


@view
def ways_picture(asked: Asked) -> Response:
    """The ways beside the target, under three lights and as films."""
    with asked.store() as store:
        ways = _found(asked, store)
    return drawn(lambda: ways_figure(ways))


@view
def take_photo(asked: Asked) -> Response:
    """Keep a photograph to aim at a spot of."""
    return go("/mix", {"photo": keep_photo(asked.studio, asked.uploads("files"))}, at="aim")


@view
def photo(asked: Asked) -> Response:
    """A photograph as the page shows it."""
    found = photo_of(kept(asked.studio, [asked.path("name")])[0])
    picture = np.ascontiguousarray(shrunk(found, SHOWN)[:, :, ::-1])
    for key in SPOTS:
        if asked.text(key):
            x, y = parse_spot(asked.text(key), key)
            maybe = "?" if key in asked.texts("maybe") else ""
            _mark(picture, (x, y), max(picture.shape) / max(found.size), key, maybe)
    done, made = cv2.imencode(".png", picture)
    assert done
    return Response(made.tobytes(), media_type="image/png")


def _mark(picture: NDArray[np.uint8], at: Spot, scale: float, key: str, maybe: str) -> None:
    """Draw a ring around a spot, and beside it what it was said to be."""
    x, y = (round(min(max(scale * each, -99.0), 9999.0)) for each in at)
    word, font = "here" if key == "at" else key + maybe, cv2.FONT_HERSHEY_SIMPLEX
    # Neutrals mostly lie side by side: their words keep out of each other's way.
    right, down = {"white": (-20, -18), "grey": (-18, 30)}.get(key, (16, 6))
    for wide, colour in ((5, (255, 255, 255)), (1, (0, 0, 0))):
        cv2.circle(picture, (x, y), 9, colour, wide, cv2.LINE_AA)
        cv2.putText(picture, word, (x + right, y + down), font, 0.6, colour, wide, cv2.LINE_AA)


@view
def keep_way(asked: Asked) -> Response:
    """Keep the chosen way under a name; and the batch, where it is mixed."""
    with asked.store() as store:
        ways = _found(asked, store)
        # Held until the batch is kept, so that no other window changes the plate meanwhile.
        with store.transaction():
            return asked.once(store, lambda: _kept(asked, store, ways))


def _kept(asked: Asked, store: Store, ways: Ways) -> str:
    name, note, mixed = asked.text("name"), asked.text("note"), asked.text("mixed")
    recipe = _chosen_way(asked, ways)
    if recipe is None:
        raise Changed("what the tubes make of this colour")
    wanted, expected = ways.kept(recipe)
    if mixed:
        made = _how_much(asked, store, ways, recipe).batch if mixed == "so" else None
        masses = made.grams if made else on_plate_shown(asked, store)
        portions = kept_portions(made, ways.basis.manner) if made else None
        store.recipes.keep_mixed(name, recipe.parts, wanted, expected, masses, note, portions)
    else:
        store.recipes.keep(name, recipe.parts, wanted, expected, note)
    held = chosen_of(asked) | {"kept": name.casefold()}
    return address(held, at="plate" if asked.text("mixing") else "amounts")
