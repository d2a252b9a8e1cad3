"""What a fit returns: coefficients with their uncertainty, and how well they hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from ...errors import InputError
from ...optics.coefficients import Coefficients

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class PaintFit:
    """The fit of one paint.

    Attributes
    ----------
    coefficients : Coefficients
        Of this paint and, where it has a ladder, its white.
    patches : DataFrame
        A row for each patch read: card, patch, step, over, share (dry-volume fraction of this
        paint, as fitted), thickness_um (dry, as fitted), de00 (fit against reading, D50/2 deg),
        rms (reflectance), weight (1 = kept whole), flag (words, or empty).
    residuals : DataFrame
        A row for each patch and wavelength: card, patch, wavelength, measured, fitted, sigma.
    verdict : str
        "good to mix by", "a first guess" or "look at this step".

    Examples
    --------
    Of `fit_ladder`'s example, whose readings have no error:

    >>> fit.paints["RUST"].verdict, round(fit.paints["RUST"].de00_max, 3)
    ('good to mix by', 0.0)
    """

    paint: str
    coefficients: Coefficients
    patches: pd.DataFrame
    residuals: pd.DataFrame
    verdict: str
    reasons: tuple[str, ...]

    @property
    def de00_mean(self) -> float:
        """Mean CIEDE2000 of fitted against measured patches not set aside; of all, if all are."""
        return float(self._trusted().mean())

    @property
    def de00_max(self) -> float:
        """The largest of those."""
        return float(self._trusted().max())

    def _trusted(self) -> pd.Series:
        kept = self.patches["weight"] == 1
        return self.patches.loc[kept if kept.any() else ~kept, "de00"]


@dataclass(frozen=True)
class WithoutMixtures:
    """A fit that left some of the mixtures out which it was to learn from.

    Attributes
    ----------
    left_out : tuple of (card, step)
    coefficients : Coefficients
        Of all paints, with everything else learnt.
    """

    left_out: tuple[tuple[str, str], ...]
    coefficients: Coefficients


@dataclass(frozen=True)
class JointFit:
    """A fit of several paints at once.

    Attributes
    ----------
    paints : mapping of nickname to PaintFit
    coefficients : Coefficients
        Of all of them.
    nuisances : DataFrame
        A row for each value fitted beside K and S: name, value, uncertainty, prior, prior_sd, unit.
    settings : mapping
        Every setting that the result depends on, JSON-able.
    left_out : DataFrame or None
        Each step as the others predict it, where that was asked for; see
        `tintladder.calibrate.fit.judging.leave_out.leave_steps_out`.
    without : tuple of WithoutMixtures
        Where it learnt from mixtures and steps were to be left out: each mixture is left out once.
    aside : mapping of nickname to InputError
        Paints that could not be fitted, and why; nothing that holds one of them had a say.
    cost : float or None
        Of a fit of scans: squares of standard deviations that readings and beliefs lie off.

    Examples
    --------
    Of `fit_ladder`'s example:

    >>> sorted(fit.paints), fit.settings["model"]
    (['RUST', 'WHITE'], 'two-flux')
    """

    paints: Mapping[str, PaintFit]
    coefficients: Coefficients
    nuisances: pd.DataFrame
    settings: Mapping[str, Any]
    left_out: pd.DataFrame | None = None
    without: tuple[WithoutMixtures, ...] = ()
    aside: Mapping[str, InputError] = field(default_factory=dict)
    cost: float | None = None
