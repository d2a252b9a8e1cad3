"""Makes the table of `calibrate/optics/transport.py`: ``python -m tests.lab.transport_table``.

Takes some minutes. The anisotropy is not the lab's own, so that no fit is the model that made the
data.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.optics import transport
from tintladder.calibrate.optics.spectra import Array

from .adding_doubling import angles, films

ANISOTROPY = 0.5
POINTS = 48
STEP = 0.12
"""Of the logarithm of optical depth; at twice as much the error is 2e-5, at this 3e-6."""
PATH = Path(transport.__file__).with_name(transport.TABLE)


def depths(limits: tuple[float, float]) -> Array:
    """Optical depths of the table's steps."""
    low, high = limits
    count = int(np.ceil(np.log1p(high / low) / STEP)) + 1
    return low * np.expm1(np.linspace(0, np.log1p(high / low), count))


def numbers(absorbed: Array, scattered: Array, g: float, points: int) -> Array:
    """r, t, rb, tb for a sphere without the surface's own reflection, r and tb for 45:0; (6, L)."""
    scattering = scattered / (1 - g)
    depth = absorbed + scattering
    albedo = np.divide(scattering, depth, out=np.zeros_like(depth), where=depth > 0)
    at_sphere, at_45 = (angles(transport.INDEX, points, view) for view in ("sphere", "45"))
    sphere = films(albedo, depth, g, at_sphere, specular=False)
    slanted = films(albedo, depth, g, at_45)
    return np.array([*sphere, slanted.r, slanted.tb])


def spline(values: Array) -> Array:
    """Coefficients (n + 2, ...) of the quadratic spline through values (n, ...) at even steps."""
    n = len(values)
    through = np.zeros((n + 2, n + 2))
    row = np.arange(n)
    for k, weight in enumerate((1, 6, 1)):
        through[row, row + k] = weight / 8
    # The two that are left over: no third difference at either end.
    through[n, :4] = through[n + 1, -4:] = (-1, 3, -3, 1)
    known = np.concatenate([values, np.zeros((2, *values.shape[1:]))])
    return np.linalg.solve(through, known.reshape(n + 2, -1)).reshape(n + 2, *values.shape[1:])


def table(g: float = ANISOTROPY, points: int = POINTS) -> Array:
    """Spline coefficients, (6, U, V)."""
    a, b = np.meshgrid(depths(transport.ABSORBED), depths(transport.SCATTERED), indexing="ij")
    values = numbers(a.ravel(), b.ravel(), g, points).reshape(6, *a.shape)
    by_a = spline(values.transpose(1, 2, 0))
    return spline(by_a.transpose(1, 0, 2)).transpose(2, 1, 0)


def main() -> None:
    """Write the table."""
    with threadpool_limits(1, "blas"):
        made = table()
    np.savez_compressed(PATH, coefficients=made.astype(np.float32), anisotropy=ANISOTROPY)
    print(f"{PATH}: {made.shape}, {PATH.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
