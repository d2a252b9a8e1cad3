"""Fits a studio's paints from what it has read, and keeps the fits and their checks."""

from __future__ import annotations

from dataclasses import dataclass

from ..calibrate.fit.check import Check, check_mixtures
from ..calibrate.fit.fit import fit_paints
from ..calibrate.fit.result import JointFit
from ..calibrate.fit.settings import FitSettings
from ..calibrate.fit.solve import Progress
from .store import Store


@dataclass(frozen=True)
class StudioFit:
    """A run of the fit, as kept.

    Attributes
    ----------
    number : int
        Of the run in the studio.
    fit : JointFit
    check : Check
        Against the studio's check cards; of no rows where there are none.
    """

    number: int
    fit: JointFit
    check: Check


def fit_studio(
    store: Store, settings: FitSettings | None = None, progress: Progress | None = None
) -> StudioFit:
    """Fit every paint of the studio's cards jointly, judge the fit on its check cards, keep both.

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.fit.fit_paints`.
    """
    readings = store.card_readings("fit")
    fit = fit_paints(readings, store.tubes(), settings, progress=progress)
    checks = store.card_readings("check")
    known = set(fit.coefficients.paints)
    judged = check_mixtures(
        fit.coefficients, [r for r in checks if known.issuperset(r.card.paints)], settings
    )
    with store.transaction():
        number = store.record_fit(fit, readings)
        store.record_checks(number, judged.patches)
    return StudioFit(number, fit, judged)
