"""Judges a fit on mixtures that it never saw."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...cards.card import BARE, Card, Drawdown
from ...cards.readings import CardReadings
from ...cards.weighing import composition
from ...errors import InputError
from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.colour import ciede2000, lab
from ...optics.predict import Prediction, dry_fractions, volume_solids
from ...optics.spectra import Array
from ...optics.surface import to_inside
from ..problem.settings import FitSettings
from .coats import Coats

if TYPE_CHECKING:
    import pandas as pd

MOST_SCAN_ERROR = 2.0
"""CIEDE2000 of its own from which on a scan tells nothing of a mixture: it would be a near miss
where all is well (our choice)."""


@dataclass(frozen=True)
class Check:
    """Predicted against measured mixtures.

    Attributes
    ----------
    patches : DataFrame
        A row for each patch: card, step, over, mix (grams as weighed), de00, and CIELAB measured
        (l, a, b) and predicted (l_predicted, a_predicted, b_predicted), D50/2 deg. Last, of a patch
        that was scanned, scan_error: the CIEDE2000, root mean square, that the scan would show of
        a prediction without fault; NaN where an instrument read it.
    measured : (N, W) array
    prediction : Prediction
        Of the N patches.
    aside : tuple of (card, step)
        Scanned coats that show black and white where the bare card was not read: nothing predicts
        those.
    """

    patches: pd.DataFrame
    measured: Array
    prediction: Prediction
    aside: tuple[tuple[str, str], ...] = ()

    @property
    def scan_errors(self) -> list[float]:
        """The scans' own errors in the patches that were scanned."""
        found: list[float] = self.patches["scan_error"].dropna().tolist()
        return found

    @property
    def telling(self) -> pd.DataFrame:
        """The patches that tell: all but those scanned less surely than `MOST_SCAN_ERROR`."""
        return self.patches[~(self.patches["scan_error"] > MOST_SCAN_ERROR)]

    @property
    def mean(self) -> float:
        """Mean CIEDE2000 of the patches that tell; NaN without any."""
        return float(self.telling["de00"].mean())

    @property
    def p95(self) -> float:
        """95th percentile of their CIEDE2000."""
        off = self.telling["de00"].to_numpy(float)
        return float(np.percentile(off, 95)) if off.size else np.nan

    @property
    def worst(self) -> float:
        """Their largest CIEDE2000."""
        return float(self.telling["de00"].max())


def mix_in_words(masses: Mapping[str, float]) -> str:
    """A mix as grams of each paint, the largest part first."""
    parts = sorted(masses.items(), key=lambda item: -item[1])
    return " + ".join(f"{grams:.3g} g {paint}" for paint, grams in parts)


def check_mixtures(
    coefficients: Coefficients,
    readings: Sequence[CardReadings],
    settings: FitSettings | None = None,
) -> Check:
    """Predict every patch of the check cards at nominal thickness and weighed masses.

    What was brushed out and shows its substrate is predicted at the thickness that its own pair
    shows, over black and over white alike.

    Parameters
    ----------
    coefficients : Coefficients
    readings : sequence of CardReadings
        Those whose card's purpose is ``check`` are judged.
    settings : FitSettings, optional
        For the applicator's transfer.

    Returns
    -------
    Check

    Raises
    ------
    InputError
        Where a card holds a paint that the coefficients don't have.
    """
    settings = settings or FitSettings()
    rows, fractions, thickness, substrate, measured = [], [], [], [], []
    coats = Coats(coefficients, settings)
    for r in readings:
        card = r.card
        if card.purpose != "check":
            continue
        for mix in mixes_on(card, coefficients, settings):
            coat = coats.read(r, mix.drawdown, mix.fractions)
            for over in mix.drawdown.over:
                found = r.read(f"{mix.drawdown.step}/{over}")
                if not len(found):
                    continue
                bare = r.read(f"{BARE}/{over}")
                if np.isfinite(mix.thickness) and not len(bare):
                    raise bare_unread(card, over, r.source)
                rows.append((card.name, mix.drawdown.step, over, mix_in_words(mix.masses)))
                fractions.append(mix.fractions)
                thickness.append(mix.thickness if coat is None else coat)
                coats.brushed.append(coat is not None)
                under = bare.mean(axis=0) if len(bare) else np.zeros(found.shape[1])
                substrate.append(to_inside(under, r.surface))
                measured.append(found.mean(axis=0))
    if not rows:
        return nothing_checked(coefficients)
    prediction = coats.predicted(np.array(fractions), np.array(thickness), np.array(substrate))
    return checked(rows, np.array(measured), prediction)


