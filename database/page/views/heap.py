"""A heap whose parts nobody wrote down: put on the plate by the colour of a dried dab of it."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...cards.new_tube import figure
from ...easel.asked_colour import kept_target
from ...easel.heap import dab_of, heap_question
from ...easel.plate import goal_of, on_plate, plate_of, set_plate
from ...easel.recipe import kept_named
from ...mixing.target import Target
from ...pictures.swatch import swatch
from ...store.store import Store
from ..asked import Asked, go, shown, view
from ..jobs import Progress
from ..remedies import on_page
from ..touching import SPOTS, touched
from ..uploads import PHOTOS, keep_photo, kept
from ..worksheet import (
    NEUTRALS,
    aim,
    aim_in_photo,
    photo_of,
    searches_of,
    shown_size,
    shown_spot,
)

_KEYS = ("back", "colour", "photo", *SPOTS, "grams")


@view
def heap(asked: Asked) -> Response:
    """How to say what a dab dried to; of a photograph of it, where it is seen."""
    chosen = _chosen(asked)
    if asked.text("spot.x"):
        photo = photo_of(kept(asked.studio, [asked.text("photo")])[0])
        return go("/heap", chosen | touched(asked, photo), at="dab")
    said: dict[str, Any] = {"fault": None, "target": None, "size": None}
    with asked.store() as store:
        fitted = store.fits.current()
        plate = plate_of(store, _goal(asked, store))
        tubes = [p for p in store.paints.all() if p.on_hand and p.nickname in fitted]
        try:
            if "photo" in chosen:
                said["size"] = shown_size(photo_of(kept(asked.studio, [chosen["photo"]])[0]))
            said["target"] = _colour(asked, store)
        except InputError as error:
            said["fault"] = on_page(error)
    return asked.show(
        "heap.html", tubes=tubes, chosen=chosen, seen=shown([plate.number, plate.additions]),
        full=bool(plate.additions),
        touched=SPOTS | {"at": "the dried dab"}, photos=PHOTOS, swatch=swatch, of=asked.texts("of"),
        spots=urlencode({key: chosen[key] for key in SPOTS if key in chosen}), **said,
    )  # fmt: skip


def _chosen(asked: Asked) -> dict[str, str]:
    return {key: asked.text(key) for key in _KEYS if asked.text(key)}


def _colour(asked: Asked, store: Store) -> Target | None:
    """What the dab dried to: as it was typed, else as a photograph shows it."""
    if asked.text("colour"):
        return aim(store, asked.text("colour"))
    if not (asked.text("photo") and asked.text("at")):
        return None
    return shown_spot(asked, store)


def _goal(asked: Asked, store: Store) -> str:
    """What the plate is for: what the worksheet that led here is aimed at."""
    worksheet = parse_qs(urlsplit(asked.text("back")).query)
    again = worksheet.get("again", [""])[0]
    if again:
        return goal_of(kept_target(kept_named(store, again)), again)
    text, photo, at = (worksheet.get(key, [""])[0] for key in ("target", "photo", "at"))
    if text:
        kept_so = store.recipes.find(text)
        return goal_of(aim(store, text), "" if kept_so is None else kept_so.name)
    if photo and at:
        neutral = {name: worksheet[name][0] for name in NEUTRALS if name in worksheet}
        return goal_of(aim_in_photo(store, kept(asked.studio, [photo])[0], at, neutral))
    return ""


@view
def take_photo(asked: Asked) -> Response:
    """Keep a photograph of a dab, and show it."""
    photo = keep_photo(asked.studio, asked.uploads("files"))
    back = {"back": asked.text("back")} if asked.text("back") else {}
    return go("/heap", back | {"photo": photo}, at="dab")


@view
def put_on(asked: Asked) -> Response:
    """Put on the plate what a heap is likely made of."""
    grams = figure("grams in the heap", asked.text("grams"), "8.2", "g")
    if not grams:
        raise InputError("grams in the heap", None, "expected more than none", "weigh it")
    searches = searches_of(asked)
    back, of = asked.text("back"), asked.texts("of")
    with asked.store() as store:
        goal = _goal(asked, store)
        plate = plate_of(store, goal)
        asked.still([plate.number, plate.additions], "the plate")
        colour = _colour(asked, store)
        if colour is None:
            raise InputError("the dab", None, "has no colour yet", "type it, or show a photograph")
        dab = dab_of(store, colour, grams, of, told=on_plate(plate.additions))
        question = heap_question(store, dab)

    def work(progress: Progress) -> str:
        progress("trying every set of tubes")
        with asked.store() as store:
            likely = searches.answer(question)
            with store.transaction():
                plate = plate_of(store, goal)
                asked.still([plate.number, plate.additions], "the plate")
                heap = {p: grams * share for p, share in likely.mixes[0].items()}
                set_plate(store, goal, [heap], dab)
        # Only to the worksheet, whatever an address says.
        return back if back.startswith("/mix?") else "/mix"

    again = urlencode(_chosen(asked) | {"of": of}, doseq=True)
    return asked.job("Looking what the heap is made of", f"/heap?{again}#dab", work)
