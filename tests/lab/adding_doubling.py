"""Adding-doubling of many homogeneous films at once.

Radiative transfer, not two fluxes: a film is an albedo, an optical thickness and an asymmetry g,
its radiance is computed along many angles. Angles, redistribution, start and doubling are those of
iadpython (the tests hold one to the other); what is ours is that all films of a session are doubled
together, that a substrate lies in optical contact inside the film, and Radau points that keep their
precision: iadpython's, from expanded polynomials, lose energy from some 50 points up.

Everything is kept in the symmetric scaling ``sqrt(2 nu w) M sqrt(2 nu w)`` of iadpython's matrices:
the star product becomes the plain one, an empty layer the identity, and a light field whose vector
is x carries the flux ``root . x`` with ``root = sqrt(2 nu w)``.

References
----------
S. A. Prahl, The adding-doubling method, in Optical-Thermal Response of Laser-Irradiated Tissue,
ed. Welch and van Gemert (1995).
W. J. Wiscombe, The Delta-M method, J. Atmos. Sci. 34 (1977) 1408: start thickness, delta-M.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Literal, NamedTuple

import iadpython
import numpy as np
from numpy.polynomial.legendre import legvander
from scipy.special import roots_jacobi
from tintladder.calibrate.optics.spectra import Array

DEFAULT_POINTS = 24
"""Angles. Against 128 no reflectance of the demo moves by more than `DEFAULT_ERROR`."""
DEFAULT_ERROR = 1e-4
FIGURE_POINTS = 64
_CHUNK = 512

View = Literal["sphere", "45"]


@dataclass(frozen=True)
class Angles:
    """Quadrature inside a film of index n under a flat surface to air.

    Attributes
    ----------
    n : float
    nu : (Q,) array
        Cosines, increasing; the last is 1.
    root : (Q,) array
        Square root of 2 nu w.
    rho : (Q,) array
        Fresnel reflectance of the surface from inside; 1 beyond the critical angle.
    seen : (Q,) array
        What of each direction's light below the surface reaches the instrument.
    """

    n: float
    nu: Array
    root: Array
    rho: Array
    seen: Array


def _radau(points: int, a: float, b: float) -> tuple[Array, Array]:
    """Radau points and weights on (a, b], by way of Gauss-Jacobi."""
    x, w = roots_jacobi(points - 1, 1, 0)
    x, w = np.append(x, 1.0), np.append(w / (1 - x), 2 / points**2)
    return a + (b - a) * (x + 1) / 2, w * (b - a) / 2


@cache
def angles(n: float = 1.5, points: int = DEFAULT_POINTS, view: View = "sphere") -> Angles:
    """Make the points of iadpython: Gauss up to the critical angle, Radau to 0 degrees.

    For 45:0 one more point lies at 45 degrees outside (28.1 inside).

    The number of points is even; for 45:0 a multiple of three.
    """
    critical = iadpython.cos_critical(n, 1.0)
    slant = iadpython.cos_snell(1.0, np.cos(np.pi / 4), n)
    ends = (critical, 1.0) if view == "sphere" else (critical, slant, 1.0)
    per = points // len(ends)
    pieces = [iadpython.quadrature.gauss(per, 0, critical)]
    pieces += [_radau(per, a, b) for a, b in pairwise(ends)]
    nu, w = np.concatenate(pieces, axis=1)
    root = np.sqrt(2 * nu * w)
    rho = iadpython.fresnel_reflection(n, nu, 1.0)
    if view == "sphere":
        seen = root * (1 - rho)
    else:
        # Reflectance factor: radiance leaving, over that of a perfect white, both outside.
        i = 2 * per - 1
        seen = np.zeros_like(nu)
        seen[i] = (1 - rho[i]) / (root[i] * n**2)
    return Angles(n, nu, root, rho, seen)


class Films(NamedTuple):
    """Films under their surface: what each does to light, for any substrate. All (L,).

    `r` and `t` are for light from above at 0 degrees: seen by the instrument, and reaching the
    substrate. `rb` and `tb` are for diffuse light from the substrate: back to it, and seen.
    """

    r: Array
    t: Array
    rb: Array
    tb: Array

    def over(self, rg: Array | float) -> Array:
        """Measured reflectance over a substrate of inside reflectance rg."""
        return self.r + self.t * rg * self.tb / (1 - self.rb * rg)


def _redistribution(g: Array, nu: Array) -> tuple[Array, Array]:
    """Henyey-Greenstein with delta-M, forward and backward, (L, Q, Q) each."""
    q = nu.size
    k = np.arange(q)
    legendre = legvander(nu, q - 1).T
    pairs = legendre[:, :, None] * legendre[:, None, :]
    cut = g[:, None] ** q
    chi = (2 * k + 1) * (g[:, None] ** k - cut) / (1 - cut)
    forward = np.tensordot(chi, pairs, axes=(1, 0))
    backward = np.tensordot(chi * (-1.0) ** k, pairs, axes=(1, 0))
    return forward, backward


def layers(albedo: Array, thickness: Array, g: Array, at: Angles) -> tuple[Array, Array]:
    """Reflection and transmission of bare layers, in the symmetric scaling.

    Parameters
    ----------
    albedo, thickness, g : (L,) array
        Scattering over extinction; extinction times depth; mean cosine of scattering.

    Returns
    -------
    r, t : (L, Q, Q) array
    """
    q = at.nu.size
    cut = albedo * g**q
    a, b = (albedo - cut) / (1 - cut), thickness * (1 - cut)
    # Halved until no thicker than the shallowest cosine (Wiscombe).
    doublings = np.maximum(0, np.ceil(np.log2(np.maximum(b, 1e-300) / at.nu[0]))).astype(int)
    d = b / 2.0**doublings
    order = np.argsort(-doublings, kind="stable")
    doublings = doublings[order]
    r, t = _start(a[order], d[order], g[order], at)
    eye = np.eye(q)
    for step in range(int(doublings.max(initial=0))):
        live = int(np.searchsorted(-doublings, -step))
        ri, ti = r[:live], t[:live]
        # 1 - R R is symmetric, so T (1 - R R)^-1 is the transpose of what solve gives.
        bounce = np.linalg.solve(eye - ri @ ri, ti).transpose(0, 2, 1)
        r[:live] = ri + bounce @ ri @ ti
        t[:live] = bounce @ ti
    back = np.argsort(order)
    return r[back], t[back]


def _start(a: Array, d: Array, g: Array, at: Angles) -> tuple[Array, Array]:
    """Thin layers: diamond, or the infinitesimal generator where they are very thin."""
    forward, backward = _redistribution(g, at.nu)
    scale = (a * d / 4)[:, None, None] * np.multiply.outer(at.root / at.nu, at.root / at.nu)
    forward, backward = scale * forward, scale * backward
    eye = np.eye(at.nu.size)
    slant = d[:, None, None] * np.diag(1 / at.nu)
    r, t = backward.copy(), forward + eye - slant
    thick = ~((d < 1e-4) | (d < 0.09 * at.nu[0]))
    if thick.any():
        # Light from both sides alike, or opposite, decouples T + R and T - R.
        f, k = (slant - forward)[thick] / 2, backward[thick] / 2
        plus = 2 * np.linalg.inv(eye + f - k) - eye
        minus = 2 * np.linalg.inv(eye + f + k) - eye
        r[thick], t[thick] = (plus - minus) / 2, (plus + minus) / 2
    return r, t


def films(
    albedo: Array,
    thickness: Array,
    g: Array | float,
    at: Angles,
    specular: bool = True,
    haze: float = 0.0,
    lobe: float = 0.0,
) -> Films:
    """Films lit at 0 degrees through a flat surface, seen from above.

    Parameters
    ----------
    albedo, thickness, g : (L,) array
        As for `layers`; a thickness of 0 is a clear coat.
    at : Angles
        Holds index and what the instrument sees.
    specular : bool
        Whether the surface's own reflection at 0 degrees is seen (a sphere only).
    haze : float
        Share of the light that the surface scatters: it enters spread as diffuse light from air
        would, and its part of the surface reflection is seen with the specular excluded too.
    lobe : float
        0 for a Lambertian substrate. Else it takes and sends light as ``nu**lobe`` (reciprocal,
        and more along its normal).
    """
    albedo, thickness, g = np.broadcast_arrays(*map(np.atleast_1d, (albedo, thickness, g)))
    parts = [
        _chunk(albedo[i : i + _CHUNK], thickness[i : i + _CHUNK], g[i : i + _CHUNK], at, haze, lobe)
        for i in range(0, albedo.size, _CHUNK)
    ]
    r, t, rb, tb = np.concatenate(parts, axis=1)
    seen_as_sphere = np.count_nonzero(at.seen) > 1
    if seen_as_sphere:
        r = r + at.rho[-1] * (1.0 if specular else haze)
    return Films(r, t, rb, tb)


def _chunk(
    albedo: Array, thickness: Array, g: Array, at: Angles, haze: float, lobe: float
) -> Array:
    r, t = layers(albedo, thickness, g, at)
    straight = np.zeros_like(at.nu)
    straight[-1] = 1 / at.root[-1]
    cone = np.where(at.rho < 1, at.root, 0.0)
    spread = cone / (cone @ at.root)
    entering = (1 - at.rho[-1]) * ((1 - haze) * straight + haze * spread)
    substrate = at.root * at.nu**lobe
    substrate /= np.linalg.norm(substrate)
    # Light going down below the surface, for light from above and for light from the substrate.
    up = t @ substrate
    sources = np.stack([np.broadcast_to(entering, up.shape), at.rho * up], axis=-1)
    down = np.linalg.solve(np.eye(at.nu.size) - at.rho[:, None] * r, sources)
    r_above, r_below = np.einsum("q,lqp,lpk->kl", at.seen, r, down)
    t_above, t_below = np.einsum("q,lqp,lpk->kl", substrate, t, down)
    rb = t_below + np.einsum("q,lqp,p->l", substrate, r, substrate)
    tb = r_below + up @ at.seen
    return np.stack([r_above, t_above, rb, tb])
