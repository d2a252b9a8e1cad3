"""Paper: sheets for the wall, labels, what to set out, and a handout for a class.

Each is made as a job and kept in the studio's folder, so that it is still there after a reload.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from urllib.parse import urlencode

from starlette.responses import FileResponse, Response

from ....calibrate.errors import InputError
from ....calibrate.optics.surface import GLOSSES
from ...cards.new_tube import figure
from ...cards.scanning import PICTURES
from ...care.removing import PAPERS as PAPERS_FOLDER
from ...common.files import write_whole
from ...easel.habits import gloss_of, habits, weighing
from ...easel.photographed import cards_in, open_photo, wanted_of
from ...easel.setting_out import (
    CardSeen,
    SetOutRequest,
    WantedColours,
    cards_words,
    setout_question,
    wanted_each,
)
from ...mixing.setout import WITHIN
from ...paper.for_colours import handout, setout_paper
from ...paper.of_studio import labels_of_pots, labels_of_tubes, mixing_chart
from ...paper.sheet import PAPERS
from ...pictures.swatch import swatch
from ...store.store import Store
from ..asked import Asked, view
from ..jobs import Progress
from ..uploads import PHOTOS, keep, kept
from ..worksheet import NEUTRALS, aim, photo_of

CHART, TUBES, POTS = "mixing-chart.pdf", "tube-labels.pdf", "pot-labels.pdf"
_NEUTRALS = {
    "grey": "a grey card (18 %)", "white": "a card's bare white", "black": "a card's bare black",
}  # fmt: skip
_KINDS = {".pdf": "application/pdf", ".html": "text/html"}
_MOST = 20
"""Colours that may be typed."""
_WITHIN = (0.5, 20.0)
_KEYS = (
    "colours", *NEUTRALS, "size", "coats", "ml", "page", "people", "each", "title", "note", "whose",
    "finish", "within", "tubes",
)  # fmt: skip
_LISTS = ("must", "without")
"""What is still in the form once a picture was set out, or couldn't be."""
_ALONE = "sandbox allow-scripts allow-modals allow-downloads; frame-ancestors 'none'"
"""A handout runs its own script and prints, and gets at nothing of this page."""


@view
def papers(asked: Asked) -> Response:
    """What was printed so far, and what can be."""
    with asked.store() as store:
        paints, fitted = store.paints.all(), store.fits.current()
        pots = [each.recipe.name for each in store.recipes.all() if each.batches]
        usual = habits(store).seen.finish
    cards = _cards(asked) if asked.text("fresh") else ()
    return asked.show(
        "paper.html", tubes=[p for p in paints if p.on_hand and p.nickname in fitted], pots=pots,
        printed=_printed(asked), pages=list(PAPERS), photos=PHOTOS, again=asked.texts("again"),
        fresh=asked.text("fresh"), most=_MOST, finishes=GLOSSES, neutrals=_NEUTRALS,
        usual_finish=usual, cards=cards, cards_words=cards_words(cards), swatch=swatch,
    )  # fmt: skip


def _cards(asked: Asked) -> tuple[CardSeen, ...]:
    """What looks like reference cards in the photograph that was just set out."""
    pictures = [name for name in asked.texts("again") if Path(name).suffix.lower() in PICTURES]
    if not pictures:
        return ()
    neutral = {name: asked.text(name) for name in NEUTRALS if asked.text(name)}
    try:
        return cards_in(photo_of(kept(asked.studio, pictures)[0], neutral))
    except InputError:  # the form says what is wrong with it
        return ()


def _printed(asked: Asked) -> list[tuple[str, date]]:
    """Every paper so far and its day, the newest first."""
    folder = asked.studio.folder / PAPERS_FOLDER
    found = [path for path in folder.glob("[!.]*") if path.suffix in _KINDS]
    dated = sorted(((path.stat().st_mtime, path.name) for path in found), reverse=True)
    return [(name, date.fromtimestamp(when)) for when, name in dated]


@view
def paper(asked: Asked) -> Response:
    """One paper."""
    name = asked.path("name")
    if name not in [known for known, _ in _printed(asked)]:
        raise InputError(None, name, "isn't there any more", "print it again")
    path = asked.studio.folder / PAPERS_FOLDER / name
    if path.suffix == ".html":
        return FileResponse(
            path, media_type=_KINDS[path.suffix], headers={"Content-Security-Policy": _ALONE}
        )
    return FileResponse(path, media_type=_KINDS[path.suffix], filename=name)


