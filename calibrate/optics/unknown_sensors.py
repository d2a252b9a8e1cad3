"""What a device sees of which nothing is known: like measured cameras under usual lights.

A scanner or phone that was shown no target still has three sensitivities, and these are not any
curves: filters, detectors and lamps are alike, and software mixes channels for a display in one
way. So they are thought to be a mean and 26 independent parts, each of a size of its own. A fit of
painted cards then finds how much of each part there is, together with the paints.

The table beside this file is derived from measured cameras; its first line names them, and
``python -m tests.unknown_sensors_table`` makes it.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np

from .sensors import CHANNELS, Sensors
from .spectra import GRID, Array

TABLE = "unknown_sensors.csv"


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
    return Sensors(table[0], table[1:], GRID, tones)


@cache
def _table() -> Array:
    """Mean, then what each part adds at one standard deviation, (1 + E, 3, W)."""
    text = (files(__package__) / TABLE).read_text(encoding="utf-8")
    rows = [line.split(",")[2:] for line in text.splitlines()[2:]]
    return np.array(rows, dtype=float).reshape(-1, len(CHANNELS), GRID.size)
