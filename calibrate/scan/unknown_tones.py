"""The tone curve of a device that was shown no target, as its card's references tell of it.

A file says sRGB (IEC 61966-2-1), and what made it may have done more: a gamma, a contrast curve, a
sag. A veil of light lies over all of it. Each is thought to be of a usual size; the painted white,
a bought grey and the painted black then narrow them down. What stays open is told as changes of a
channel's value, so that a fit of many paints may find it, and no band forgets it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..optics.sensors import CHANNELS, TONES
from ..optics.spectra import Array
from .curve import Curve, decoded
from .own_check import TYPICAL_WHITE
from .settings import LOSSLESS, LOSSY

BASE = "sRGB"
_GAMMA, _SAG = 0.07, 0.01
_CONTRAST = {LOSSLESS: 0.01, LOSSY: 0.03}
"""Usual sizes of what is done to tones beyond the file's encoding: logarithm of a power, and codes
by which a sag and a contrast curve move them. Phones add such a curve; a scanner whose corrections
are off hardly does (our choice)."""
_VEIL = 0.005
"""Standard uncertainty of a veil of light over the whole card, beside what strays from near by (our
choice)."""
_TERMS = 4
_DARKEST = 1e-4


@dataclass(frozen=True)
class Reference:
    """A reference of a card.

    Attributes
    ----------
    decoded : (3,) array
        Channels as read, the file's encoding undone.
    value : float
        What it reflects.
    spread : float
        Standard uncertainty of that.
    """

    decoded: Array
    value: float
    spread: float


@dataclass(frozen=True)
class UnknownTones:
    """A curve, and what stays unsure of it.

    Attributes
    ----------
    tones : (U, 3, T) array
        See `tintladder.calibrate.optics.sensors.Sensors`.
    """

    curve: Curve
    tones: Array


def unknown_tones(
    white: Array, references: Sequence[Reference], kind: str, balance: float = 0.0
) -> UnknownTones:
    """Narrow down what a device does to tones.

    Parameters
    ----------
    white : (3,) array
        Channels, the file's encoding undone, of what is neutral and as light as the painted white;
        by them channels are balanced.
    references : sequence of Reference
        The others.
    kind : {"TIFF or PNG", "JPEG or HEIC"}
        Of the file, which tells a scanner from a phone.
    balance : float
        Relative standard uncertainty of each channel's balance.

    Returns
    -------
    UnknownTones

    Notes
    -----
    Between cube roots, with the white's at 1, a curve is a line and three bends, all channels'
    alike. These four and the veil are normal variables; the references are linear in them but for
    the veil, whose slope is taken at what each reference is known to be.
    """
    mean = np.zeros(_TERMS + 1)
    mean[0] = np.cbrt(TYPICAL_WHITE[0])
    spread = np.zeros((_TERMS + 1, _TERMS + 1))
    spread[0, 0] = (TYPICAL_WHITE[1] / (3 * mean[0] ** 2)) ** 2
    bends = mean[0] * _usual_bends(kind)
    spread[1:-1, 1:-1] = bends.T @ bends
    spread[-1, -1] = _VEIL**2
    if references:
        root = np.cbrt([each.value for each in references])
        slope = 3 * root**2
        shown = np.array([_powers(np.cbrt(each.decoded / white)).mean(0) for each in references])
        design = np.column_stack([shown, -1 / slope])
        noise = np.diag((np.array([each.spread for each in references]) / slope) ** 2)
        gain = spread @ design.T @ np.linalg.inv(design @ spread @ design.T + noise)
        mean = mean + gain @ (root - design @ mean)
        spread = spread - gain @ design @ spread
    # A curve takes no veil away: the likeliest one without it, and the veil stays unsure.
    mean = mean - spread[:, -1] * mean[-1] / spread[-1, -1]
    # From bends back to powers of the decoded cube root, and that of each channel's own.
    terms = np.array([mean[0] - mean[1:-1].sum(), *mean[1:-1]])
    own = terms / np.cbrt(white)[:, None] ** np.arange(1, _TERMS + 1)
    return UnknownTones(Curve(BASE, own), _open(mean[:-1], spread, balance))


def _powers(share: Array) -> Array:
    """Line and bends of cube roots that are 1 at the white, (..., 4)."""
    return np.stack([share, *(share ** (i + 1) - share for i in range(1, _TERMS))], axis=-1)


def _usual_bends(kind: str) -> Array:
    """What a gamma, a contrast curve and a sag of usual size bend, (3, 3)."""
    code = np.linspace(0.03, 1.0, 98)
    plain = np.cbrt(decoded(BASE, code))
    rows = _powers(plain)[:, 1:]
    changed = (
        plain ** (1 + _GAMMA),
        np.cbrt(decoded(BASE, code + _CONTRAST[kind] * np.sin(2 * np.pi * (code - 0.5)))),
        np.cbrt(decoded(BASE, code + _SAG * np.sin(np.pi * code))),
    )
    return np.array([np.linalg.lstsq(rows, each - plain, rcond=None)[0] for each in changed])


def _open(mean: Array, spread: Array, balance: float) -> Array:
    """Change of channels whose values are `TONES` at one standard deviation of each cause."""
    share = np.linspace(0.02, 1.25, 400)
    rows = _powers(share)
    root = np.maximum(rows @ mean, _DARKEST)
    values = np.maximum.accumulate(root**3)
    sizes, directions = np.linalg.eigh(spread)
    found = []
    for size, way in zip(sizes, directions.T, strict=True):
        if size > 0:
            moved = np.sqrt(size) * (3 * root**2 * (rows @ way[:-1]) - way[-1])
            found.append(np.repeat(np.interp(TONES, values, moved)[None], len(CHANNELS), axis=0))
    found += [np.outer(channel, balance * TONES) for channel in np.eye(len(CHANNELS))]
    return np.array(found)
