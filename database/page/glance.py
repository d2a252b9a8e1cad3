"""A paint at a glance, drawn as SVG: its ladder, the way of its colour, its reflectance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.colour import lab
from ...calibrate.optics.spectra import Array
from ..easel.looks import PaintLook
from ..mixing.ladder import Ladder, TintPath
from ..pictures.swatch import Swatch, swatch, swatches
from . import spectra_chart

SIDE = 200
"""Width and height of a plane of colours."""
_REACH, _LEAST_REACH = 90.0, 30.0
"""CIELAB units from grey to its edge: among others the same for every paint, so that they can be
compared; of a paint alone as far as it comes, and never nearer than the second."""
_WIDE, _TALL = 200, 100
_NM = (400.0, 700.0)


@dataclass(frozen=True)
class Plane:
    """Colours let down toward white, in a plane of CIELAB.

    Attributes
    ----------
    points : str
        For a polyline, from masstone to white.
    dots : tuple of (x, y, code)
        Its steps.
    """

    points: str
    dots: tuple[tuple[float, float, str], ...]


@dataclass(frozen=True)
class Glance:
    """One paint, small.

    Attributes
    ----------
    steps : tuple of Swatch
        From masstone to its palest tint.
    hue : Plane
        a* across, b* up.
    curves : tuple of str
        Points of the reflectance of masstone and tint.
    """

    steps: tuple[Swatch, ...]
    hue: Plane
    curves: tuple[str, ...]


def glance(look: PaintLook) -> Glance:
    """Draw how a paint looks."""
    steps = tuple(swatch(each) for each in look.ladder)
    nm = look.wavelengths
    x = _WIDE * (nm - _NM[0]) / (_NM[1] - _NM[0])
    here = (x >= 0) & (x <= _WIDE)
    y = _TALL * (1 - np.clip(look.reflectance, 0, 1))
    rows = (row for row in y)
    curves = tuple(_points(x[here], row[here]) for row in rows)
    codes = [step.code for step in steps]
    return Glance(steps, _plane(look.ladder, look.ladder, codes, _REACH), curves)


@dataclass(frozen=True)
class PaintDrawn:
    """One paint, large.

    Attributes
    ----------
    labels : tuple of str
        Of its steps: parts of white to one of colour.
    rows : tuple of (words, tuple of Swatch)
        Measured and predicted steps, over each ground.
    hue : Plane or None
        a* across, b* up; None where it has no ladder.
    depth : Plane or None
        Chroma across, lightness up.
    chart : spectra_chart.Chart or None
        Its steps as measured.
    """

    labels: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Swatch, ...]], ...]
    hue: Plane | None
    depth: Plane | None
    chart: spectra_chart.Chart | None


def paint_drawn(steps: Ladder, path: TintPath | None) -> PaintDrawn:
    """Draw a paint's ladder, as measured and as predicted."""
    kind = "scanned" if steps.scanned else "measured"
    rows = tuple(
        (f"{words} over {over}", tuple(swatches(values, steps.wavelengths)))
        for over in steps.substrates
        for words, values in ((kind, steps.measured[over]), ("predicted", steps.fitted[over]))
    )
    hue = depth = chart = None
    over = next(iter(steps.substrates), None)
    if over is not None:
        labels = [label.splitlines()[0] for label in steps.labels]
        chart = spectra_chart.of_rows(labels, steps.measured[over], steps.wavelengths)
    if path is not None:
        seen = np.empty((0, 3)) if over is None else lab(steps.measured[over], steps.wavelengths)
        seen = seen[np.isfinite(seen).all(axis=1)]
        codes = [swatch(each).code for each in seen]
        every = np.concatenate([path.lab, seen])
        far = max(_LEAST_REACH, 1.08 * float(np.hypot(every[:, 1], every[:, 2]).max()))
        hue, depth = _plane(path.lab, seen, codes, far), _depth(path.lab, seen, codes, far)
    return PaintDrawn(tuple(steps.labels), rows, hue, depth, chart)


def _plane(path: Array, dots: Array, codes: list[str], far: float) -> Plane:
    def place(colours: Array) -> tuple[Array, Array]:
        a, b = np.clip(colours[:, 1:].T / far, -1, 1)
        return SIDE / 2 * (1 + a), SIDE / 2 * (1 - b)

    return Plane(_points(*place(path)), tuple(zip(*place(dots), codes, strict=True)))


def _depth(path: Array, dots: Array, codes: list[str], far: float) -> Plane:
    def place(colours: Array) -> tuple[Array, Array]:
        chroma = np.clip(np.hypot(colours[:, 1], colours[:, 2]) / far, 0, 1)
        return SIDE * chroma, SIDE * (1 - np.clip(colours[:, 0] / 100, 0, 1))

    return Plane(_points(*place(path)), tuple(zip(*place(dots), codes, strict=True)))


def _points(x: Array, y: Array) -> str:
    known = np.isfinite(x) & np.isfinite(y)
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[known], y[known], strict=True))
