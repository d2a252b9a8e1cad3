"""What a device sees of which nothing is known: like measured cameras under usual lights.

A scanner or phone that was shown no target still has three sensitivities, and these are not any
curves: filters, detectors and lamps are alike, and software mixes channels for a display in one
way. So they are thought to be a mean and 26 independent parts, each of a size of its own, and to
depart smoothly from all that, for some device is like no other. A fit of painted cards then finds
how much of each part there is, together with the paints.

The table beside this file is derived from measured cameras; its first line names them, and
``python -m tests.unknown_sensors_table`` makes it.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np

from .sensors import CHANNELS, Sensors, strongest
from .spectra import GRID, Array

TABLE = "unknown_sensors.csv"
_APART, _LENGTH, _FLOOR = 0.35, 25.0, 0.02
"""How far a device departs from all that measured ones do: as a share of how far these differ at a
wavelength, and of the largest sensitivity; and over how many nm alike. Without it a device unlike
the measured ones is read wrong with small bands; with it others lose a twentieth (our choice)."""


def unknown_sensors(tones: Array) -> Sensors:
    """Sensitivities that nobody has shown anything of.

    Parameters
    ----------
    tones : (U, 3, T) array
        What is unsure of the device's tone curve; see `Sensors`.

    Returns
    -------
    Sensors
    """
    table = _table()
    mean, parts = table[0], table[1:]
    return Sensors(mean, np.concatenate([parts, apart(mean, parts)]), GRID, tones)


def apart(mean: Array, parts: Array) -> Array:
    """How a device may depart from all measured ones, (E, 3, W); white stays white.

    Parameters
    ----------
    mean : (3, W) array
    parts : (E, 3, W) array
        What measured ones differ by.
    """
    near = np.exp(-0.5 * ((GRID[:, None] - GRID) / _LENGTH) ** 2)
    size = _APART * (np.sqrt((parts**2).sum(axis=0)) + _FLOOR * mean.max())
    found = []
    for channel, own in enumerate(size):
        for way in strongest(own[:, None] * near * own):
            rows = np.zeros_like(mean)
            rows[channel] = way - way.sum() * mean[channel]
            found.append(rows)
    return np.array(found)


@cache
def _table() -> Array:
    """Mean, then what each part adds at one standard deviation, (1 + E, 3, W)."""
    text = (files(__package__) / TABLE).read_text(encoding="utf-8")
    rows = [line.split(",")[2:] for line in text.splitlines()[2:]]
    return np.array(rows, dtype=float).reshape(-1, len(CHANNELS), GRID.size)
