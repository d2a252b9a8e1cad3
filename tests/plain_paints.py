"""K and S made by hand, for checks in closed form and by draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from tintladder.calibrate.optics.coefficients import ABSOLUTE, Coefficients
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.optics.surface import Surface

NO_SURFACE = replace(Surface.of("di:8"), n=1.0, k2=0.0)
"""A film that ends in air without any reflection: what closed forms speak of."""


def plain(
    paints: Mapping[str, tuple[Array | float, Array | float]],
    surface: Surface = NO_SURFACE,
    *,
    scale: str = ABSOLUTE,
    relative: float = 0.0,
    seed: int = 1,
) -> Coefficients:
    """Coefficients of such K and S, with some uncertainty of every kind where asked.

    Parameters
    ----------
    paints : mapping of nickname to (K, S)
    surface : Surface
    scale : str
    relative : float
        Relative standard uncertainty of each part: local, own and shared.
    seed : int
        For how it is spread over wavelengths.
    """
    n_p, n_w = len(paints), GRID.size
    k, s = (
        np.array([np.broadcast_to(np.asarray(v[q], float), n_w) for v in paints.values()])
        for q in (0, 1)
    )
    both = np.stack([k, s], axis=1)
    rng = np.random.default_rng(seed)
    tilt = np.linspace(-1, 1, n_w)
    local = np.array([[1.0, 0.3], [0.3, 1.0]])[None, :, :, None] * np.ones((n_p, 1, 1, n_w))
    own = rng.standard_normal((n_p, 2, 2, 1)) + rng.standard_normal((n_p, 2, 2, 1)) * tilt
    shared = rng.standard_normal((3, n_p, 2, 1)) + rng.standard_normal((3, n_p, 2, 1)) * tilt
    return Coefficients(
        paints=tuple(paints),
        wavelengths=GRID,
        k=k,
        s=s,
        local=relative**2 * local * both[:, :, None] * both[:, None, :],
        own=relative * own * both[:, None],
        factors=relative * shared * both[None],
        factor_names=("shared 1", "shared 2", "shared 3"),
        scale=scale,
        surface=surface,
        dry_volume=np.full(n_p, 0.3),
        density=np.full(n_p, 1.3),
        dry_volume_measured=np.ones(n_p, dtype=bool),
        ratio_only=np.zeros((n_p, n_w), dtype=bool),
        scan_made=np.zeros(n_p, dtype=bool),
        mix_error=np.zeros(n_p),
        part_error=np.zeros(n_p),
        crowding=np.zeros(n_p),
        surface_error=np.zeros(n_p),
        model_error=np.zeros(n_w),
        surface_offset=np.zeros(n_p),
    )


def draws(c: Coefficients, count: int, seed: int = 1) -> list[Coefficients]:
    """Coefficients drawn from their own covariance."""
    rng = np.random.default_rng(seed)
    n_p, n_w = c.k.shape
    root = np.linalg.cholesky(c.local.transpose(0, 3, 1, 2) + 1e-30 * np.eye(2))
    out = []
    for _ in range(count):
        moved = np.einsum("pwij,pwj->piw", root, rng.standard_normal((n_p, n_w, 2)))
        moved += np.einsum("pgiw,pg->piw", c.own, rng.standard_normal(c.own.shape[:2]))
        moved += np.einsum("fpiw,f->piw", c.factors, rng.standard_normal(len(c.factors)))
        out.append(replace(c, k=c.k + moved[:, 0], s=c.s + moved[:, 1]))
    return out