@dataclass(frozen=True)
class Mix:
    """A mixture on a check card, as it is predicted.

    Attributes
    ----------
    masses : mapping of nickname to g
        Of every paint in it.
    fractions : (P,) array
        By dry volume.
    thickness : float, mm
        Dry; infinite where it hides.
    """

    drawdown: Drawdown
    masses: Mapping[str, float]
    fractions: Array
    thickness: float


def mixes_on(card: Card, coefficients: Coefficients, settings: FitSettings) -> Iterator[Mix]:
    """The mixtures of a check card.

    Parameters
    ----------
    card : Card
    coefficients : Coefficients
    settings : FitSettings

    Yields
    ------
    Mix

    Raises
    ------
    InputError
        Where it holds a paint that the coefficients don't have.
    """
    made = composition(card)
    for d, fraction in zip(card.drawdowns, made.fractions, strict=True):
        masses = {p: float(f) for p, f in zip(made.paints, fraction, strict=True) if f > 0}
        unknown = [p for p in masses if p not in coefficients.paints]
        if unknown:
            raise InputError(
                card.file,
                f"drawdown {d.step}, masses.{unknown[0]}",
                f"{unknown[0]} has no fit to predict with",
                "fit that paint first",
            )
        if d.opaque or coefficients.scale != ABSOLUTE:
            x = np.inf
        elif d.thickness_um is not None:
            x = d.thickness_um * 1e-3
        else:
            solids = float(volume_solids(coefficients, [masses])[0])
            x = float(d.gap_um or 0.0) * 1e-3 * settings.transfer * solids
        yield Mix(d, masses, dry_fractions(coefficients, [masses])[0], x)


def bare_unread(card: Card, over: str, source: str) -> InputError:
    """What to say where a film's substrate was not read.

    Parameters
    ----------
    card : Card
    over : str
        Substrate.
    source : str
        The file of readings.

    Returns
    -------
    InputError
    """
    return InputError(
        source,
        f"{BARE}/{over}",
        f"card {card.name}'s bare {over} was not read",
        f"read it as '{BARE}/{over}'",
    )


def nothing_checked(coefficients: Coefficients) -> Check:
    """A check of no patches."""
    none = np.zeros((0, coefficients.wavelengths.size))
    empty = Prediction(coefficients.wavelengths, none, none, np.zeros((0, 1, none.shape[1])))
    return checked([], none, empty)


def checked(
    rows: Sequence[tuple[str, str, str, str]],
    measured: Array,
    prediction: Prediction,
    scan_error: Array | None = None,
    aside: Sequence[tuple[str, str]] = (),
) -> Check:
    """Hold predictions against readings; a row is card, step, over, mix.

    Parameters
    ----------
    rows : sequence of tuple[str, str, str, str]
        Card, step, substrate and mix of each.
    measured : (N, W) array
        Reflectance.
    prediction : Prediction
    scan_error : (N,) array, optional
        CIEDE2000 that a scan leaves open.
    aside : sequence of tuple[str, str]
        Card and step of what is not judged.

    Returns
    -------
    Check
    """
    import pandas as pd

    table = pd.DataFrame(rows, columns=["card", "step", "over", "mix"])
    grid = prediction.wavelengths
    seen = lab(measured, grid)
    made = lab(np.where(np.isnan(measured), np.nan, prediction.reflectance), grid)
    table["de00"] = ciede2000(made, seen) if rows else np.zeros(0)
    for i, name in enumerate("lab"):
        table[name] = seen[:, i]
        table[f"{name}_predicted"] = made[:, i]
    table["scan_error"] = np.full(len(rows), np.nan) if scan_error is None else scan_error
    return Check(table, measured, prediction, tuple(aside))


def together(checks: Sequence[Check]) -> Check:
    """Several checks, on one grid of wavelengths, as one."""
    import pandas as pd

    causes = max(check.prediction.factors.shape[1] for check in checks)

    def padded(factors: Array) -> Array:
        return np.pad(factors, ((0, 0), (0, causes - factors.shape[1]), (0, 0)))

    made = [check.prediction for check in checks]
    return Check(
        pd.concat([check.patches for check in checks], ignore_index=True),
        np.concatenate([check.measured for check in checks]),
        Prediction(
            made[0].wavelengths,
            np.concatenate([each.reflectance for each in made]),
            np.concatenate([each.local for each in made]),
            np.concatenate([padded(each.factors) for each in made]),
        ),
        tuple(step for check in checks for step in check.aside),
    )
