"""Mixing as one worksheet: its address holds every choice, the studio what is on the plate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import cv2
import numpy as np
from numpy.typing import NDArray
from starlette.responses import Response

from ....calibrate.errors import InputError, Sentence
from ....calibrate.optics.surface import GLOSSES
from ...cards.new_tube import figure
from ...cards.scanning import PICTURES
from ...easel.additions import AdditionRequest, addition_question
from ...easel.asked_colour import kept_target
from ...easel.basis import names_of, nickname
from ...easel.heap import guess_words
from ...easel.measuring import Measuring
from ...easel.plate import on_plate, read_dab, read_plate, write_dab, write_plate
from ...easel.reach import ReachQuestion, ReachRequest, reach_question
from ...easel.recipe import (
    Amounts,
    Quantity,
    RecipeRequest,
    Ways,
    amounts,
    kept_named,
    recipe_question,
)
from ...mixing.film import GROUNDS, Film
from ...mixing.made import Made, beforehand_words, parts_words, surplus_words, tint_words
from ...mixing.measures import amount_words
from ...mixing.medium import MEDIUM
from ...mixing.next_addition import NEAR
from ...mixing.photo import Spot, parse_spot, shrunk
from ...mixing.prediction import parse_mix
from ...mixing.recipes import Recipe
from ...mixing.target import Target
from ...pictures.of_studio import whole
from ...pictures.ways import plot_ways
from ...store.store import Store
from ..asked import Asked, Changed, go, shown, view
from ..drawing import drawn
from ..jobs import Progress
from ..remedies import on_page
from ..swatch import swatch
from ..touching import SPOTS, touched
from ..uploads import PHOTOS, keep, kept
from ..worksheet import NEUTRALS, SCALES, SHOWN, Searches, aim, aim_in_photo, photo_of, shown_size

KEYS = (
    "target", "again", "photo", "at", *NEUTRALS, "finish", "film", "over", "medium", "tubes", "way",
    "make", "coats", "scale", "mixing",
)  # fmt: skip
LISTS = ("lay", "must")
"""What a worksheet's address holds: one of each of the former, any number of the latter."""
_MOST, _THINNEST = 4, 0.1
_MEDIUM = {"": "may be in a film", "must": "must be in the mix", "out": "stays out"}


@view
def worksheet(asked: Asked) -> Response:
    """The worksheet as far as its address has come."""
    if asked.text("spot.x"):
        there = touched(asked, photo_of(kept(asked.studio, [asked.text("photo")])[0]))
        at = "tubes" if "at" in there else "aim"
        return go(_address(_chosen(asked) | there, at=at))
    said: dict[str, Any] = {
        "faults": {}, "photo": None, "target": None, "ways": None, "way": None, "amounts": None,
        "parts_words": parts_words, "key_of": _key, "amount_of": _amount_of,
        "beforehand": beforehand_words, "surplus": surplus_words,
        "plate": None, "photos": PHOTOS, "text": asked.text("target"),
        "chosen": _chosen(asked), "scales": SCALES, "swatch": swatch, "address": _address,
        "near": NEAR, "others": False, "further": None, "finishes": GLOSSES,
        "grounds": list(GROUNDS), "mediums": _MEDIUM, "touched": SPOTS,
        "spots": urlencode({key: asked.text(key) for key in SPOTS if asked.text(key)}),
    }  # fmt: skip
    with asked.store() as store:
        paints, fitted = store.paints.all(), store.fits.current()
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
        for name, step in (
            ("aim", _aim),
            ("ways", _ways),
            ("amounts", _amounts),
            ("plate", _plate),
        ):
            try:
                if not step(asked, store, said):
                    break
            except InputError as error:
                said["faults"][name] = on_page(error)
                break
    return asked.show("mix.html", **said)


def _chosen(asked: Asked) -> dict[str, Any]:
    """Everything chosen so far, as an address holds it."""
    found: dict[str, Any] = {key: asked.text(key) for key in KEYS}
    found |= {key: asked.texts(key) for key in LISTS}
    return {key: value for key, value in found.items() if value}


def _address(chosen: dict[str, Any], at: str = "", **changed: Any) -> str:
    """The worksheet's address with something else chosen; None leaves a choice out."""
    held = {key: value for key, value in (chosen | changed).items() if value is not None}
    return f"/mix?{urlencode(held, doseq=True)}" + (f"#{at}" if at else "")


