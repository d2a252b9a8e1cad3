"""Pictures of a report as lean vector graphics: where their lines and dots stand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.colour import chroma_hue
from ..calibrate.optics.spectra import Array
from .model_choice import LETTERS
from .report_colours import Swatch

SIDE = 280.0
"""Width and height of a picture."""
_MARGIN = 26.0
_LEFT, _FOOT = 42.0, 36.0
"""Room for what is written beside and below a graph."""
_LEAST_CHROMA = 40.0


@dataclass(frozen=True)
class Dot:
    """A colour that was read, or the end of a path."""

    x: float
    y: float
    code: str
    words: str
    over: str


@dataclass(frozen=True)
class Label:
    """A word beside a point."""

    x: float
    y: float
    text: str
    anchor: str


@dataclass(frozen=True)
class Picture:
    """A picture with axes.

    Attributes
    ----------
    lines : tuple of (kind, points)
        Points as an SVG polyline has them.
    bands : tuple of (kind, points)
        Outlines of areas.
    dots : tuple of Dot
    labels : tuple of Label
    """

    lines: tuple[tuple[str, str], ...]
    bands: tuple[tuple[str, str], ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()


@dataclass(frozen=True)
class Scale:
    """What all pictures of a report share, so that paints can be held side by side.

    Attributes
    ----------
    chroma : float
        That the pictures reach to.
    decades : (low, high)
        Powers of ten between which K and S are shown.
    wavelengths : (first, last), nm
    """

    chroma: float
    decades: tuple[int, int]
    wavelengths: tuple[float, float]

    @classmethod
    def of(cls, colours: Array, numbers: Sequence[Coefficients]) -> Scale:
        """Fit a scale to CIELAB colours (N, 3), and to K and S, by each model that is shown."""
        chroma = chroma_hue(colours)[0]
        reach = max(float(np.nanmax(chroma, initial=0.0)), _LEAST_CHROMA)
        both = np.concatenate([values for c in numbers for values in (c.k, c.s)])
        read = both[np.isfinite(both) & (both > 0)]
        # A stray value must not press all others flat.
        low, high = np.log10(np.percentile(read, [0.5, 100])) if read.size else (-1.0, 1.0)
        decades = int(np.floor(low)), max(int(np.ceil(high)), int(np.floor(low)) + 1)
        w = numbers[0].wavelengths
        return cls(10 * np.ceil(reach / 10), decades, (float(w[0]), float(w[-1])))

    @property
    def rings(self) -> list[tuple[float, float]]:
        """Circles of equal chroma: chroma, and radius in the picture."""
        step = 20 if self.chroma <= 80 else 40
        half = SIDE / 2 - _MARGIN
        return [(c, half * c / self.chroma) for c in np.arange(step, self.chroma + 1, step)]

    @property
    def chroma_ticks(self) -> list[tuple[float, str]]:
        """Where chroma is written along a picture's foot."""
        step = 20 if self.chroma <= 80 else 40
        ticks = np.arange(0, self.chroma + 1, step)
        return [(float(_across(c / self.chroma)), f"{c:g}") for c in ticks]

    @property
    def decade_ticks(self) -> list[tuple[float, str]]:
        """Where powers of ten are written up a picture's side."""
        low, high = self.decades
        return [
            (float(_up((d - low) / (high - low))), f"{10.0**d:g}") for d in range(low, high + 1)
        ]

    @property
    def wavelength_ticks(self) -> list[tuple[float, str]]:
        """Where wavelengths are written."""
        first, last = self.wavelengths
        hundreds = np.arange(np.ceil(first / 100) * 100, last + 1, 100)
        return [(float(_across((w - first) / (last - first))), f"{w:g}") for w in hundreds]


def _across(share: Array | float) -> Array:
    result: Array = _LEFT + np.asarray(share) * (SIDE - _LEFT - _MARGIN)
    return result


def _up(share: Array | float) -> Array:
    result: Array = SIDE - _FOOT - np.asarray(share) * (SIDE - _FOOT - _MARGIN)
    return result


