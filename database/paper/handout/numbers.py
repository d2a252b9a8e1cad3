"""Enough of K and S, as plain numbers, for a browser to predict mixes by itself.

Opaque films alone are predicted, so at each wavelength the ratio of absorption to scattering is all
that counts. What an instrument, or an eye, sees of it is a table in even steps of the reflectance
that two fluxes give that ratio, which makes it nearly straight.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ....calibrate.optics.coefficients import Coefficients
from ....calibrate.optics.colour import weights
from ....calibrate.optics.predict import read_films
from ....calibrate.optics.spectra import Array
from ...mixing.palette import Palette

STEPS = 257
_KEPT = 8
"""Causes of uncertainty that are told apart; the rest swell these, so that none is lost."""
_LEAST = 1e-4


def opaque_table(coefficients: Coefficients, steps: int = STEPS) -> Array:
    """Readings of opaque films at even steps of y = 1 / (1 + q + sqrt(q (q + 2))), q = K/S.

    Parameters
    ----------
    coefficients : Coefficients
        Their model and surface count.
    steps : int

    Returns
    -------
    (steps,) array
        At y from 0 (all is absorbed) to 1 (nothing is).
    """
    y = np.clip(np.linspace(0.0, 1.0, steps), _LEAST, 1 - _LEAST)
    q = (1 - y) ** 2 / (2 * y)
    surface = coefficients.surface
    seen = read_films(coefficients.model, surface, q, np.ones_like(q), np.inf, 0.0).r
    # The ends, where no paint is, follow from their neighbours.
    seen[0] -= (seen[1] - seen[0]) / (y[1] - y[0]) * y[0]
    seen[-1] += (seen[-1] - seen[-2]) / (y[-1] - y[-2]) * (1 - y[-1])
    result: Array = seen
    return result


def numbers(palette: Palette) -> dict[str, Any]:
    """All that `predict.js` calculates with, of plain values.

    Parameters
    ----------
    palette : Palette
        The tubes to mix.

    Notes
    -----
    Uncertainty is kept as relative changes of K and S by a few causes: of each paint by itself, and
    shared by all.
    """
    c, seen = palette.coefficients, palette.seen
    w, white = weights(c.wavelengths[seen], palette.view)
    return {
        "models": [{"share": share} | _of_model(each, seen) for share, each in c.by_model],
        "weights": _plain(w / white, 7),
        "display": _plain(_to_display(weights()[1]), 6),
        # A part of tube paint leaves so much dry volume: by volume, and by weight.
        "solids": _plain(c.dry_volume * c.density, 6),
        "dry": _plain(c.dry_volume, 6),
        "density": _plain(c.density, 5),
    }


def _of_model(c: Coefficients, seen: NDArray[np.bool_]) -> dict[str, Any]:
    """What one model knows of the paints."""
    both = np.stack([c.k, c.s], axis=1)[..., seen]
    own = [
        _causes(np.concatenate([_loose(local[..., seen]), mine[..., seen].reshape(len(mine), -1)]),
                size.ravel())
        for local, mine, size in zip(c.local, c.own, both, strict=True)
    ]  # fmt: skip
    shared = _causes(c.factors[..., seen].reshape(len(c.factors), -1), both.ravel())
    return {
        "table": _plain(opaque_table(c), 6),
        "k": _plain(both[:, 0], 6),
        "s": _plain(both[:, 1], 6),
        "own": [_plain(causes.reshape(len(causes), 2, -1), 4) for causes in own],
        "shared": _plain(shared.reshape(len(shared), *both.shape), 4),
        "crowding": _plain(c.crowding, 6),
        "surface": _plain(c.surface.alpha * c.surface_offset, 6),
        "floor": round(c.surface.alpha * c.surface.k1, 6),
        "surfaceError": _plain(c.surface_error, 6),
        "mixError": _plain(c.mix_error, 4),
        "partError": _plain(c.part_error, 4),
        "modelError": _plain(c.model_error[seen], 4),
    }


def _loose(local: Array) -> Array:
    """What is uncertain at each wavelength by itself, (2, 2, V), as factors (2 V, 2 V)."""
    v = local.shape[-1]
    root = np.linalg.cholesky(local.transpose(2, 0, 1) + 1e-18 * np.eye(2))
    out = np.zeros((2, v, 2, v))
    at = np.arange(v)
    for i in range(2):
        for j in range(i + 1):
            out[j, at, i, at] = root[:, i, j]
    return out.reshape(2 * v, 2 * v)


def _causes(factors: Array, size: Array) -> Array:
    """The main causes among factors (F, N), relative to `size` (N,), swollen to the whole."""
    relative = factors / size
    _, spread, causes = np.linalg.svd(relative, full_matrices=False)
    kept = spread[:_KEPT] > 1e-9
    main = (spread[:_KEPT, None] * causes[:_KEPT])[kept]
    whole = (relative**2).sum()
    result: Array = main * np.sqrt(whole / (main**2).sum()) if len(main) else main
    return result


def _to_display(white: Array) -> Array:
    """Matrix (3, 3) from tristimulus values over the light's white to a display's linear sRGB.

    An eye that is used to a light takes its white for white: here it is D50's, `white`.
    """
    import colour

    space, d50 = colour.RGB_COLOURSPACES["sRGB"], colour.CCS_ILLUMINANTS["cie_2_1931"]["D50"]
    matrix: Array = np.asarray(
        colour.XYZ_to_RGB(np.diag(white), space, d50, "Bradford", apply_cctf_encoding=False),
        dtype=float,
    ).T
    return matrix


def _plain(values: Array, digits: int) -> Any:
    """Nested lists of so many significant digits."""
    rounded = np.array([float(f"{x:.{digits}g}") for x in np.ravel(values)])
    return rounded.reshape(np.shape(values)).tolist()
