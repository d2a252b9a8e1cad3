"""All that a painter should know of a fitted paint, in words first and figures second."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...cards.readings import CardReadings
from ...optics.colour import in_words
from ..problem.result import PaintFit
from ..problem.settings import FitSettings
from ..uncertainty.propagate import beside
from .drift import Drift, drift
from .hiding import PAINT_VIEW, STANDARD_UM, Contrast, Hiding, contrast_ratio, hiding_thickness
from .own_films import Anchor, OwnFilm, anchor, own_films
from .strength import (
    CRITERIA,
    WHITE_PARTS,
    Criterion,
    HueTurn,
    Strength,
    hue_turn,
    tinting_strength,
)

if TYPE_CHECKING:
    import pandas as pd

IN_THE_MANNER = (
    "Contrast ratio and hiding are in the manner of ISO 6504-3, ASTM D2805 and ISO 18314-2, "
    "predicted from the fit over a black that reflects nothing and a white that reads 0.80; "
    "tinting strength is in the manner of ISO 18314-2. These are not tests by those standards."
)
_JUDGED: dict[Criterion, str] = {
    "absorption maximum": "By the light it takes where it takes most",
    "equal depth": "To the eye, by how far it takes white from white",
}
"""What a strength is judged by: a dark or dull paint may be strong by one and weak by the other."""


@dataclass(frozen=True)
class QualityReport:
    """What is known of one paint, and how well.

    Attributes
    ----------
    white : str or None
        That it was let down with.
    verdict : str
        "good to mix by", "a first guess" or "look at this step".
    patches : DataFrame
        As in `PaintFit`, with ``left_out``: CIEDE2000 of the step as all others predict it; NaN
        where that wasn't worked out.
    residuals : DataFrame
        As in `PaintFit`.
    films : tuple of OwnFilm
        Contrast ratios as painted.
    contrast : Contrast or None
        Reduced to a standard dry thickness.
    strengths : tuple of Strength
        Against a reference, by each criterion.
    drift : Drift or None
        Against an old lot.
    unsaid : tuple of str
        What can't be said of this paint, and why.
    model : str
        That it was fitted by.
    """

    paint: str
    white: str | None
    verdict: str
    reasons: tuple[str, ...]
    patches: pd.DataFrame
    residuals: pd.DataFrame
    films: tuple[OwnFilm, ...]
    contrast: Contrast | None
    hiding: Hiding | None
    hue: HueTurn | None
    strengths: tuple[Strength, ...]
    drift: Drift | None
    unsaid: tuple[str, ...]
    model: str

    @property
    def left_out(self) -> pd.Series[float]:
        """CIEDE2000 of each step as the others predict it, the worse of its patches."""
        return by_step(self.patches)

    def __str__(self) -> str:
        return "\n".join([self.words, IN_THE_MANNER] if self.in_the_manner else [self.words])

    @property
    def in_the_manner(self) -> bool:
        """Whether it holds figures that `IN_THE_MANNER` is about."""
        return self.hiding is not None or bool(self.strengths)

    @property
    def words(self) -> str:
        """The report without `IN_THE_MANNER`, which several in a row need but once."""
        lines = [f"{self.paint}: {self.verdict}", *(f"  because {r}" for r in self.reasons)]
        if self.hiding is not None:
            lines.append(f"It {self.hiding}.")
        if self.contrast is not None:
            lines.append(f"{_upper(self.contrast)}.")
        lines += [
            f"As painted, {film.thickness_um:.0f} µm dry over the card's own black and white "
            f"({film.step}), it is {film.contrast:.1%} as bright over black ({PAINT_VIEW})."
            for film in self.films
        ]
        if self.hue is not None:
            lines.append(f"It {self.hue}.")
        for strength in self.strengths:
            if strength.reference != self.paint:
                lines.append(f"{_JUDGED[strength.criterion]}, it is {strength}.")
        lines += [f"{_upper(reason)}." for reason in self.unsaid]
        left = self.left_out
        if not left.empty:
            lines.append(predicted_in_words(left))
        lines.append(_table(self.patches))
        if self.drift is not None:
            lines.append(_upper(self.drift))
        return "\n".join(lines)

    @property
    def anchor(self) -> Anchor | None:
        """What the films say of how thick a film K and S need; None without films."""
        return anchor(self.films, self.model)


def quality_report(
    fit: PaintFit,
    readings: Sequence[CardReadings] = (),
    *,
    left_out: pd.DataFrame | None = None,
    reference: PaintFit | None = None,
    old: PaintFit | None = None,
    thickness_um: float = STANDARD_UM,
    white_parts: float = WHITE_PARTS,
    settings: FitSettings | None = None,
) -> QualityReport:
    """Report on a fitted paint.

    Parameters
    ----------
    fit : PaintFit
    readings : sequence of CardReadings, optional
        That it was fitted to. With them hiding rests on the paint's own films; without, its
        uncertainty is larger.
    left_out : DataFrame, optional
        Of `leave_out.leave_steps_out`; default: what the fit's patches say of it, if anything.
    reference : PaintFit, optional
        The tube that tinting strength is stated against.
    old : PaintFit, optional
        Of an older lot of the same paint.
    thickness_um : float
        Dry thickness that contrast ratio is reduced to.
    white_parts : float
        Parts of white to one of the reference, by weight, at which strengths are compared.
    settings : FitSettings, optional
        For the applicator's transfer.

    Returns
    -------
    QualityReport
    """
    c, paint = fit.coefficients, fit.paint
    white = next((p for p in c.paints if p != paint), None)
    unsaid: list[str] = []
    films: tuple[OwnFilm, ...] = ()
    contrast = hiding = hue = moved = None
    strengths: list[Strength] = []
    try:
        films = own_films(c, paint, readings, PAINT_VIEW, settings)
        held = anchor(films, c.model)
        contrast = contrast_ratio(c, paint, thickness_um, films=held)
        hiding = hiding_thickness(c, paint, films=held)
    except ValueError as why:
        unsaid.append(f"how well it hides can't be said: {why}")
    if white is not None:
        try:
            hue = hue_turn(c, paint, white)
        except ValueError as why:
            unsaid.append(f"how its hue turns can't be said: {why}")
    if reference is not None:
        strengths, why_not = _strengths(fit, reference, white, white_parts)
        unsaid += why_not
    if old is not None:
        try:
            moved = drift(old.coefficients, c, paint, white)
        except ValueError as why:
            unsaid.append(f"how far it lies from the old lot can't be said: {why}")
    patches = fit.patches
    if left_out is None:
        patches = patches.assign(left_out=patches.get("left_out", np.nan))
    else:
        patches = patches.drop(columns="left_out", errors="ignore")
        known = left_out[["card", "patch", "de00"]].rename(columns={"de00": "left_out"})
        patches = patches.merge(known, on=["card", "patch"], how="left")
    return QualityReport(
        paint,
        white,
        fit.verdict,
        fit.reasons,
        patches,
        fit.residuals,
        films,
        contrast,
        hiding,
        hue,
        tuple(strengths),
        moved,
        tuple(unsaid),
        c.model,
    )


def _strengths(
    fit: PaintFit, reference: PaintFit, white: str | None, white_parts: float
) -> tuple[list[Strength], list[str]]:
    other_white = next((p for p in reference.coefficients.paints if p != reference.paint), None)
    if white is None or other_white is None:
        lacks = fit.paint if white is None else reference.paint
        return [], [f"tinting strength can't be said: {lacks} has no ladder in white"]
    found: list[Strength] = []
    try:
        both, names = beside(fit.coefficients, reference.coefficients, "reference")
        for criterion in CRITERIA:
            found.append(
                tinting_strength(
                    both,
                    fit.paint,
                    names[reference.paint],
                    white,
                    criterion,
                    white_parts=white_parts,
                    reference_white=names[other_white],
                )
            )
    except ValueError as why:
        return found, [f"tinting strength can't be said in full: {why}"]
    return found, []


def _upper(said: object) -> str:
    text = str(said)
    return text[:1].upper() + text[1:]


def by_step(patches: pd.DataFrame) -> pd.Series[float]:
    """CIEDE2000 of each step as the others predict it, the worse of its patches."""
    return patches.groupby("step", sort=False)["left_out"].max().dropna()


def predicted_in_words(left: pd.Series[float]) -> str:
    """How well steps predict each other, as `by_step` has it, in a sentence."""
    worst = str(left.idxmax())
    return (
        f"Left out in turn, each step is predicted by the others to CIEDE2000 {left.median():.1f} "
        f"at the median ({in_words(float(left.median()))}) and worst {worst}, "
        f"{left.max():.1f} ({in_words(float(left.max()))}); the first and the last step can only "
        "be guessed at from one side."
    )


def _table(patches: pd.DataFrame) -> str:
    """Steps with their differences, as text."""
    lines = ["  step                over    paint   µm dry    fit left out"]
    for row in patches.to_dict("records"):
        left = "" if math.isnan(row["left_out"]) else f"{row['left_out']:.1f}"
        thick = "unknown" if math.isnan(row["thickness_um"]) else f"{row['thickness_um']:.0f}"
        lines.append(
            f"  {row['step'][:18]:18}  {row['over']:6} {row['share']:6.1%} {thick:>8} "
            f"{row['de00']:6.1f} {left:>8}  {row['flag']}".rstrip()
        )
    return "\n".join(lines)
