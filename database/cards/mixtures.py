"""Plans and prints a card of mixtures that no fit will see, chosen for the tubes or named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ...calibrate.cards.card import Drawdown
from ...calibrate.cards.card_plan import CardPlan
from ...calibrate.cards.label_strength import is_white, strength_of
from ...calibrate.cards.layout import Layout
from ...calibrate.cards.mixture_plan import Mixture, check_layout, choose_mixtures, plan_mixtures
from ...calibrate.errors import Field, InputError, Sentence
from ..common.remedies import StudioDo
from ..common.words import either
from ..mixing.prediction import parse_mix
from ..store.schema import Paint
from ..store.store import Store
from .layout_choice import layout_to_print
from .printing import (
    Printed,
    WantedCard,
    check_tubes,
    keep_printed,
    name_for,
    tube_words,
    white_for,
)

_KINDS = {"quick": "quick-mixtures", "drawdown": "mixtures"}


def why_unread(store: Store) -> str | None:
    """Why no device that the studio knows can read a card of mixtures; None where one can.

    One that was shown no target can't judge by it, but learns from it.

    Returns
    -------
    str or None
        None, too, where the studio knows no device yet.
    """
    scanners = store.scanners.all()
    if not scanners or any(each.device.sums_of_light for each in scanners):
        return None
    if store.readings.rows():
        return None  # an instrument was at hand
    names = either([each.device.name for each in scanners])
    return (
        f"no device of this studio can judge mixtures: {names} mends its colours, so the paint and "
        "the evening that the card takes would tell nothing"
    )


def print_mixtures(store: Store, wanted: WantedCard, named: Sequence[str] = ()) -> Printed:
    """Plan a card that judges fits, print it and its weighing sheet, and keep it: all, or nothing.

    Parameters
    ----------
    wanted : WantedCard
        Its tubes are those to choose from; none: every tube on hand that a card or a fit tells of.
    named : sequence of str
        Or the mixtures themselves, as in ``ANCHOR=2,ROPE=1,HULL=7``.

    Raises
    ------
    InputError
        For a tube, mixture, white or layout that can't be had, files that can't be written, and
        where no device at hand could judge the card, unless it is wanted anyway.
    """
    if not wanted.anyway and (why := why_unread(store)) is not None:
        raise InputError(None, Field("mixtures"), why, StudioDo.CHARACTERISE_OR_CONFIRM())
    if named and wanted.tubes:
        raise InputError(
            None,
            wanted.tubes[0],
            Sentence("with ", Field("mix"), " the mixtures say which tubes"),
            StudioDo.LEAVE_TUBES_OR_MIX(),
        )
    mixtures: Sequence[Mixture] = [_named(store, text) for text in named]
    tubes = [store.paints.find(text) for text in wanted.tubes]
    if not named and not tubes:
        tubes = _told_of(store)
    check_tubes(store, tubes or [store.paints.find(p) for p in _paints(mixtures)])
    of_kind = _KINDS.get(wanted.layout or "", wanted.layout)
    if of_kind is None:
        paints = [tube.nickname for tube in tubes] or _paints(mixtures)
        of_kind = "mixtures" if _films(store, paints) else "quick-mixtures"
    name_of_layout, layout = layout_to_print(of_kind, wanted.page, 0)
    check_layout(layout)
    if not named:
        white = white_for(store, wanted.white, tubes).nickname
        colours = [t for t in tubes if t.nickname != white and not is_white(t.pigments)]
        mixtures = choose_mixtures(
            {tube.nickname: strength_of(tube.pigments) for tube in colours},
            white,
            layout.steps,
            _tried(store),
        )
    known = {tube.paint: tube for tube in store.paints.tubes().values()}
    name = name_for(store, wanted.name, "mixtures")
    first, *more = [
        plan_mixtures(
            f"{name}-sheet-{sheet}" if sheet > 1 else name,
            layout,
            some,
            wanted.measure,
            densities={p: t.density for p, t in known.items() if t.density is not None},
            lots={p: t.lot for p, t in known.items() if t.lot},
            gap_um=wanted.gap_um,
            layout_name=name_of_layout,
        )
        for sheet, some in enumerate(
            (mixtures[i : i + layout.steps] for i in range(0, len(mixtures), layout.steps)), 1
        )
    ]
    with store.transaction():
        done, *others = [_kept(store, plan, layout, wanted) for plan in (first, *more)]
    return replace(done, more=tuple(others))


def _kept(store: Store, plan: CardPlan, layout: Layout, wanted: WantedCard) -> Printed:
    """Print one sheet and keep it, with where each tube is in it."""
    words = [
        tube_words(store.paints.find(paint), f": in {_listed(steps)}")
        for paint, steps in _where(plan.card.drawdowns).items()
    ]
    return keep_printed(store, plan, layout, words, wanted.face)


def _named(store: Store, text: str) -> Mixture:
    parts = {
        paint: part
        for paint, part in parse_mix(text, lambda name: store.paints.find(name).nickname).items()
        if part > 0
    }
    if len(parts) < 2:
        raise InputError(
            None, Field("mix", text), "expected two tubes or more", "its ladder tells of one tube"
        )
    return Mixture(parts, said=True)


def _paints(mixtures: Sequence[Mixture]) -> list[str]:
    return list(dict.fromkeys(paint for mixture in mixtures for paint in mixture.parts))


def _told_of(store: Store) -> list[Paint]:
    """Tubes on hand that a fit or a card of a ladder tells of: others a mixture can't judge."""
    told = set(store.fits.current())
    told |= {p for card in store.cards.all() if card.purpose == "fit" for p in card.paints}
    refused = {tube.paint for tube in store.paints.tubes().values() if tube.refuse is not None}
    found = [t for t in store.paints.all() if t.on_hand and t.nickname in told - refused]
    if not found:
        raise InputError(
            None,
            Field("mixtures"),
            "no tube on hand has a card yet, so there is nothing to judge",
            StudioDo.PAINT_LADDER(),
        )
    return found


def _films(store: Store, paints: Sequence[str]) -> bool:
    """Whether these paints were drawn down in films of a thickness: then a check can be, too."""
    told = [
        {paint for d in card.drawdowns if not d.opaque for paint in d.masses}
        for card in store.cards.all()
        if card.purpose == "fit"
    ]
    return set(paints) <= set().union(*told)


def _tried(store: Store) -> list[set[str]]:
    """What earlier cards of mixtures mix."""
    return [
        card.held(d.step)
        for card in store.cards.all()
        if card.purpose == "check"
        for d in card.drawdowns
    ]


def _where(drawdowns: Sequence[Drawdown]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for d in drawdowns:
        for paint in d.masses:
            found.setdefault(paint, []).append(d.step)
    return found


def _listed(steps: Sequence[str]) -> str:
    """``mix 1, 3 and 5``."""
    numbers = [step.removeprefix("mix ") for step in steps]
    *first, last = numbers
    return f"mix {', '.join(first)}{' and ' if first else ''}{last}"
