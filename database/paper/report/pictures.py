"""Pictures of a report as lean vector graphics: where their lines and dots stand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from reportlab.pdfbase.pdfmetrics import stringWidth

from ....calibrate.cards.printing import PLAIN, load_fonts
from ....calibrate.optics.coefficients import Coefficients
from ....calibrate.optics.colour import chroma_hue
from ....calibrate.optics.spectra import Array
from ...mixing.ladder import Ladder
from ...mixing.model_choice import LETTERS
from ...pictures.label_places import Bbox, label_places
from ...pictures.swatch import Swatch

SIDE = 280.0
"""Width and height of a picture."""
_MARGIN = 26.0
_LEFT, _FOOT = 42.0, 36.0
"""Room for what is written beside and below a graph."""
_LEAST_CHROMA = 40.0
_TYPE, _TALL, _UNDER = 15.6, 15.6, 3.7
"""Size of type as report.css has it in print, where it is largest, height of a line, and what of it
lies under its foot."""


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


COMPASS = (
    Label(SIDE / 2, 18, "b* yellow", "middle"),
    Label(SIDE / 2, SIDE - 10, "blue", "middle"),
    Label(SIDE - 2, SIDE / 2 - 5, "a* red", "end"),
    Label(2, SIDE / 2 - 5, "green", "start"),
)
"""What stands at the ends of the axes of hue."""


@dataclass(frozen=True)
class Picture:
    """A picture with axes.

    Attributes
    ----------
    lines : tuple of (kind, points)
        Points as an SVG polyline has them.
    bands : tuple of (kind, points)
        Outlines of areas.
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
    def ring_words(self) -> list[Label]:
        """What is written beside the rings: their chroma, at the lower left."""
        return [
            Label(_near(SIDE / 2 - 0.71 * r - 3), _near(SIDE / 2 + 0.71 * r + 8), f"{c:g}", "end")
            for c, r in self.rings
        ]

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

    middle = SIDE / 2
    turn = np.linspace(0, 2 * np.pi, 61)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    frame = [
        np.array([[0, middle], [SIDE, middle]]),
        np.array([[middle, 0], [middle, SIDE]]),
        *(middle + radius * circle for _, radius in scale.rings),
    ]
    written = [*scale.ring_words, *COMPASS]
    return _path(
        line, read, ends, place, Bbox.from_extents(2, 2, SIDE - 2, SIDE - 2), frame, written
    )


def lightness_picture(
    line: Array, read: Sequence[tuple[str, Swatch]], ends: tuple[str, ...], scale: Scale
) -> Picture:
    """Lightness up, chroma across; as `hue_picture`."""

    def place(lab: Array) -> Array:
        return np.stack([_across(chroma_hue(lab)[0] / scale.chroma), _up(lab[:, 0] / 100)], axis=1)

    inside = Bbox.from_extents(_LEFT + 3, _FOOT + 3, SIDE - 2, SIDE - _MARGIN + 4)
    return _path(line, read, ends, place, inside)


def _path(
    line: Array,
    read: Sequence[tuple[str, Swatch]],
    ends: tuple[str, ...],
    place: Callable[[Array], Array],
    room: Bbox,
    frame: Sequence[Array] = (),
    written: Sequence[Label] = (),
) -> Picture:
    """Draw a path with the colours read, its ends named off marks, words and lines."""
    at = place(line) if len(line) else np.zeros((0, 2))
    at = at[np.isfinite(at).all(axis=1)]
    known = [(over, swatch) for over, swatch in read if swatch.code]
    spots = place(np.array([s.lab for _, s in known])) if known else np.zeros((0, 2))
    dots = tuple(
        Dot(_near(x), _near(y), swatch.code, swatch.words, over)
        for (x, y), (over, swatch) in zip(spots, known, strict=True)
    )
    lines = [("path", _points(at))] if len(at) else []
    labels: list[Label] = []
    named = [(spot, text) for spot, text in zip(at[[0, -1]] if len(at) else (), ends, strict=False)]
    places = label_places(
        np.array([_upright(spot) for spot, _ in named]).reshape(-1, 2),
        np.array([(_width(text), _TALL) for _, text in named]).reshape(-1, 2),
        room,
        np.array(
            [(*_upright((d.x, d.y)), 5.4 if d.over == "white" else 2.9) for d in dots]
        ).reshape(-1, 3),
        [_upright(one) for one in (at, *frame)],
        [_box(word) for word in written],
        away=9.5,
        gap=1.5,
    )
    for (spot, text), found in zip(named, places, strict=True):
        if found is None:
            continue
        x0, y0, x1, _ = found.box
        left = x1 < spot[0]
        y = SIDE - y0 - _UNDER
        labels.append(Label(_near(x1 if left else x0), _near(y), text, "end" if left else "start"))
        if found.led:
            end = _upright(found.nearest(*_upright(spot)))
            lines.append(("lead", _points(np.stack([spot, end]))))
    return Picture(tuple(lines), (), dots, tuple(labels))


def _upright(at: Array | tuple[float, float]) -> Array:
    """Turn y over: down in a picture, up where labels find their places."""
    result: Array = np.asarray(at, dtype=float) * (1, -1) + (0, SIDE)
    return result


def _width(text: str) -> float:
    """Width of a label in a wide typeface: which one a browser takes isn't known."""
    load_fonts()
    return float(stringWidth(text, PLAIN, _TYPE))


def _box(label: Label) -> Bbox:
    wide = _width(label.text)
    left = {"start": 0.0, "middle": wide / 2, "end": wide}[label.anchor]
    low = SIDE - label.y - _UNDER
    return Bbox.from_bounds(label.x - left, low, wide, _TALL)


def reflectance_picture(steps: Ladder, scale: Scale) -> Picture:
    """Reflectance of a paint's steps over white, as they were read, by wavelength.

    What was fitted to them isn't packed in a release. Of a paint that was scanned each is one that
    the three channels allow.
    """
    first, last = scale.wavelengths
    ways, ends = [], []
    spectra = steps.measured.get("white", np.zeros((0, steps.wavelengths.size)))
    for i, spectrum in enumerate(spectra):
        read = np.isfinite(spectrum)
        if not read.any():
            continue
        x = _across((steps.wavelengths[read] - first) / (last - first))
        y = _up(np.clip(spectrum[read], 0, 1.02))
        ways.append(np.stack([x, y], 1))
        if i in (0, len(spectra) - 1):
            label = steps.labels[i].splitlines()[0]
            ends.append(Label(_near(x[-1]), _near(float(y[-1]) - 5), label, "end"))
    labels = [at for end in ends if (at := _off_ways(end, np.concatenate(ways))) is not None]
    if len(labels) == 2 and abs(labels[0].y - labels[1].y) < 2 * _TALL:
        labels = labels[:1]
    lines = tuple(("path", _points(way)) for way in ways)
    return Picture(lines, (), (), tuple(labels))


def _off_ways(label: Label, points: Array) -> Label | None:
    """Move a label up until it lies on no line; none where it would seem to be another line's."""
    left = label.x - _width(label.text)
    across = points[(points[:, 0] > left - 8) & (points[:, 0] < label.x + 8), 1]
    for y in np.arange(label.y, max(label.y - _TALL, _TALL), -4.0):
        if not ((across > y - _TALL) & (across < y + _UNDER)).any():
            return replace(label, y=_near(float(y)))
    return None


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