def _aim(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    photo = asked.text("photo")
    if photo:
        said["photo"] = shown_size(photo_of(kept(asked.studio, [photo])[0]))
    target = _target(asked, store)
    said["target"] = target
    return target is not None and bool(asked.texts("lay") or asked.text("again"))


def _target(asked: Asked, store: Store) -> Target | None:
    """What is aimed at: a kept recipe, what was typed, else a spot of the photograph."""
    text, photo, at = asked.text("target"), asked.text("photo"), asked.text("at")
    if asked.text("again"):
        return kept_target(kept_named(store, asked.text("again")))
    if text:
        return aim(store, text)
    neutral = {name: asked.text(name) for name in NEUTRALS if asked.text(name)}
    if photo and (at or neutral):
        path = kept(asked.studio, [photo])[0]
        if at:
            return aim_in_photo(path, at, neutral)
        photo_of(path, neutral)  # refuses a spot that lies outside
    return None


def _request(asked: Asked, store: Store) -> RecipeRequest:
    """The target, and how it is to be mixed, painted and seen."""
    if asked.text("again"):
        return RecipeRequest(kept=asked.text("again"))
    target = _target(asked, store)
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
        laid_out=tuple(asked.texts("lay")),
        finish=next((each for each in GLOSSES if each == finish), None),
        film=None if thick is None else Film(thick, asked.one_of("over", list(GROUNDS)) or "white"),
        most=asked.number("tubes", _MOST, 1, 6),
    )


def _found(asked: Asked, store: Store) -> Ways:
    """What the tubes make of the target."""
    searches: Searches = asked.request.app.state.searches
    return searches.answer(recipe_question(store, _request(asked, store)))


