"""Photons walked one step at a time: the referee of the adding-doubling.

Shares nothing with it but Snell's and Fresnel's laws, here written for one photon's direction.
"""

from __future__ import annotations

import numpy as np


def _fresnel(cos_inside: np.ndarray, n: float) -> np.ndarray:
    """Reflectance met from inside; 1 beyond the critical angle."""
    sine = n * np.sqrt(1 - cos_inside**2)
    cos_out = np.sqrt(np.clip(1 - sine**2, 0, None))
    s = (n * cos_inside - cos_out) / (n * cos_inside + cos_out)
    p = (cos_inside - n * cos_out) / (cos_inside + n * cos_out)
    return np.where(sine >= 1, 1.0, (s**2 + p**2) / 2)


def _scattered(mu: np.ndarray, g: float, rng: np.random.Generator) -> np.ndarray:
    """New direction cosine after a Henyey-Greenstein scattering; the azimuth is uniform."""
    u = rng.random(mu.size)
    if g == 0:
        turn = 2 * u - 1
    else:
        turn = (1 + g * g - ((1 - g * g) / (1 - g + 2 * g * u)) ** 2) / (2 * g)
    across = np.sqrt(np.clip((1 - turn**2) * (1 - mu**2), 0, None))
    cosine = mu * turn + across * np.cos(2 * np.pi * rng.random(mu.size))
    return np.clip(cosine, -1, 1)


def reflectance(
    albedo: float,
    thickness: float,
    g: float,
    rg: float,
    photons: int,
    seed: int,
    n: float = 1.5,
) -> tuple[float, float]:
    """Reflectance of a film over a Lambertian substrate, 0 degrees in, all out.

    Parameters
    ----------
    albedo, thickness, g : float
        Scattering over extinction; optical thickness; mean cosine of scattering.
    rg : float
        Reflectance of the substrate, inside.
    n : float
        Index of the film.

    Returns
    -------
    value, standard_error : float
    """
    rng = np.random.default_rng(seed)
    surface = ((n - 1) / (n + 1)) ** 2
    depth = np.zeros(photons)
    mu = np.ones(photons)  # positive is down
    weight = np.full(photons, 1 - surface)
    out = np.full(photons, surface)
    photon = np.arange(photons)
    while photon.size:
        depth = depth - mu * np.log1p(-rng.random(photon.size))
        top, bottom = depth < 0, depth > thickness
        inside = ~(top | bottom)

        weight[inside] *= albedo
        mu[inside] = _scattered(mu[inside], g, rng)

        # The light that leaves is scored whole, the rest goes on: free paths have no memory, so a
        # photon stopped at a boundary may start from there.
        kept = _fresnel(-mu[top], n)
        out[photon[top]] += weight[top] * (1 - kept)
        weight[top] *= kept
        mu[top] = -mu[top]
        depth[top] = 0.0

        weight[bottom] *= rg
        mu[bottom] = -np.sqrt(rng.random(int(bottom.sum())))
        depth[bottom] = thickness

        # Roulette: faint photons die, or are made whole again, without moving the mean.
        faint = weight < 1e-3
        saved = rng.random(photon.size) < 0.1
        weight = np.where(faint & saved, weight * 10, weight)
        alive = ~(faint & ~saved) & (weight > 0)
        depth, mu, weight, photon = depth[alive], mu[alive], weight[alive], photon[alive]
    return float(out.mean()), float(out.std(ddof=1) / np.sqrt(photons))
