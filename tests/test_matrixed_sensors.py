"""Sensitivities with lobes below zero, as a driver's or a phone's matrix makes them.

The matrix and the scanner are invented. Measured cameras are the reference of one test, which skips
where the table (see its README for its source and licence) isn't beside the project.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.fit.scans.prior import ScanPrior
from tintladder.calibrate.optics.matrixed_sensors import (
    _Matrixed,
    best_sensors,
    estimate_matrixed_sensors,
)
from tintladder.calibrate.optics.sensors import estimate_sensors
from tintladder.calibrate.optics.spectra import GRID

from .invented_scanner import LED, noisy, target

CAMERAS = Path(__file__).parents[2] / "shared/reference/camera_sensitivities.csv"
"""Beside the project, as the published coefficients are (tests/opendata/okumura.py)."""
MATRIX = np.array([[1.45, -0.40, -0.05], [-0.20, 1.35, -0.15], [0.02, -0.42, 1.40]])
SEED = 3


def read_of(sensitivity):
    """The target's patches of which no channel is cut off, their channels and variance."""
    spectra = target()
    channels, variance = noisy(spectra @ sensitivity.T, np.random.default_rng(SEED))
    whole = channels.min(axis=1) > 0.002
    return spectra[whole], channels[whole], variance[whole]


def off(sensors, sensitivity):
    """RMS over paints' ladders, which the target's dyes are not, of channels up to 1."""
    others = ScanPrior.invented().ladders[::10]
    return float(np.sqrt(((sensors.read(others) - others @ sensitivity.T) ** 2).mean()))


def test_a_drivers_matrix_is_found():
    sensitivity = (0.6 * np.eye(3) + 0.4 * MATRIX) @ LED.sensitivity
    read = read_of(sensitivity)
    sensors, misfit = best_sensors(*read)
    assert sensors.sensitivity.min() < -0.001
    assert max(misfit) < 1.6
    assert off(sensors, sensitivity) < 0.4 * off(estimate_sensors(*read), sensitivity)


def test_a_plain_scanner_keeps_positive_sensitivities():
    sensors, misfit = best_sensors(*read_of(LED.sensitivity))
    assert sensors.sensitivity.min() > 0 and max(misfit) < 2.0


def test_slopes_are_exact():
    spectra, channels, variance = read_of(LED.sensitivity)
    problem = _Matrixed(spectra[:20], channels[:20], variance[:20], GRID)
    x = problem.start() + 0.1
    slopes = problem.linear(x)[1]
    for i in (0, 40, 107, *range(108, 114)):
        step = np.zeros(x.size)
        step[i] = 1e-6
        numeric = (problem.linear(x + step)[0] - problem.linear(x - step)[0]) / 2e-6
        np.testing.assert_allclose(slopes[:, i], -numeric, rtol=1e-5, atol=1e-5)


def test_measured_cameras_after_a_matrix():
    if not CAMERAS.exists():
        pytest.skip("the table of measured cameras is not beside the project")
    with CAMERAS.open() as file:
        rows = [r for r in csv.reader(line for line in file if not line.startswith("#"))][1:]
    curves = np.array([[float(v) for v in r[2:]] for r in rows]).reshape(-1, 3, GRID.size)
    worse = []
    for raw in curves[::6]:
        even = raw / raw.sum(axis=1, keepdims=True)
        sensitivity = MATRIX @ even
        read = read_of(sensitivity)
        found = off(estimate_matrixed_sensors(*read), sensitivity)
        worse.append(found / off(estimate_sensors(*read), sensitivity))
    assert np.mean(worse) < 0.6 and max(worse) < 1.0