def _ways(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    ways = said["ways"] = _found(asked, store)
    said["way"] = _chosen_way(asked, ways)
    others = store.fits.current().keys() - set(ways.basis.read.paints)
    said["others"] = bool(others and ways.answer.missing and ways.basis.manner.film is None)
    if said["others"] and asked.text("further"):
        searches: Searches = asked.request.app.state.searches
        said["further"] = searches.answer(_further(asked, store)).further
    return said["way"] is not None


def _key(recipe: Recipe) -> str:
    """A way's tubes, by which an address names it."""
    return ",".join(sorted(recipe.parts))


def _chosen_way(asked: Asked, ways: Ways) -> Recipe | None:
    """The way taken; of a recipe that is mixed again the only one."""
    found = ways.answer.recipes
    if asked.text("again"):
        return found[0]
    return next((recipe for recipe in found if _key(recipe) == asked.text("way")), None)


def _amounts(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    if not asked.text("make"):
        return False
    said["amounts"] = _how_much(asked, said["ways"], said["way"])
    return bool(asked.text("mixing"))


def _how_much(asked: Asked, ways: Ways, recipe: Recipe) -> Amounts:
    shown = asked.text("scale") or str(SCALES[0])
    step = next((each for each in SCALES if str(each) == shown), None)
    if step is None:
        raise InputError("scale", shown, "expected one of those listed", "choose one")
    coats = asked.number("coats", 2, 1, 10)
    return amounts(ways, recipe, Quantity(asked.text("make"), coats, Measuring(step=step)))


def _amount_of(made: Made, paint: str, names: Mapping[str, str]) -> tuple[str, str]:
    """An amount as it is measured, and what of: a paint, or a tint of it."""
    tint = made.tint(paint)
    of = names.get(paint, paint) if tint is None else tint_words(tint, names)
    return amount_words(made.amounts[paint], made.measure), of


def _plate(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    additions = read_plate(store.studio.folder)
    plate, dab = on_plate(additions), read_dab(store.studio.folder) if additions else None
    amounts: Amounts = said["amounts"]
    recipe: Recipe = said["way"]
    ways: Ways = said["ways"]
    found, grams, scanned = None, amounts.batch, list[str]()
    guess: list[str | Sentence] = []
    if plate and ways.basis.manner.film is None:
        wanted = AdditionRequest(
            ways.answer.target, tuple(additions), dab=dab, wanted=amounts.grams
        )  # fmt: skip
        question = addition_question(store, wanted)
        searches: Searches = asked.request.app.state.searches
        answer = question.answer(searches.answer(question.heap) if question.heap else None)
        found = answer.found
        guess += guess_words(answer.likely, said["names"]) if answer.likely else []
        scanned = answer.basis.scanned(plate)
        # Three quarters of what is missing go on first; whatever really did is typed over it.
        more = {paint: round(0.75 * g, 2) or 0.01 for paint, g in found.additions.items()}
        grams = more | {paint: 0.0 for paint in recipe.parts if paint not in more}
    elif plate:
        grams = {p: round(max(g - plate.get(p, 0.0), 0.0), 3) for p, g in grams.items()}
    said["plate"] = {
        "additions": additions, "seen": shown(additions), "sum": plate, "next": found,
        "grams": grams, "dab": guess, "began_unknown": dab is not None,
        "scanned": scanned,
    }  # fmt: skip
    return True


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
    searches: Searches = asked.request.app.state.searches
    with asked.store() as store:
        question = _further(asked, store)
    there = _address(_chosen(asked), further="yes")

    def work(progress: Progress) -> str:
        progress("one after another")
        searches.answer(question)
        return f"{there}#ways"

    return asked.job("Trying further tubes", _address(_chosen(asked), "ways"), work)


@view
def ways_picture(asked: Asked) -> Response:
    """The ways beside the target, under three lights and as films."""
    with asked.store() as store:
        ways = _found(asked, store)
    basis = ways.basis
    return drawn(lambda: whole(plot_ways(ways.answer, basis.palette, basis.names)))


@view
def change_plate(asked: Asked) -> Response:
    """Add to the plate, take the last addition back, or begin with an empty one."""
    what = asked.text("do")
    # The database's lock keeps two windows from writing the plate at once.
    with asked.store() as store, store.transaction():
        folder = store.studio.folder
        additions = read_plate(folder)
        if what == "add":
            additions.append(_added(asked, store))
        elif shown(additions) != asked.text("seen"):
            raise Changed("the plate")
        elif what == "undo" and additions:
            additions.pop()
        elif what == "clear":
            additions = []
        else:
            raise InputError("plate", what, "expected to add, undo or clear", "use its buttons")
        write_plate(folder, additions)
        if not additions:
            write_dab(folder, None)
    return go(_address(_chosen(asked), at="plate"))


def _added(asked: Asked, store: Store) -> dict[str, float]:
    typed = {
        key.removeprefix("g:"): str(value).strip().replace(",", ".")
        for key, value in asked.form.multi_items()
        if key.startswith("g:") and str(value).strip()
    }
    if not typed:
        raise InputError("plate", None, "nothing was added", "say how many grams went on")
    mix = ",".join(f"{name}={grams}" for name, grams in typed.items())
    return parse_mix(mix, lambda name: nickname(store, name))


@view
def take_photo(asked: Asked) -> Response:
    """Keep a photograph to aim at a spot of."""
    files = keep(asked.studio, asked.uploads("files"))
    if files[0].suffix.lower() not in PICTURES:
        raise InputError(files[0].name, None, "is no photograph", "drop a JPEG, PNG or TIFF")
    return go("/mix", {"photo": files[0].name}, at="aim")


@view
def photo(asked: Asked) -> Response:
    """A photograph as the page shows it."""
    found = photo_of(kept(asked.studio, [asked.path("name")])[0])
    picture = np.ascontiguousarray(shrunk(found, SHOWN)[:, :, ::-1])
    for key in SPOTS:
        if asked.text(key):
            x, y = parse_spot(asked.text(key), key)
            _mark(picture, (x, y), max(picture.shape) / max(found.size), key)
    done, made = cv2.imencode(".png", picture)
    assert done
    return Response(made.tobytes(), media_type="image/png")


def _mark(picture: NDArray[np.uint8], at: Spot, scale: float, key: str) -> None:
    """Draw a ring around a spot, and beside it what it was said to be."""
    x, y = (round(min(max(scale * each, -99.0), 9999.0)) for each in at)
    word, font = "here" if key == "at" else key, cv2.FONT_HERSHEY_SIMPLEX
    # Neutrals mostly lie side by side: their words keep out of each other's way.
    right, down = {"white": (-20, -18), "grey": (-18, 30)}.get(key, (16, 6))
    for wide, colour in ((5, (255, 255, 255)), (1, (0, 0, 0))):
        cv2.circle(picture, (x, y), 9, colour, wide, cv2.LINE_AA)
        cv2.putText(picture, word, (x + right, y + down), font, 0.6, colour, wide, cv2.LINE_AA)


@view
def keep_way(asked: Asked) -> Response:
    """Keep the chosen way under a name; and the batch, where it is mixed."""
    name, note, mixed = asked.text("name"), asked.text("note"), asked.text("mixed")
    with asked.store() as store:
        ways = _found(asked, store)
        recipe = _chosen_way(asked, ways)
        if recipe is None:
            raise Changed("what the tubes make of this colour")
        wanted, expected = ways.kept(recipe)
        masses = _how_much(asked, ways, recipe).batch if mixed == "so" else {}
        # Held until the batch is kept, so that no other window changes the plate meanwhile.
        with store.transaction():
            if mixed:
                masses = masses or _on_plate(asked, store)
                store.recipes.keep_mixed(name, recipe.parts, wanted, expected, masses, note)
            else:
                store.recipes.keep(name, recipe.parts, wanted, expected, note)
    held = _chosen(asked) | {"kept": name.casefold()}
    return go(_address(held, at="plate" if asked.text("mixing") else "amounts"))


def _on_plate(asked: Asked, store: Store) -> dict[str, float]:
    """Grams on the plate, if they are those that the form showed."""
    additions = read_plate(store.studio.folder)
    if shown(additions) != asked.text("seen"):
        raise Changed("the plate")
    if not additions:
        raise InputError("plate", None, "is empty", "say what went on")
    return on_plate(additions)
