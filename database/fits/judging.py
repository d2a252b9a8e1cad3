"""What is said of a fit before it is kept: against mixtures, other lots, and another's strength."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ...calibrate.fit.judging.quality_report import QualityReport, quality_report
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.fit.uncertainty.check import Check, together
from ..mixing.ladder import white_of
from ..mixing.strengths import rank
from ..store.readings import StoredReadings
from ..store.store import Store
from .check_mixtures import CheckCard, check_cards, predicted_checks
from .learning import Learning, judged_without

if TYPE_CHECKING:
    import pandas as pd


def judge(
    store: Store,
    runs: Sequence[tuple[int, JointFit]],
    settings: FitSettings | None,
    model: str,
    learning: Learning,
) -> Check:
    """Judge the fits on mixtures that none of them saw, each by the last one that holds its paints.

    A mixture of which a paint has no fit by the model says nothing of it. Where every card that an
    instrument read has taught, each of its mixtures is predicted by a fit that left it out.
    """
    fitted = {paint for _, fit in runs for paint in fit.paints}
    cards = check_cards(store, fitted)
    current = set(store.fits.current(model, {p for each in cards for p in each.card.paints}))
    cards = [each for each in cards if current.issuperset(each.card.paints)]
    cards = [each for each in cards if each.card.name not in learning.cards]
    of_run: list[list[CheckCard]] = [[] for _ in runs]
    for card in cards:
        holding = [i for i, (_, fit) in enumerate(runs) if set(fit.paints) & set(card.card.paints)]
        if holding:
            of_run[holding[-1]].append(card)
    judged = dict.fromkeys(p for each in of_run for card in each for p in card.card.paints)
    known = store.fits.coefficients(judged, model) if judged else runs[0][1].coefficients
    found = []
    for (number, fit), mine in zip(runs, of_run, strict=True):
        checks = [predicted_checks(known, mine, settings)]
        if not any(isinstance(each, StoredReadings) for each in mine):
            checks += judged_without(learning.taught, fit.without, settings)
        found += checks
        for check in checks:
            store.fits.record_checks(number, check.patches)
    return together(found)


def quality_reports(
    store: Store,
    fit: JointFit,
    readings: Sequence[StoredReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    against: str | None,
) -> dict[str, QualityReport]:
    """Report on each paint: strength against one of them all, drift against the lot before."""
    model, reference = fit.coefficients.model, None
    of_paint = defaultdict[str, list[StoredReadings]](list)
    for read in readings:
        for nickname in read.card.paints:
            of_paint[nickname].append(read)
    left_out = None if fit.left_out is None else dict(iter(fit.left_out.groupby("card")))
    if against is not None and against in fit.paints:
        reference = fit.paints[against]
    elif against is not None and store.fits.current(model, [against]):
        reference = store.fits.of(against, model)
    return {
        nickname: quality_report(
            paint,
            of_paint[nickname],
            left_out=_of_cards(left_out, paint),
            reference=reference if white_of(paint) else None,
            old=store.fits.lot_before(nickname, tubes[nickname].lot, model),
            settings=settings,
        )
        for nickname, paint in fit.paints.items()
    }


def _of_cards(left_out: Mapping[Any, pd.DataFrame] | None, fit: PaintFit) -> pd.DataFrame | None:
    """The steps left out of the cards that a paint is judged by; None where none were."""
    import pandas as pd

    known = left_out or {}
    cards = [known[card] for card in fit.patches["card"].unique() if card in known]
    return pd.concat(cards) if cards else None


def reference(store: Store, fit: JointFit) -> str | None:
    """Name the paint that strengths are stated against: that of the fits before, else the middle.

    One that stays lets strengths of different days stand side by side.
    """
    before = store.fits.strength_reference()
    if before is not None and (before in fit.paints or store.fits.current(among=[before])):
        return before
    whites = {name: white for name, paint in fit.paints.items() if (white := white_of(paint))}
    ranked, _ = rank(fit.coefficients, whites)
    return ranked[len(ranked) // 2].paint if ranked else None
