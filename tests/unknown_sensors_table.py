"""Makes the table of `optics/unknown_sensors.py`: ``python -m tests.unknown_sensors_table``.

Thirteen measured cameras (the Academy Software Foundation's sensitivities for raw conversion,
Apache License 2.0; makers and models left out) stand in ``../shared/reference``, which a clone
alone does not have. They are taken under daylights, incandescent light, white LEDs and fluorescent
lamps (CIE 15, by colour-science), raw and half or wholly mixed for a display, each channel made to
read 1 of a perfect diffuser. What ships is their mean and principal components.
"""

from __future__ import annotations

import csv
import warnings
from collections.abc import Collection
from pathlib import Path

import numpy as np
from tintladder.calibrate.optics.colour import D50, weights
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.optics.unknown_sensors import TABLE

_FILE = "shared/reference/camera_sensitivities.csv"
CAMERAS = next((there for up in Path(__file__).parents if (there := up / _FILE).exists()), None)
"""None where the folder isn't there."""
PATH = Path(__file__).parents[1] / "calibrate" / "optics" / TABLE
SOURCE = (
    "mean and principal components of 13 measured cameras times CIE illuminants, matrixed; derived "
    "from the Academy Software Foundation's camera sensitivities, Apache License 2.0, "
    "https://www.apache.org/licenses/LICENSE-2.0; made by tests/unknown_sensors_table.py"
)
LIGHTS = (
    ("D50", "D55", "D65", "D75"),
    ("A",),
    ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-V1", "LED-V2"),
    ("FL2", "FL4", "FL7", "FL8", "FL11", "FL12", "FL3.4", "FL3.7", "FL3.15"),
)
"""Kinds of light, each of the same weight."""
MIXED = (0.0, 0.5, 1.0)
"""How far channels are mixed for a display: raw, half and wholly."""
COMPONENTS = 26
_TO_SRGB = np.array(
    [
        [3.1338561, -1.6168667, -0.4906146],
        [-0.9787684, 1.9161415, 0.0334540],
        [0.0719453, -0.2289914, 1.4052427],
    ]
)
"""XYZ under D50 to linear sRGB (IEC 61966-2-1), Bradford-adapted."""


def cameras() -> dict[str, Array]:
    """Sensitivities of each camera, (3, W)."""
    assert CAMERAS is not None, f"there is no {_FILE} here or above"
    found: dict[str, list[list[float]]] = {}
    with CAMERAS.open(encoding="utf-8", newline="") as file:
        for name, _, *values in list(csv.reader(file))[1:]:
            found.setdefault(name, []).append([float(v) for v in values])
    return {name: np.array(rows) for name, rows in found.items()}


def light(name: str) -> Array:
    """A CIE illuminant on the inside grid, averaged over 10 nm triangular, (W,)."""
    with warnings.catch_warnings():
        # colour-science warns of optional packages that nothing here needs.
        warnings.simplefilter("ignore")
        import colour

        steps = colour.SpectralShape(380, 730, 5)
        values = colour.SDS_ILLUMINANTS[name].copy().align(steps).values
    near = np.maximum(10 - np.abs(GRID[:, None] - np.arange(380, 731, 5)), 0)
    return np.asarray(near @ values / near.sum(axis=1))


def mixed(own: Array, share: float) -> Array:
    """Channels (3, W) mixed a share of the way to those of a display, white staying white."""
    aim = _TO_SRGB @ weights(GRID, D50)[0].T
    aim /= aim.sum(axis=1, keepdims=True)
    alike = 0.2 + np.exp(-0.5 * ((GRID[:, None] - GRID) / 50) ** 2)
    found = []
    for c in range(3):
        beside = np.delete(own, c, axis=0) - own[c]
        part = np.linalg.solve(beside @ alike @ beside.T, beside @ alike @ (aim[c] - own[c]))
        found.append(own[c] + share * part @ beside)
    return np.array(found)


def table(without: Collection[str] = ()) -> tuple[Array, Array]:
    """Mean (3, W) and components (`COMPONENTS`, 3, W) at one standard deviation.

    Parameters
    ----------
    without : collection of str
        Cameras left out, so that a test by one of them is no test by what it has learnt from.
    """
    rows, weight = [], []
    for name, camera in cameras().items():
        if name in without:
            continue
        for kind in LIGHTS:
            for each in kind:
                own = camera * light(each)
                own /= own.sum(axis=1, keepdims=True)
                rows += [mixed(own, share).ravel() for share in MIXED]
                weight += [1 / len(kind)] * len(MIXED)
    shares = np.array(weight) / np.sum(weight)
    mean = shares @ np.array(rows)
    _, sizes, directions = np.linalg.svd((rows - mean) * np.sqrt(shares)[:, None], False)
    factors = sizes[:COMPONENTS, None] * directions[:COMPONENTS]
    # A direction has no sign of its own: the largest value is made positive.
    largest = factors[np.arange(COMPONENTS), np.abs(factors).argmax(axis=1)]
    factors *= np.sign(largest)[:, None]
    return mean.reshape(3, -1), factors.reshape(COMPONENTS, 3, -1)


def text(without: Collection[str] = ()) -> str:
    """The table as it ships: a row for each channel of the mean, and of every component."""
    mean, factors = table(without)
    lines = [f"# {SOURCE}", ",".join(["row", "channel", *(f"{nm:g}" for nm in GRID)])]
    for row, channels in enumerate((mean, *factors)):
        for channel, values in zip(("red", "green", "blue"), channels, strict=True):
            name = f"component {row}" if row else "mean"
            lines.append(",".join([name, channel, *(f"{v:.7f}" for v in values)]))
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8", newline="\n")
