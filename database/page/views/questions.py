"""What a painter asks next: steps between colours, stand-ins, tubes to keep, and neutrals."""

from __future__ import annotations

import re
from typing import Any

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...cards.new_tube import figure
from ...easel.habits import weighing
from ...easel.made_words import beforehand_words, heap_words, parts_words, taken_words
from ...easel.photographed import wanted_of
from ...easel.recipe import Quantity, amounts
from ...easel.setting_out import WantedColours, wanted_each
from ...easel.steps import MOST, SteppedWay, StepsRequest, steps_question
from ...easel.tubes.keep import WITHIN, KeepQuestion, KeepRequest, keep_question
from ...easel.tubes.neutral import Neutral, NeutralRequest, neutral
from ...easel.tubes.stand_in import InPlace, StandInRequest, stand_in_question
from ...mixing.target import Target
from ...mixing.viewing import LIGHTS
from ...pictures.swatch import swatch
from ...store.store import Store
from ..asked import Asked, go, view
from ..jobs import Progress
from ..remedies import on_page
from ..uploads import PHOTOS, keep_photo, kept
from ..worksheet import (
    SHOWN,
    address,
    aim,
    aim_in_photo,
    chosen_of,
    photo_of,
    searches_of,
    shown_size,
    target_of,
)

_STEPS, _KEEP, _SHOWN = 7, 6, 4
_ALL, _RECIPES, _COLOURS, _PHOTO = "all", "recipes", "colours", "photo"
KEPT_FOR = {
    _ALL: "all that your tubes make", _RECIPES: "your kept recipes",
    _COLOURS: "the colours below", _PHOTO: "the photograph below",
}  # fmt: skip
"""What a set of tubes is for, in words."""


@view
def steps(asked: Asked) -> Response:
    """Equal steps from the colour that the worksheet is aimed at to another."""
    chosen = {key: value for key, value in chosen_of(asked).items() if key != "way"}
    said: dict[str, Any] = {"fault": None, "way": None, "target": None, "photo": None}
    with asked.store() as store:
        try:
            said["target"] = start = target_of(asked, store)
            if asked.text("photo"):
                photo = photo_of(kept(asked.studio, [asked.text("photo")])[0])
                said["photo"] = shown_size(photo)
                if asked.text("to.x"):
                    scale = max(photo.size) / max(shown_size(photo))
                    x, y = (asked.number(f"to.{axis}", 0, 0, SHOWN) for axis in "xy")
                    chosen |= {"to": f"{round(x * scale)},{round(y * scale)}"}
                    return go("/mix/steps", {**chosen, "steps": _count(asked)}, at="way")
            if start is not None and asked.text("to"):
                said["way"] = _stepped(asked, store, start)
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "steps.html", chosen=chosen, address=address, swatch=swatch, heap_words=heap_words,
        beforehand=beforehand_words, taken_words=taken_words, count=_count(asked), most=MOST,
        **said,
    )  # fmt: skip


def _count(asked: Asked) -> int:
    return asked.number("steps", _STEPS, 3, MOST)


def _stepped(asked: Asked, store: Store, start: Target) -> SteppedWay:
    to = asked.text("to")
    if asked.text("photo") and re.fullmatch(r"\d+,\d+", to):
        path = kept(asked.studio, [asked.text("photo")])[0]
        neutral = {name: asked.text(name) for name in ("grey", "white", "black")}
        end = aim_in_photo(store, path, to, {k: v for k, v in neutral.items() if v})
    else:
        end = aim(store, to)
    request = StepsRequest(
        start, end, _count(asked), asked.text("make"), weighing(store).measuring,
        laid_out=tuple(asked.texts("lay")) or None,
    )  # fmt: skip
    return searches_of(asked).answer(steps_question(store, request))


