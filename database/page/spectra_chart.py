"""Readings of a card as curves, drawn as SVG on the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.spectra import Array, Spectra
from ..pictures.style import spread
from ..pictures.swatch import Swatch, swatches

WIDE, TALL = 640, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 96, 14, 34
MOST_NAMED = 22
"""Curves that are named at their ends; more would be unreadable."""


@dataclass(frozen=True)
class PatchCurve:
    """One patch, its readings averaged.

    Attributes
    ----------
    points : str
        For a polyline.
    dashed : bool
        Over black.
    y : float
        Where its name stands at the right.
    """

    patch: str
    points: str
    dashed: bool
    swatch: Swatch
    y: float


@dataclass(frozen=True)
class Chart:
    """Curves over wavelength.

    Attributes
    ----------
    curves : tuple of PatchCurve
        The first patch first.
    across, up : tuple of (place, text)
        Ticks of wavelength and of reflectance.
    """

    curves: tuple[PatchCurve, ...]
    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]


def chart(spectra: Spectra) -> Chart:
    """Draw what was read, each patch once."""
    labels = list(dict.fromkeys(spectra.labels))
    which = np.array([labels.index(label) for label in spectra.labels])
    with np.errstate(invalid="ignore"):
        mean = np.stack([spectra.values[which == i].mean(axis=0) for i in range(len(labels))])
    return of_rows(labels, mean, spectra.wavelengths)


def of_rows(labels: Sequence[str], mean: Array, nm: Array) -> Chart:
    """Draw reflectances (N, W), each with its name."""
    known = np.isfinite(mean).any(axis=1)
    labels, mean = [labels[int(i)] for i in np.flatnonzero(known)], mean[known]
    if not labels:
        return Chart((), (), ())
    top = max(1.0, float(np.nanmax(mean)))
    x = _LEFT + (nm - nm[0]) / (nm[-1] - nm[0]) * (WIDE - _LEFT - _RIGHT)
    y = _TOP + (1 - np.clip(mean, -0.05, None) / top) * (TALL - _TOP - _BOTTOM)
    ends = spread((row[np.isfinite(row)][-1] for row in y), 12.0, _TOP, TALL - _BOTTOM)
    curves = tuple(
        PatchCurve(
            label,
            " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, row, strict=True) if np.isfinite(b)),
            label.endswith("/black"), swatch, end,
        )
        for label, row, swatch, end in zip(labels, y, swatches(mean, nm), ends, strict=True)
    )  # fmt: skip
    across = np.arange(np.ceil(nm[0] / 50) * 50, nm[-1] + 1, 50)
    at = np.interp(across, nm, x)
    up = [(float(_TOP + (1 - v / top) * (TALL - _TOP - _BOTTOM)), f"{v:g}") for v in (0, 0.5, 1)]
    ticks = tuple((float(a), f"{w:g}") for a, w in zip(at, across, strict=True))
    return Chart(curves, ticks, tuple(up))
