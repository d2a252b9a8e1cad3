"""Plates of tubes one below the other: ladders, coats, hues and values, with their 95 % bands."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from ...calibrate.cards.box import Box
from ...calibrate.fit.judging.hiding import COAT_UM
from ...calibrate.optics.spectra import Array
from ..easel.wall import COATS, TINT_STEPS, Row
from ..mixing.ladder import ratio_label
from .plate import Plate, fitting, width_mm

HEAD_MM, LEAST_MM, MOST_MM = 5.0, 5.4, 21.0
"""Height of the heads of columns, and of a row at the least and at the most."""
_NAME_MM, _FIGURE_MM, _BAND_MM = 33.0, 22.0, 9.0
_PAINTED_MM = 11.0
"""Height of a row from which there is room to paint the real colour below the printed one."""
_EDGE = 0.8


def per_page(room_mm: float) -> int:
    """How many rows stand on a plate of some height."""
    return max(1, int((room_mm - HEAD_MM) // LEAST_MM))


def _begun(width: float, room: float, rows: Sequence[Row]) -> tuple[Plate, float]:
    """A plate as high as its rows need, and the height of one."""
    tall = float(np.clip((room - HEAD_MM) / len(rows), LEAST_MM, MOST_MM))
    return Plate(width, HEAD_MM + tall * len(rows)), tall


def _name(plate: Plate, row: Row, names: Mapping[str, str], y: float, tall: float) -> None:
    name = fitting(_NAME_MM - 1, names.get(row.paint, row.paint), row.paint)
    middle = y + tall / 2 + (0.9 if tall < 9 or name == row.paint else -0.4)
    plate.text(0, middle, name, bold=width_mm(name, bold=True) < _NAME_MM - 1)
    if tall >= 9 and name != row.paint:
        plate.text(0, middle + 3.2, fitting(_NAME_MM - 1, row.paint), grey=0.35)


def ladders(width: float, room: float, rows: Sequence[Row], names: Mapping[str, str]) -> Plate:
    """Every tube let down with white, the strongest on top, with its strength and bands.

    Parameters
    ----------
    width, room : float
        mm.
    rows : sequence of Row
        In order.
    names : mapping of nickname to name
    """
    plate, tall = _begun(width, room, rows)
    right = width - _BAND_MM - _FIGURE_MM - 24
    step = (right - _NAME_MM) / len(TINT_STEPS)
    for i, parts in enumerate(TINT_STEPS):
        plate.text(_NAME_MM + (i + 0.5) * step, 3.4, ratio_label(parts), align="centre")
    plate.text(right + _BAND_MM / 2, 3.4, "±", align="centre", grey=0.3)
    known = [row.strength.band for row in rows if row.strength]
    scale = _log_scale(known, right + _BAND_MM + 2, right + _BAND_MM + 23)
    plate.text(right + _BAND_MM + 2, 3.4, "tints, gram for gram", grey=0.3)
    for k, row in enumerate(rows):
        y = HEAD_MM + k * tall
        _name(plate, row, names, y, tall)
        painted = tall >= _PAINTED_MM
        for i, lab in enumerate(row.lab):
            box = Box(_NAME_MM + i * step, y, step - _EDGE, (tall - 1.2) / (2 if painted else 1))
            said = names.get(row.paint, row.paint)
            plate.swatch(box, lab, f"{said}, {ratio_label(TINT_STEPS[i])}")
            if painted:
                plate.frame(Box(box.x_mm, y, step - _EDGE, tall - 1.2))
        at = y + tall / 2 + 0.9
        plate.text(right + _BAND_MM / 2, at, f"{row.band:.1f}", align="centre", grey=0.2)
        if row.strength is not None:
            low, high = row.strength.band
            _bar(plate, scale, low, row.strength.ratio, high, y + tall / 2, "band band-strength")
            plate.text(width, at, f"{row.strength.ratio:.2f}", align="right")
    return plate


def coats(width: float, room: float, rows: Sequence[Row], names: Mapping[str, str]) -> Plate:
    """Undertone to masstone in whole coats: over white above, over black below; where it hides."""
    plate, tall = _begun(width, room, rows)
    right = width - _FIGURE_MM - 30
    step = (right - _NAME_MM) / len(COATS)
    for i, coat in enumerate(COATS):
        plate.text(_NAME_MM + (i + 0.5) * step, 3.4, f"{coat}", align="centre")
    plate.text(0, 3.4, "brushed coats", grey=0.3)
    plate.text(right + 3, 3.4, "hides black at, coats", grey=0.3)
    scale = _log_scale([(0.5, 16.0)], right + 3, right + 27)
    for k, row in enumerate(rows):
        y = HEAD_MM + k * tall
        _name(plate, row, names, y, tall)
        half = (tall - 1.2) / 2
        for ground, colours in enumerate(row.coats):
            for i, lab in enumerate(colours):
                box = Box(_NAME_MM + i * step, y + ground * half, step - _EDGE, half)
                plate.swatch(box, lab)
        if row.hiding is None:
            continue
        um, (low, high) = row.hiding.thickness_um, row.hiding.band
        if np.isfinite(um):
            _bar(plate, scale, low / COAT_UM, um / COAT_UM, high / COAT_UM, y + tall / 2,
                 "band band-coats")  # fmt: skip
            said = f"{_coats(um)} ({_coats(low)} to {_coats(high)})"
        else:
            said = "never"
        plate.text(width, y + tall / 2 + 0.9, said, align="right")
    return plate


def _coats(um: float) -> str:
    return f"{um / COAT_UM:.0f}" if um > 0.95 * COAT_UM else f"{um / COAT_UM:.1f}"


def hues(
    width: float, room: float, rows: Sequence[Row], names: Mapping[str, str],
    reach: Array, screen: Array,
) -> Plate:  # fmt: skip
    """Each tube's path of hue from masstone to white, all on one scale.

    Parameters
    ----------
    width, room, rows, names
        As `ladders`.
    reach, screen : (N, 2) array
        Outlines in a* and b*, NaN between pieces: of what all these tubes mix, and of a screen.
    """
    columns = next((c for c in range(3, 9) if -(-len(rows) // c) * (width / c + 4) <= room), 8)
    columns = min(columns, max(len(rows), 2))
    side = min(width / columns, room / -(-len(rows) // columns) - 4) - 2
    plate = Plate(width, -(-len(rows) // columns) * (side + 6))
    limit = 10 * np.ceil(max(np.nanmax(np.abs(screen)), np.nanmax(np.abs(reach), initial=0)) / 10)
    for k, row in enumerate(rows):
        left, top = (k % columns) * (width / columns), (k // columns) * (side + 6) + 4

        def place(ab: Array, left: float = left, top: float = top) -> list[tuple[float, float]]:
            middle, scale = side / 2, side / 2 / limit
            return [(left + middle + scale * a, top + middle - scale * b) for a, b in ab.tolist()]

        plate.text(left, top - 1.2, fitting(side, names.get(row.paint, row.paint), row.paint))
        plate.frame(Box(left, top, side, side), 0.8)
        plate.line([(left + side / 2, top), (left + side / 2, top + side)], 0.85, 0.3)
        plate.line([(left, top + side / 2), (left + side, top + side / 2)], 0.85, 0.3)
        _pieces(plate, screen, place, 0.72, "screen")
        _pieces(plate, reach, place, 0.35, "reach")
        for lab, spread in zip(row.lab, row.covariance, strict=True):
            plate.area(place(_ellipse(lab, spread)), 0.8, "band band-hue")
        plate.line(place(row.lab[:, 1:]), 0.1, 0.6)
        for lab, (x, y) in zip(row.lab, place(row.lab[:, 1:]), strict=True):
            size = 1.7 if side > 25 else 1.2
            plate.swatch(Box(x - size / 2, y - size / 2, size, size), lab)
            plate.frame(Box(x - size / 2, y - size / 2, size, size), 0.1)
    return plate


def _pieces(
    plate: Plate, outline: Array, place: Callable[[Array], list[tuple[float, float]]], grey: float,
    name: str,
) -> None:  # fmt: skip
    ends = outline.reshape(-1, 3, 2)[:, :2]
    for one, other in ends:
        plate.line(place(np.stack([one, other])), grey, 0.5, name)


def _ellipse(lab: Array, covariance: Array) -> Array:
    """The outline in a* and b* that 95 of 100 lie within (chi-square 5.991)."""
    values, vectors = np.linalg.eigh(covariance[1:, 1:])
    turn = np.linspace(0, 2 * np.pi, 17)[:-1]
    circle = np.stack([np.cos(turn), np.sin(turn)])
    result: Array = (
        lab[1:] + (vectors @ (np.sqrt(5.991 * np.maximum(values, 0))[:, None] * circle)).T
    )
    return result


def values(width: float, room: float, rows: Sequence[Row], names: Mapping[str, str]) -> Plate:
    """Each tube on the scale of lightness, from its masstone to its palest tint."""
    plate, tall = _begun(width, room - 6, sorted(rows, key=lambda row: float(row.lab[0, 0])))
    plate.height += 6
    left, wide = _NAME_MM + 2, width - _NAME_MM - 2

    def at(lightness: float) -> float:
        return left + wide * min(max(lightness, 0.0), 100.0) / 100

    for ten in range(0, 100, 10):
        box = Box(at(ten), 4.2, wide / 10, 5.0)
        plate.swatch(box, np.array([ten + 5.0, 0.0, 0.0]))
    for ten in range(0, 101, 10):
        said = f"L* {ten}" if ten == 0 else f"{ten}"
        place = "right" if ten == 100 else "left" if ten == 0 else "centre"
        plate.text(at(ten), 3.2, said, align=place, grey=0.3)
        plate.line([(at(ten), 9.2), (at(ten), plate.height)], 0.88, 0.3)
    for k, row in enumerate(sorted(rows, key=lambda row: float(row.lab[0, 0]))):
        y = HEAD_MM + 6 + k * tall
        _name(plate, row, names, y, tall)
        middle, size = y + tall / 2, min(tall * 0.6, 5.0)
        plate.line([(at(row.lab[0, 0]), middle), (at(row.lab[-1, 0]), middle)], 0.6, 0.5)
        for lab, spread in zip(row.lab, row.covariance, strict=True):
            half = 1.96 * float(np.sqrt(max(spread[0, 0], 0.0)))
            ends = [(at(lab[0] + way * half), middle + size / 2 + 0.5) for way in (-1, 1)]
            plate.line(ends, 0.1, 0.6, "band band-value")
            x = at(lab[0])
            plate.swatch(Box(x - size / 3, middle - size / 2, size / 1.5, size), lab)
    return plate


def _log_scale(
    bands: Sequence[tuple[float, float]], left: float, right: float
) -> Callable[[float], float]:
    """From a ratio to a place between two edges, wide enough for all bands."""
    low = np.log(min((b[0] for b in bands), default=0.5)) - 0.05
    high = np.log(max((b[1] for b in bands), default=2.0)) + 0.05

    def place(ratio: float) -> float:
        share = (np.log(max(ratio, 1e-9)) - low) / (high - low)
        return float(left + (right - left) * np.clip(share, 0.0, 1.0))

    return place


def _bar(
    plate: Plate, scale: Callable[[float], float], low: float, value: float, high: float, y: float,
    name: str,
) -> None:  # fmt: skip
    """A figure as a stroke on its 95 % band."""
    plate.area([(scale(low), y - 0.8), (scale(high), y - 0.8), (scale(high), y + 0.8),
                (scale(low), y + 0.8)], 0.72, name)  # fmt: skip
    plate.line([(scale(value), y - 1.6), (scale(value), y + 1.6)], 0.0, 1.0)
