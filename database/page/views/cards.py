"""Cards: planned and printed, filled in, and all that was read of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from starlette.responses import FileResponse, Response

from ....calibrate.cards.label_strength import STRENGTHS, is_black, is_white
from ....calibrate.cards.measure import measure_of
from ....calibrate.errors import InputError
from ...cards.colours_read import colours_read, read_key
from ...cards.filling import fill, filling, parse_amount, parse_day
from ...cards.history import ReadFile, read_of
from ...cards.layout_choice import PAGES
from ...cards.mixtures import print_mixtures, why_unread
from ...cards.printing import FOLDER, Printed, WantedCard, print_new_card
from ...cards.progress import cards_progress, named_card, printed_here
from ...easel.habits import Habits, habits, weighed_with
from ...fits.standing import waits
from ...pictures.swatch import Swatch, swatch
from ...releases.words import caution_lines
from ...store.store import Store
from .. import spectra_chart
from ..asked import Asked, Changed, go, view
from ..remedies import on_page
from ..remembered import Remembered
from ..uploads import ACCEPTED

MIXTURES = "mixtures"
LAYOUTS = (
    ("quick", "Quick card", "one tube, brushed out by hand, for pictures"),
    ("six-tube", "Six-tube sheet", "up to six tubes on one sheet, in one evening, for pictures"),
    (
        "drawdown",
        "Drawdown card",
        "films of one thickness, for an instrument: glazes and coverage",
    ),
    (MIXTURES, "Mixtures", "no ladders, but mixes of the tubes chosen, to prove their fits"),
)
MEASURES = (
    ("0.1", "A scale that shows 0.1 g"),
    ("0.01", "A scale that shows 0.01 g"),
    ("syringe", "A 1 ml syringe"),
    ("spoons", "Level spoons, by quarters"),
)


@view
def cards(asked: Asked) -> Response:
    """Where each card stands."""
    with asked.store() as store:
        found = cards_progress(store)
        read: Remembered = asked.request.app.state.read
        ladders = read.of(read_key(store), lambda: _swatches(store))
    return asked.show(
        "cards.html", cards=found, ladders=ladders, accepted=ACCEPTED, again=asked.texts("again")
    )


def _swatches(store: Store) -> dict[int, list[Swatch]]:
    return {card: [swatch(each) for each in labs] for card, labs in colours_read(store).items()}


@view
def new_card(asked: Asked) -> Response:
    """Ask what a card is to hold."""
    with asked.store() as store:
        tubes, fitted, works = store.paints.all(), store.fits.current(), habits(store)
        on_cards = {paint for card in store.cards.all() for paint in card.paints}
        whites = [d.white for card in store.cards.all() for d in card.drawdowns if d.white]
        unread = why_unread(store)
    layout = asked.one_of("layout", [key for key, _, _ in LAYOUTS])
    chosen = asked.texts("tube")
    if not chosen and layout == MIXTURES:
        chosen = list(fitted)
    elif not chosen:
        chosen = [t.nickname for t in tubes if t.on_hand and t.nickname not in on_cards][:1]
    # The one white by its label, or that of the cards so far.
    labelled = [t.nickname for t in tubes if is_white(t.pigments)]
    white = asked.text("white") or (labelled if len(labelled) == 1 else whites or [""])[-1]
    return asked.show(
        "card_new.html", tubes=tubes, fitted=fitted, chosen=chosen, white=white, layouts=LAYOUTS,
        unread=unread,
        layout=layout, measures=MEASURES, measured=_measured(works), pages=PAGES,
        strengths=STRENGTHS,
        blacks=[t.nickname for t in tubes if t.on_hand and is_black(t.pigments)],
    )  # fmt: skip


def _measured(works: Habits) -> str:
    """Which of `MEASURES` the painter uses; that which most have, until it is said."""
    key = works.measure if works.measure in ("syringe", "spoons") else f"{works.scale or 0.1:g}"
    return key if key in dict(MEASURES) else MEASURES[0][0]


@view
def print_card(asked: Asked) -> Response:
    """Plan a card and print it."""
    ladder = asked.text("ladder")
    if ladder and ladder not in STRENGTHS:
        raise InputError(None, "ladder", f"there is no {ladder} ladder", "choose another")
    wanted = WantedCard(
        face=on_page,
        tubes=tuple(asked.texts("tube")),
        measure=measure_of(asked.text("scale") or "0.1"),
        layout=asked.text("layout") or None,
        page=asked.text("page") or None,
        white=asked.text("white") or None,
        ladder=next((each for each in STRENGTHS if each == ladder), None),
        shade=asked.text("shade") or None,
        name=asked.text("name") or None,
        anyway=bool(asked.text("anyway")),
    )
    if not wanted.tubes:
        raise InputError(None, "tubes", "a card needs a tube to paint", "choose one")
    with asked.store() as store:
        if wanted.layout == MIXTURES:
            made: Printed = print_mixtures(store, replace(wanted, layout=None))
        else:
            made = print_new_card(store, wanted)
        weighed_with(store, wanted.measure)
    return go(f"/cards/{made.number}")


@view
def card(asked: Asked) -> Response:
    """One card: its papers, its grams, what was read of it."""
    with asked.store() as store, store.snapshot():
        number, known, text = named_card(store, asked.path("card"))
        progress = next(each for each in cards_progress(store) if each.number == number)
        printed = printed_here(text)
        begun = filling(store, str(number)) if printed else None
        history = read_of(store, number)
        names = {paint.nickname: paint.name for paint in store.paints.all()}
        version = store.cards.version(known.name)
        fit_waits = waits(progress, store.fits.current())
        scanners = [each.device.name for each in store.scanners.all()]
        last = store.imports.last()
        left = any(sitting.card == known.name for sitting in store.sittings.open())
    return asked.show(
        "card.html", card=known, progress=progress, begun=begun, waits=fit_waits,
        history=history, names=names,
        version=version, charts=_charts(history), chart=spectra_chart, accepted=ACCEPTED,
        papers=[p.name for p in _papers(asked, known.name) if p.is_file()], today=date.today(),
        again=asked.texts("again"), scanners=scanners,
        last=last, left=left, swatch=swatch, cautions=caution_lines(),
    )  # fmt: skip


def _charts(history: Sequence[ReadFile]) -> list[spectra_chart.Chart | None]:
    return [None if read.spectra is None else spectra_chart.chart(read.spectra) for read in history]


def _papers(asked: Asked, name: str) -> list[Path]:
    folder = asked.studio.folder / FOLDER
    return [folder / f"{name}.pdf", folder / f"{name}-weighing.pdf"]


@view
def paper(asked: Asked) -> Response:
    """A printed page of a card."""
    with asked.store() as store:
        _, known, _ = named_card(store, asked.path("card"))
    for path in _papers(asked, known.name):
        if path.name == asked.path("paper") and path.is_file():
            return FileResponse(path, media_type="application/pdf", filename=path.name)
    raise InputError(None, asked.path("paper"), "is no paper of this card", "print a new card")


@view
def fill_card(asked: Asked) -> Response:
    """Keep what was weighed."""
    with asked.store() as store, store.transaction():
        begun = filling(store, asked.path("card"))
        if str(store.cards.version(begun.card.name)) != asked.text("seen"):
            raise Changed(f"card {begun.card.name}")
        changed = {}
        for amount in begun.amounts:
            typed = asked.text(f"g:{amount.label}")
            if typed and typed != f"{amount.grams:g}":
                changed[amount.label] = parse_amount(typed, amount)
        fill(store, begun, changed, parse_day(asked.text("painted"), printed=begun.printed))
    return go(f"/cards/{begun.number}", at="read")