@view
def instead(asked: Asked) -> Response:
    """What stands in for a tube of a mix that is gone."""
    mix, said = asked.text("mix"), dict[str, Any](place=None, measured=(), fault=None)
    with asked.store() as store:
        try:
            if mix or asked.text("gone"):
                said |= _in_its_place(asked, store, mix)
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "instead.html", mix=mix, lights=LIGHTS, shown=_SHOWN, swatch=swatch, address=address,
        parts_words=parts_words, beforehand=beforehand_words, **said,
    )  # fmt: skip


def _in_its_place(asked: Asked, store: Store, mix: str) -> dict[str, Any]:
    request = StandInRequest(aim(store, mix), store.paints.find(asked.text("gone")).nickname)
    place: InPlace = searches_of(asked).answer(stand_in_question(store, request))
    quantity = Quantity("", 2, weighing(store).measuring)
    measured = [amounts(place.ways, way, quantity) for way in place.ways.answer.recipes]
    return {"place": place, "measured": measured}


@view
def keep_set(asked: Asked) -> Response:
    """Which tubes to keep, as far as the address asks."""
    said: dict[str, Any] = {"fault": None, "found": None}
    with asked.store() as store:
        try:
            if asked.text("keep"):
                said["found"] = searches_of(asked).answer(_keep_question(asked, store))
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "keep.html", of=KEPT_FOR, photos=PHOTOS, keep=asked.number("keep", _KEEP, 1, 99),
        within=asked.text("within") or f"{WITHIN:g}", swatch=swatch, **said,
    )  # fmt: skip


@view
def find_set(asked: Asked) -> Response:
    """Search for it beside the page."""
    searches = searches_of(asked)
    there = {key: asked.text(key) for key in ("keep", "of", "colours", "within", "photo")}
    if asked.uploads("files"):
        there |= {"photo": keep_photo(asked.studio, asked.uploads("files")), "of": _PHOTO}
        asked = Asked(asked.request, type(asked.form)(there))
    with asked.store() as store:
        question = _keep_question(asked, store)
    path = str(go("/keep", {k: v for k, v in there.items() if v}, at="sets").headers["location"])

    def work(progress: Progress) -> str:
        progress("comparing sets of tubes")
        searches.answer(question)
        return path

    return asked.job("Finding which tubes to keep", path.partition("#")[0], work)


def _keep_question(asked: Asked, store: Store) -> KeepQuestion:
    within = figure("within", asked.text("within") or f"{WITHIN:g}", "5", "")
    if within is None or not 0.5 <= within <= 20:
        raise InputError("within", asked.text("within"), "expected 0.5 to 20", "choose 5")
    number = asked.number("keep", _KEEP, 1, 99)
    return keep_question(store, KeepRequest(number, _wanted(asked, store), within))


def _wanted(asked: Asked, store: Store) -> WantedColours | None:
    """The colours that a set is for; None: all that the tubes make."""
    of = asked.one_of("of", list(KEPT_FOR)) or _ALL
    if of == _ALL:
        return None
    if of == _PHOTO:
        path = kept(asked.studio, [asked.text("photo")])[0]
        return wanted_of(store, photo_of(path), path.stem)
    if of == _RECIPES:
        texts = [each.recipe.name for each in store.recipes.all()]
    else:
        texts = [each.strip() for each in re.split(r"[;\n]", asked.text("colours"))]
    targets = [aim(store, text) for text in texts if text]
    if not targets:
        raise InputError(None, KEPT_FOR[of], "there are none", "name some, or choose another")
    return wanted_each(targets)


@view
def greys(asked: Asked) -> Response:
    """What greys a tube, and its neutral tints."""
    with asked.store() as store:
        tube = store.paints.find(asked.path("tube"))
        measuring = weighing(store).measuring
        found: Neutral = neutral(store, NeutralRequest(tube.nickname, measuring=measuring))
    return asked.show(
        "neutral.html", tube=tube, found=found, shown=_SHOWN, swatch=swatch,
        heap_words=heap_words, beforehand=beforehand_words, taken_words=taken_words,
    )  # fmt: skip
