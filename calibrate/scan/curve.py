"""Curves that take a device's encoded channels to linear ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..optics.spectra import Array

BASES = ("sRGB", "linear", "gamma 2.2", "gamma 1.8")


def decoded(base: str, encoded: Array) -> Array:
    """Undo an encoding of values 0-1.

    Parameters
    ----------
    base : str
        Name of the encoding.
    encoded : array
        Values 0-1.

    Returns
    -------
    array
        Of its shape, linear.
    """
    v = np.asarray(encoded, dtype=float)
    if base == "linear":
        return v
    if base == "sRGB":  # IEC 61966-2-1
        low = v <= 0.04045
        return np.where(low, v / 12.92, ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.maximum(v, 0) ** float(base.rpartition(" ")[2]))


@dataclass(frozen=True)
class Curve:
    """Takes encoded channels to linear ones: a polynomial between cube roots.

    Attributes
    ----------
    base : str
        One of `BASES`, undone first.
    terms : (3, D) array
        Of each channel, from the first power on: black stays black, so that no stray light can
        hide in the curve.
    """

    base: str
    terms: Array

    def __call__(self, encoded: Array) -> Array:
        """Linear values of encoded ones (..., 3); 1 is the perfect diffuser."""
        t = np.cbrt(decoded(self.base, encoded))
        powers = np.stack([t ** (i + 1) for i in range(self.terms.shape[1])], axis=-1)
        return np.asarray(np.einsum("...cd,cd->...c", powers, self.terms) ** 3)

    @classmethod
    def plain(cls, base: str = "sRGB") -> Curve:
        """The encoding alone."""
        return cls(base, np.ones((3, 1)))