def hue_picture(
    line: Array, read: Sequence[tuple[str, Swatch]], ends: tuple[str, ...], scale: Scale
) -> Picture:
    """Hue, seen from above: a* across, b* up.

    Parameters
    ----------
    line : (M, 3) array
        CIELAB from masstone to white; M may be 0.
    read : sequence of (substrate, Swatch)
    ends : tuple of str
        What the first end of the line is, or both.
    scale : Scale
    """
    half = SIDE / 2 - _MARGIN

    def place(lab: Array) -> Array:
        return np.stack(
            [
                SIDE / 2 + half * lab[:, 1] / scale.chroma,
                SIDE / 2 - half * lab[:, 2] / scale.chroma,
            ],
            axis=1,
        )

    return _path(line, read, ends, place, 4.0)


def lightness_picture(
    line: Array, read: Sequence[tuple[str, Swatch]], ends: tuple[str, ...], scale: Scale
) -> Picture:
    """Lightness up, chroma across; as `hue_picture`."""

    def place(lab: Array) -> Array:
        return np.stack([_across(chroma_hue(lab)[0] / scale.chroma), _up(lab[:, 0] / 100)], axis=1)

    # Below the masstone, for from there the way leads up.
    return _path(line, read, ends, place, 16.0)


def _path(
    line: Array,
    read: Sequence[tuple[str, Swatch]],
    ends: tuple[str, ...],
    place: Callable[[Array], Array],
    below: float,
) -> Picture:
    """Draw a path with the colours read; its first label so far below its start."""
    at = place(line) if len(line) else np.zeros((0, 2))
    at = at[np.isfinite(at).all(axis=1)]
    known = [(over, swatch) for over, swatch in read if swatch.code]
    spots = place(np.array([s.lab for _, s in known])) if known else np.zeros((0, 2))
    dots = tuple(
        Dot(_near(x), _near(y), swatch.code, swatch.words, over)
        for (x, y), (over, swatch) in zip(spots, known, strict=True)
    )
    labels: list[Label] = []
    if len(at):
        # Away from where the path goes.
        for (x, y), beside, text in zip(
            (at[0], at[-1]), (at[len(at) // 3], at[-2:][0]), ends, strict=False
        ):
            right = (beside[0] <= x and x < SIDE * 0.68) or x < SIDE * 0.42
            off, anchor = (9, "start") if right else (-9, "end")
            down = 4.0 if labels else below
            labels.append(Label(_near(x + off), _near(y + down), text, anchor))
    return Picture((("path", _points(at)),) if len(at) else (), (), dots, tuple(labels))


def ks_picture(coefficients: Coefficients, paint: str, scale: Scale) -> Picture:
    """K and S of a paint (mu_a and mu_s') over wavelength, on a log scale, with 95 % bands."""
    i = coefficients.index(paint)
    first, last = scale.wavelengths
    low, high = scale.decades
    lines, bands, labels = [], [], []

    def up(values: Array) -> Array:
        share = (np.log10(values) - low) / (high - low)
        return _up(np.clip(share, -0.02, 1.02))

    letters = LETTERS[coefficients.model]
    for name, letter, values, sd in (
        ("K", letters[0], coefficients.k[i], coefficients.uncertainty[0][i]),
        ("S", letters[1], coefficients.s[i], coefficients.uncertainty[1][i]),
    ):
        read = np.isfinite(values) & (values > 0)
        if not read.any():
            continue
        x = _across((coefficients.wavelengths[read] - first) / (last - first))
        wide = np.exp(np.minimum(1.96 * sd[read] / values[read], 20.0))
        above, below = up(values[read] * wide), up(values[read] / wide)
        outline = np.concatenate([np.stack([x, above], 1), np.stack([x, below], 1)[::-1]])
        bands.append((name, _points(outline)))
        lines.append((name, _points(np.stack([x, up(values[read])], 1))))
        labels.append(
            Label(_near(x[-1] + 5), _near(float(up(values[read])[-1]) + 4), letter, "start")
        )
    if len(labels) == 2 and abs(labels[0].y - labels[1].y) < 12:
        upper = min(labels, key=lambda label: label.y)
        labels = [
            Label(one.x, one.y + (-6 if one is upper else 6), one.text, one.anchor)
            for one in labels
        ]
    return Picture(tuple(lines), tuple(bands), (), tuple(labels))


def _near(value: float) -> float:
    return round(float(value), 1)


def _points(at: Array) -> str:
    """Points of a line, those that say nothing of its course left out."""
    kept: list[tuple[float, float]] = []
    for x, y in at.tolist():
        if not kept or abs(x - kept[-1][0]) + abs(y - kept[-1][1]) >= 0.6:
            kept.append((x, y))
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in kept)