@view
def for_the_wall(asked: Asked) -> Response:
    """Print the mixing chart, or labels of tubes."""
    tubes, page = asked.texts("tube"), _page(asked)
    if asked.text("do") == "labels":
        return _print(asked, TUBES, "wall", lambda store: labels_of_tubes(store, tubes, page))
    return _print(asked, CHART, "wall", lambda store: mixing_chart(store, tubes, page))


@view
def for_pots(asked: Asked) -> Response:
    """Print labels of pots."""
    recipes, page = asked.texts("recipe"), _page(asked)
    return _print(asked, POTS, "pots", lambda store: labels_of_pots(store, recipes, page))


@view
def for_a_picture(asked: Asked) -> Response:
    """Print what to set out for a picture or some colours, or make a handout of it."""
    typed = [text.strip() for text in re.split(r"[\n;]", asked.text("colours")) if text.strip()]
    uploads, again = asked.uploads("files"), asked.texts("again")
    files = keep(asked.studio, uploads) if uploads else []
    if not (files or typed):
        files = kept(asked.studio, again)
    _check(files, typed)
    size, coats = asked.text("size") or None, asked.number("coats", 2, 1, 10)
    ml, page = asked.number("ml", 60, 1, 100_000), _page(asked)
    people, each = asked.number("people", 10, 1, 200), asked.number("each", 5, 2, 500)
    title, note = asked.text("title") or "What we mix today", asked.text("note")
    whose = asked.text("whose") or "one studio's own tubes"
    neutral = {key: asked.text(key) for key in NEUTRALS if asked.text(key)}
    if neutral and not files:
        raise InputError(
            None, next(iter(neutral)), "is a spot of a photograph, and there is none", "drop one"
        )
    within, tubes = _within(asked), asked.number("tubes", 4, 1, 5)
    gloss = gloss_of(asked.one_of("finish", GLOSSES))

    def wanted(store: Store) -> WantedColours:
        if files:
            return wanted_of(store, open_photo(files[0], **neutral), files[0].stem)
        return wanted_each([aim(store, text) for text in typed])

    def request(store: Store) -> SetOutRequest:
        must, without = tuple(asked.texts("must")), tuple(asked.texts("without"))
        return SetOutRequest(
            wanted(store),
            must,
            without,
            gloss,
            within,
            tubes,
            ml,
            size,
            coats,
            weighing(store).measuring,
        )

    def setout(store: Store) -> bytes:
        return setout_paper(setout_question(store, request(store)).answer(), page)

    def lesson(store: Store) -> bytes:
        _, made = handout(store, request(store), each, people, title, note, whose)
        return made.encode()

    of = files[0].stem if files else "colours"
    back: dict[str, str | list[str]] = {key: asked.text(key) for key in _KEYS if asked.text(key)}
    back |= {key: asked.texts(key) for key in _LISTS} | {"again": [file.name for file in files]}
    if asked.text("do") == "class":
        return _print(asked, f"handout-{of}.html", "picture", lesson, back)
    return _print(asked, f"set-out-{of}.pdf", "picture", setout, back)


def _within(asked: Asked) -> float:
    text = asked.text("within")
    found = figure("how far a mix may be off", text, "2")
    if found is None:
        return WITHIN
    low, high = _WITHIN
    if not low <= found <= high:
        raise InputError(
            "how far a mix may be off", text, f"expected {low:g} to {high:g}, CIEDE2000", "mend it"
        )
    return found


def _check(files: list[Path], typed: list[str]) -> None:
    if any(file.suffix.lower() not in PICTURES for file in files):
        raise InputError(files[0].name, None, "is no photograph", "drop a JPEG, PNG or TIFF")
    if len(files) > 1 or len(typed) > _MOST:
        raise InputError(
            None, None, f"expected one photograph, or up to {_MOST} colours", "choose fewer"
        )
    if bool(files) == bool(typed):
        raise InputError(
            None, None, "expected a photograph or some colours", "drop the one, or type the others"
        )


def _page(asked: Asked) -> str:
    return asked.text("page") or "a4"


def _print(
    asked: Asked,
    name: str,
    at: str,
    make: Callable[[Store], bytes],
    again: dict[str, str | list[str]] | None = None,
) -> Response:
    """Make a paper as a job; its form is as it was afterwards, whether it could be made or not."""

    def work(progress: Progress) -> str:
        progress("mixing")
        with asked.store() as store:
            content = make(store)
            write_whole({store.studio.folder / PAPERS_FOLDER / name: content})
        return f"/paper?{urlencode({'fresh': name} | said, doseq=True)}"

    said = again or {}
    back = f"/paper?{urlencode(said, doseq=True)}#{at}"
    return asked.job(f"Printing {name}", back, work)
