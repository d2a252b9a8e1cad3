"""The paint's surface: what it reflects outside, and what it hides of the inside.

Saunderson's correction relates the reflectance an instrument reads to the reflectance inside the
film, just under the surface. Which constants apply depends on the instrument's geometry.

References
----------
J. L. Saunderson, Calculation of the color of pigmented plastics, J. Opt. Soc. Am. 32 (1942) 727.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from .spectra import Array

Geometry = Literal["di:8", "8:di", "45:0"]
GEOMETRIES: tuple[Geometry, ...] = ("di:8", "8:di", "45:0")
Gloss = Literal["gloss", "satin", "matt"]
GLOSSES: tuple[Gloss, ...] = ("gloss", "satin", "matt")
# Share of the surface reflection that still reaches an instrument that excludes the specular:
# all but none of it on gloss, all of it on matt. Satin lies between and is fitted from there.
_HAZE: dict[str, tuple[float, float]] = {
    "gloss": (0.0, 0.0),
    "satin": (0.5, 0.2),
    "matt": (1.0, 0.1),
}


def notation(geometry: str, specular: str) -> str:
    """Write a geometry as CIE 15 does, with de where a sphere excludes the specular.

    Parameters
    ----------
    geometry : {"di:8", "8:di", "45:0"}
    specular : {"included", "excluded"}

    Returns
    -------
    str
    """
    excluded = geometry != "45:0" and specular == "excluded"
    return geometry.replace("di", "de") if excluded else geometry


def fresnel(n: float, cos_inside_air: Array | float) -> Array:
    """Unpolarised Fresnel reflectance of a flat surface for light from air.

    Parameters
    ----------
    n : float
        Refractive index of the film.
    cos_inside_air : array
        Cosine of the angle of incidence, in air.

    Returns
    -------
    array
        0-1.
    """
    ci = np.asarray(cos_inside_air, dtype=float)
    ct = np.sqrt(1 - (1 - ci**2) / n**2)
    parallel = (n * ci - ct) / (n * ci + ct)
    perpendicular = (ci - n * ct) / (ci + n * ct)
    result: Array = 0.5 * (parallel**2 + perpendicular**2)
    return result


@cache
def diffuse_external(n: float) -> float:
    """Reflectance of the surface for diffuse light from air.

    Examples
    --------
    >>> round(diffuse_external(1.5), 4)
    0.0918
    """
    # The integral of 2 mu F(mu) over cosines mu, by Gauss's rule with 48 points. Weights are made
    # to sum to one: surfaces are told apart to the last digit, so it has to be the right one.
    points, weights = np.polynomial.legendre.leggauss(48)
    mu = (points + 1) / 2
    share = weights * mu / math.fsum(weights * mu)
    return math.fsum(share * fresnel(n, mu))


@cache
def diffuse_internal(n: float) -> float:
    """Reflectance of the surface for diffuse light from inside.

    Examples
    --------
    >>> round(diffuse_internal(1.5), 3)
    0.596
    """
    return 1 - (1 - diffuse_external(n)) / n**2


@dataclass(frozen=True)
class Surface:
    """A surface as one instrument sees it.

    Attributes
    ----------
    geometry : {"di:8", "8:di", "45:0"}
    specular : {"included", "excluded"}
    gloss : {"gloss", "satin", "matt"}
    n : float
        Refractive index of the film.
    k2 : float
        Internal diffuse reflectance. Belongs to the K and S fitted with it.
    haze : float
        Share of the surface reflection that reaches an instrument that excludes the specular.

    Examples
    --------
    Saunderson's constants for a glossy film of index 1.5 in an integrating sphere:

    >>> sphere = Surface.of("di:8")
    >>> round(sphere.k1, 3), round(sphere.k2, 3), round(sphere.tau, 3)
    (0.04, 0.596, 0.388)
    """

    geometry: Geometry = "di:8"
    specular: Literal["included", "excluded"] = "included"
    gloss: Gloss = "gloss"
    n: float = 1.5
    k2: float = diffuse_internal(1.5)
    haze: float = 0.0

    @classmethod
    def of(
        cls,
        geometry: Geometry,
        specular: Literal["included", "excluded"] = "included",
        gloss: Gloss = "gloss",
        n: float = 1.5,
    ) -> Surface:
        """Make the physical surface of that index and gloss.

        Parameters
        ----------
        geometry : {"di:8", "8:di", "45:0"}
        specular : {"included", "excluded"}
        gloss : {"gloss", "satin", "matt"}
        n : float
            Refractive index of the film.

        Returns
        -------
        Surface

        Raises
        ------
        ValueError
            For a geometry, specular or gloss of another name.

        Examples
        --------
        >>> Surface.of("45:0", "excluded", "matt").haze
        1.0
        """
        for what, said, known in (
            ("geometry", geometry, GEOMETRIES),
            ("specular", specular, ("included", "excluded")),
            ("gloss", gloss, GLOSSES),
        ):
            if said not in known:
                raise ValueError(f"{what} {said!r} isn't known; it is {', '.join(known)}")
        return cls(geometry, specular, gloss, n, diffuse_internal(n), _HAZE[gloss][0])

    @property
    def k1(self) -> float:
        """Reflectance of the surface itself, at normal incidence.

        Examples
        --------
        >>> round(Surface.of("di:8", n=1.4).k1, 4)
        0.0278
        """
        return ((self.n - 1) / (self.n + 1)) ** 2

    @property
    def alpha(self) -> float:
        """Share of `k1` that the instrument sees.

        Examples
        --------
        >>> Surface.of("di:8").alpha, Surface.of("di:8", "excluded").alpha
        (1.0, 0.0)
        """
        if self.geometry != "45:0" and self.specular == "included":
            return 1.0
        return self.haze

    @property
    def haze_is_free(self) -> bool:
        """Whether a reading says anything about the haze, and the surface leaves it open.

        Examples
        --------
        A sphere with the mirror reflection included reads satin as it reads gloss:

        >>> satin = Surface("45:0", gloss="satin"), Surface("di:8", gloss="satin")
        >>> [surface.haze_is_free for surface in satin]
        [True, False]
        """
        return haze_prior(self.gloss)[1] > 0 and not (
            self.geometry != "45:0" and self.specular == "included"
        )

    @property
    def tau(self) -> float:
        """Transmittance in and out of the film.

        Examples
        --------
        45:0 sees a twentieth more of the inside than a sphere does:

        >>> round(Surface.of("45:0").tau / Surface.of("di:8").tau, 2)
        1.05
        """
        if self.geometry == "45:0":
            inward = 1 - float(fresnel(self.n, np.cos(np.pi / 4)))
            return inward * (1 - self.k1) / self.n**2
        return (1 - self.k1) * (1 - self.k2)


def haze_prior(gloss: Gloss) -> tuple[float, float]:
    """Mean and standard deviation of the haze of a surface so described."""
    return _HAZE[gloss]


def to_measured(inside: Array, surface: Surface) -> Array:
    """Reflectance read from outside, of a given reflectance inside (Saunderson's correction).

    Parameters
    ----------
    inside : array
        Reflectance just under the surface, 0-1.
    surface : Surface

    Returns
    -------
    array
        What the instrument of that geometry reads.

    Examples
    --------
    A film that is black inside shows its surface alone, where the specular is included:

    >>> round(float(to_measured(0.0, Surface.of("di:8"))), 4)
    0.04
    """
    result: Array = surface.alpha * surface.k1 + surface.tau * inside / (1 - surface.k2 * inside)
    return result


def to_inside(measured: Array, surface: Surface) -> Array:
    """Inverse of `to_measured`. Negative where the reading is darker than the surface alone.

    Parameters
    ----------
    measured : array
        Reflectance as read, 0-1.
    surface : Surface

    Returns
    -------
    array
        Reflectance inside the film.

    Examples
    --------
    >>> round(float(to_inside(0.5, Surface.of("di:8"))), 3)
    0.695
    """
    y = measured - surface.alpha * surface.k1
    result: Array = y / (surface.tau + surface.k2 * y)
    return result
