"""Judges a fit on mixtures that it never saw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..cards.card import BARE
from ..cards.readings import CardReadings
from ..cards.weighing import composition
from ..errors import InputError
from ..optics.coefficients import ABSOLUTE, Coefficients
from ..optics.colour import ciede2000, lab
from ..optics.predict import Prediction, dry_fractions, predict, volume_solids
from ..optics.spectra import Array
from ..optics.surface import to_inside
from .settings import FitSettings


@dataclass(frozen=True)
class Check:
    """Predicted against measured mixtures.

    Attributes
    ----------
    patches : DataFrame
        A row for each patch: card, step, over, mix (grams as weighed), de00, and CIELAB measured
        (l, a, b) and predicted (l_predicted, a_predicted, b_predicted), D50/2 deg.
    measured : (N, W) array
    prediction : Prediction
        Of the N patches.
    """

    patches: pd.DataFrame
    measured: Array
    prediction: Prediction

    @property
    def mean(self) -> float:
        """Mean CIEDE2000."""
        return float(self.patches["de00"].mean())

    @property
    def p95(self) -> float:
        """95th percentile of CIEDE2000."""
        return float(np.percentile(self.patches["de00"], 95))

    @property
    def worst(self) -> float:
        """Largest CIEDE2000."""
        return float(self.patches["de00"].max())


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

    Parameters
    ----------
    coefficients : Coefficients
    readings : sequence of CardReadings
        Those whose card's purpose is ``check`` are judged.
    settings : FitSettings, optional
        For the applicator's transfer.

    Raises
    ------
    InputError
        Where a card holds a paint that the coefficients don't have.
    """
    settings = settings or FitSettings()
    rows, fractions, thickness, substrate, measured = [], [], [], [], []
    for r in readings:
        card = r.card
        if card.purpose != "check":
            continue
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
            for over in d.over:
                found = r.read(f"{d.step}/{over}")
                if not len(found):
                    continue
                bare = r.read(f"{BARE}/{over}")
                if np.isfinite(x) and not len(bare):
                    raise InputError(
                        r.source,
                        f"{BARE}/{over}",
                        f"card {card.name}'s bare {over} was not read",
                        f"read it as '{BARE}/{over}'",
                    )
                rows.append((card.name, d.step, over, mix_in_words(masses)))
                fractions.append(dry_fractions(coefficients, [masses])[0])
                thickness.append(x)
                under = bare.mean(axis=0) if len(bare) else np.zeros(found.shape[1])
                substrate.append(to_inside(under, r.surface))
                measured.append(found.mean(axis=0))
    table = pd.DataFrame(rows, columns=["card", "step", "over", "mix"])
    if not rows:
        nothing = np.zeros((0, coefficients.wavelengths.size))
        empty = Prediction(coefficients.wavelengths, nothing, nothing, nothing[:, None])
        return Check(table.assign(de00=[]), nothing, empty)
    prediction = predict(
        coefficients, np.array(fractions), np.array(thickness), np.array(substrate)
    )
    read = np.array(measured)
    seen = lab(read, coefficients.wavelengths)
    made_lab = lab(
        np.where(np.isnan(read), np.nan, prediction.reflectance), coefficients.wavelengths
    )
    table["de00"] = ciede2000(made_lab, seen)
    for i, name in enumerate("lab"):
        table[name] = seen[:, i]
        table[f"{name}_predicted"] = made_lab[:, i]
    return Check(table, read, prediction)
