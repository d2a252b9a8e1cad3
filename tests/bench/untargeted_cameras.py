"""Phones and scanners out of measured cameras: sensors, lights, drivers, curves and veils.

The sensitivities are those of ``../shared/reference/camera_sensitivities.csv`` (the Academy
Software Foundation's open data set for raw conversion, Apache-2.0), the lights are CIE illuminants
as colour-science has them (CIE 15:2018). What a driver makes of the sensor's channels is a matrix
to linear sRGB, fitted on the printed target of `brushed_pictures`, whose rows sum to 1. Everything
else about these devices is invented.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from unittest.mock import patch

import numpy as np
from tintladder.calibrate.optics import unknown_sensors
from tintladder.calibrate.optics.colour import xyz
from tintladder.calibrate.optics.spectra import GRID, Array

from tests.unknown_sensors_table import table

from .brushed_pictures import _D50_TO_SRGB as D50_TO_SRGB
from .brushed_pictures import target_spectra
from .harness import Skipped

LIGHTS = {
    "led": ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-V1"),
    "fluorescent": ("FL2", "FL4", "FL7", "FL8", "FL11", "FL12"),
    "daylight": ("D50", "D55", "D65", "D75"),
}
UNSEEN_LIGHTS = {
    "led": ("LED-BH1", "LED-RGB1", "LED-V2"),
    "fluorescent": ("FL3.4", "FL3.8", "FL3.11", "FL3.13"),
    "daylight": ("D60", "ID50", "ID65"),
}


def _srgb(v: Array) -> Array:
    """IEC 61966-2-1."""
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def _contrast(v: Array) -> Array:
    e = _srgb(v)
    return e - 0.05 * np.sin(2 * np.pi * e)


def _soft(v: Array) -> Array:
    """Highlights rolled off, shadows lifted."""
    e = _srgb(v)
    return e + 0.18 * e * (1 - e) ** 2 - 0.06 * e**3 * (1 - e)


CURVES: dict[str, Callable[[Array], Array]] = {
    "srgb": _srgb,
    "gamma 2.2": lambda v: v ** (1 / 2.2),
    "gamma 1.8": lambda v: v ** (1 / 1.8),
    "contrast": _contrast,
    "soft": _soft,
}
"""What a device makes of linear colour, 0 to 1 onto 0 to 1, rising throughout."""


@cache
def cameras() -> dict[str, Array]:
    """Relative sensitivities (W, 3) by camera.

    Raises
    ------
    Skipped
        Where the reference data are absent.
    """
    for folder in Path(__file__).parents[3:]:
        path = folder / "shared" / "reference" / "camera_sensitivities.csv"
        if path.exists():
            break
    else:
        raise Skipped("the measured cameras, ../shared/reference, are not beside this checkout")
    found: dict[str, dict[str, Array]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            curve = np.array([float(row[f"{nm:g}"]) for nm in GRID])
            found.setdefault(row["camera"], {})[row["channel"]] = curve
    return {name: np.stack([c["R"], c["G"], c["B"]], axis=1) for name, c in found.items()}


@cache
def light(name: str) -> Array:
    """Spectral power of a CIE illuminant on the grid."""
    import colour  # heavy

    found = colour.SDS_ILLUMINANTS[name]
    return np.interp(GRID, found.wavelengths, found.values, left=0.0, right=0.0)


@dataclass(frozen=True, eq=False)
class Camera:
    """A device of a world.

    Attributes
    ----------
    name : str
        As the studio calls it.
    measured : str
        Which measured camera it is.
    lamp : str
        Class of its light: led, fluorescent or daylight.
    phone : bool
        Else a flatbed: no perspective, hardly uneven, losslessly saved.
    sensitivities : (W, 3) array
        Of the sensor under its light; each sums to 1.
    matrix : (3, 3) array
        Its driver's, to linear sRGB.
    curve : str
    veil : float
        Uniform light, as a share of white.
    """

    name: str
    measured: str
    lamp: str
    phone: bool
    sensitivities: Array
    matrix: Array
    curve: str
    veil: float

    def linear(self, spectra: Array) -> Array:
        """The sensor's channels, white 1."""
        return np.asarray(spectra @ self.sensitivities)


def camera(
    name: str, measured: str, lamp: str, phone: bool, curve: str, veil: float, seed: int,
    unseen: bool = False,
) -> Camera:  # fmt: skip
    """A measured camera under one of the lights of a class, which a seed draws."""
    rng = np.random.default_rng([seed, 0xCA3])
    source = light(str(rng.choice((UNSEEN_LIGHTS if unseen else LIGHTS)[lamp])))
    raw = cameras()[measured] * source[:, None]
    raw = raw / raw.sum(axis=0)
    some = target_spectra()
    wanted = xyz(some) / xyz(np.ones((1, GRID.size)))[0, 1] @ D50_TO_SRGB.T
    matrix = np.linalg.lstsq(some @ raw, wanted, rcond=None)[0].T
    matrix /= matrix.sum(axis=1, keepdims=True)
    return Camera(name, measured, lamp, phone, raw, matrix, curve, veil)


@contextmanager
def left_out(devices: Sequence[Camera]) -> Iterator[None]:
    """Give the product a prior that has not learnt from the cameras that read."""
    names = tuple(sorted({each.measured for each in devices}))
    with patch.object(unknown_sensors, "_table", lambda: _learnt_without(names)):
        yield


@cache
def _learnt_without(names: tuple[str, ...]) -> Array:
    mean, parts = table(names)
    return np.concatenate([mean[None], parts])
