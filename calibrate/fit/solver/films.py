"""Reflectance of many films over their substrates by either model, and its slopes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...optics.kubelka_munk import film_derivatives, opaque_derivatives
from ...optics.spectra import Array
from ...optics.transport import Films, films, over_substrate
from ..problem.rows import Ints


def by_two_fluxes(
    k: Array, s: Array, x: Array, rg: Array, film: NDArray[np.bool_]
) -> tuple[Array, ...]:
    """Reflectance inside.

    Parameters
    ----------
    k, s : (G, N, W) array
    x : (Q, G, N, W or 1) array, mm
        At each of the points of a patch.
    rg : (G, N, W) array
        Inside reflectance of the substrate.
    film : (G, N, 1) bool array
        False where opaque.

    Returns
    -------
    r, by_k, by_s, by_x, by_rg : array
    """
    found = film_derivatives(k, s, x, rg)
    if film.all():
        return found
    r, by_k, by_s = opaque_derivatives(k, s)
    opaque = (r, by_k, by_s, np.zeros_like(r), np.zeros_like(r))
    return tuple(np.where(film, a, b) for a, b in zip(found, opaque, strict=True))


def by_transport(
    k: Array, s: Array, x: Array, rg: Array, slanted: NDArray[np.bool_], alike: Ints | None
) -> tuple[Array, ...]:
    """Reflectance as read, the surface included.

    Parameters
    ----------
    k, s, x, rg : array
        As `by_two_fluxes` has them; `x` is `OPAQUE` where a film hides.
    slanted : (G, N, 1) bool array
        Whether it is seen at 45:0; else by a sphere.
    alike : (G, N) int array or None
        Patches of one number are of one film, which is followed once.

    Returns
    -------
    r, by_k, by_s, by_x, by_rg : array
    """
    if alike is None:
        return over_substrate(films(k, s, x, slanted), k, s, x, rg)
    _, first, which = np.unique(alike, return_index=True, return_inverse=True)
    k1, s1, x1 = (a.reshape(-1, a.shape[2])[first] for a in (k, s, x[0]))
    made = films(k1, s1, x1, slanted.reshape(-1, 1)[first])
    made = Films(*(n[:, None, which.reshape(alike.shape)] for n in made))
    return over_substrate(made, k, s, x, rg)
