"""The paints of a search: their K and S scaled to like strength, and from shares to colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import D50, View, weights
from ...calibrate.optics.predict import read_films
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.transport import TRANSPORT, opaque_polynomial
from ..common.remedies import StudioDo

Ints = NDArray[np.intp]
KINDS: tuple[Any, ...] = (np.float64, np.float32)
"""Precisions."""
_LEAST = 1e-9
"""K/S is kept above this: where nothing absorbs the slope is infinite."""


@dataclass(frozen=True)
class Palette:
    """Paints to mix, as opaque films seen by one instrument.

    Attributes
    ----------
    coefficients : Coefficients
    view : View
    """

    coefficients: Coefficients
    view: View = D50

    @property
    def paints(self) -> tuple[str, ...]:
        """Nicknames, in order."""
        return self.coefficients.paints

    @cached_property
    def white(self) -> str | None:
        """The paint to let others down with: the lightest, if it is a white at all."""
        colours = self.lab(np.eye(len(self.paints)))
        best = int(colours[:, 0].argmax())
        light = colours[best, 0] > 85 and np.hypot(*colours[best, 1:]) < 12
        return self.paints[best] if light else None

    @cached_property
    def seen(self) -> NDArray[np.bool_]:
        """Wavelengths at which every paint has K and S, (W,).

        Raises
        ------
        InputError
            Where the paints have too few wavelengths in common.
        """
        c = self.coefficients
        good = np.isfinite(np.concatenate([c.k, c.s])).all(axis=0)
        at = np.flatnonzero(good)
        if at.size < 16 or at[-1] - at[0] + 1 != at.size:
            raise InputError(
                None,
                ", ".join(c.paints),
                "were read over ranges that hardly overlap",
                StudioDo.LEAVE_ONE_OUT(),
            )
        return good

    @cached_property
    def strength(self) -> Array:
        """What one part of a paint counts for in a mix, (P,): its mean K + S.

        A share counted in strength moves the colour alike for a weak paint and a strong one.
        """
        c = self.coefficients
        _, s = self.raw
        light = weights(c.wavelengths[self.seen], self.view)[0].sum(axis=1)
        result: Array = (self.raw[0] + s) @ light / light.sum()
        return result

    @cached_property
    def raw(self) -> tuple[Array, Array]:
        """Absorption on the scale of two fluxes' K, and S, at the wavelengths seen, (P, V) each."""
        c = self.coefficients
        return c.absorption[:, self.seen], c.s[:, self.seen]

    @cached_property
    def optics(self) -> dict[Any, PaletteArrays | BothModels]:
        """The same in double and in single precision, scaled by `strength`."""
        by_model = self.coefficients.by_model
        made = [(share, self._optics(each)) for share, each in by_model]
        if len(made) == 1:
            return dict(made[0][1])
        return {kind: BothModels(tuple((w, each[kind]) for w, each in made)) for kind in KINDS}

    def _optics(self, c: Coefficients) -> dict[Any, PaletteArrays]:
        """Of one model's K and S."""
        k, s = (x[:, self.seen] / self.strength[:, None] for x in (c.absorption, c.s))
        surface, curve = c.surface, None
        if c.model == TRANSPORT:
            curve = opaque_polynomial(surface.geometry == "45:0")
        w, white = weights(c.wavelengths[self.seen], self.view)
        w = w / white
        # By two fluxes tau of the surface comes before the weights; transport's curve holds it.
        tau = surface.tau if curve is None else 1.0
        crowd = (c.crowding / self.strength)[:, None] * s
        s = (1 + c.crowding)[:, None] * s
        lift = surface.alpha * c.surface_offset
        own = np.stack([np.ones_like(lift), lift], axis=1)
        by_k, by_s, by_crowd = (
            tau * np.einsum("wc,pw->wcp", w, x).reshape(len(w), -1) for x in (k, -s, crowd)
        )
        made = {}
        for kind in KINDS:
            made[kind] = PaletteArrays(
                np.concatenate([k, s], axis=1).astype(kind),
                (tau * w).astype(kind),
                (surface.alpha * surface.k1 * w.sum(axis=0)).astype(kind),
                np.concatenate([by_k, by_s]).astype(kind),
                kind(surface.k2),
                None if curve is None else curve.astype(kind),
                (own / self.strength[:, None]).astype(kind),
                w.sum(axis=0).astype(kind),
                Crowds(crowd.astype(kind), by_crowd.astype(kind)) if crowd.any() else None,
            )
        return made

    def to_shares(self, counted: Array, tubes: Ints) -> Array:
        """Dry-volume fractions (..., M) of shares counted in strength, of the paints `tubes`."""
        f = counted / self.strength[tubes]
        result: Array = f / f.sum(axis=-1, keepdims=True)
        return result

    def to_masses(self, shares: Array, tubes: Ints) -> Array:
        """Mass fractions (..., M) of tube paint, of dry-volume fractions."""
        m = shares / self.coefficients.dry_volume[tubes]
        result: Array = m / m.sum(axis=-1, keepdims=True)
        return result

    def lab(self, shares: Array) -> Array:
        """CIELAB (N, 3) of dry-volume fractions (N, P)."""
        x = self.optics[np.float64].xyz(np.atleast_2d(shares) * self.strength)
        return np.stack(to_lab(x), axis=1)

    def reflectance(self, shares: Array) -> Array:
        """Reflectance (N, W) as read of dry-volume fractions (N, P); NaN where unread."""
        return self._read(shares, np.inf, 0.0)

    def _read(self, shares: Array, x: Array | float, under: Array | float) -> Array:
        """Reflectance (N, W) of films; NaN where unread."""
        r = np.full((len(shares), self.seen.size), np.nan)
        r[:, self.seen] = 0.0
        for share, c in self.coefficients.by_model:
            k, s = shares @ c.k[:, self.seen], c.scattering_shares(shares) @ c.s[:, self.seen]
            own = (shares @ c.surface_offset)[:, None]
            made = read_films(c.model, c.surface, np.maximum(k, _LEAST), s, x, under, own).r
            r[:, self.seen] += share * made
        return r

    def select(self, paints: Sequence[str]) -> Palette:
        """Return some of the paints, in that order."""
        return Palette(self.coefficients.select(paints), self.view)


class Crowds(NamedTuple):
    """What crowding takes of S, beside that which each paint has in the smallest share.

    Attributes
    ----------
    taken : (P, V) array
        Of the square of a share counted in strength, over the mix's volume.
    slopes : (V, 3 P) array
        From the slope by S to those of tristimulus values by that of each paint.
    """

    taken: Array
    slopes: Array


@dataclass(frozen=True)
class PaletteArrays:
    """Arrays of one precision for V wavelengths and P paints.

    Attributes
    ----------
    ks : (P, 2 V) array
        K beside S, that in the smallest share.
    weights : (V, 3) array
        From what is seen of a film to tristimulus values over the white's.
    offset : (3,) array
        What the surface adds.
    slopes : (2 V, 3 P) array
        From the slopes by K and by S to those of tristimulus values by each paint.
    k2 : float
        By two fluxes R / (1 - k2 R) is seen of a film of inside reflectance R.
    curve : (N,) array or None
        By transport a polynomial in 2 R - 1; see `opaque_polynomial`.
    own : (P, 2) array
        A share counted in strength as dry volume, and times what its own surface adds.
    bright : (3,) array
        Tristimulus values over the white's of a reflectance of 1.
    crowds : Crowds or None
        Where pigments crowd.
    """

    ks: Array
    weights: Array
    offset: Array
    slopes: Array
    k2: Any
    curve: Array | None
    own: Array
    bright: Array
    crowds: Crowds | None = None

    def _taken(self, counted: Array) -> Array:
        """What crowding takes of the mixes' S, (N, V)."""
        assert self.crowds is not None
        volume = counted @ self.own[:, 0]
        result: Array = (counted * counted) @ self.crowds.taken / volume[:, None]
        return result

    def _inside(self, counted: Array) -> tuple[Array, Array, Array, Array]:
        both = counted @ self.ks
        v = both.shape[1] // 2
        s = both[:, v:]
        if self.crowds is not None:
            s = s - self._taken(counted)
        q = np.maximum(both[:, :v] / s, _LEAST)
        root = np.sqrt(q * (q + 2))
        return s, q, root, 1 / (1 + q + root)

    def xyz(self, counted: Array) -> Array:
        """Tristimulus values over the white's, (N, 3), of shares counted in strength (N, P)."""
        r = self._inside(counted)[-1]
        if self.curve is None:
            seen = r / (1 - self.k2 * r)
        else:
            seen = np.full_like(r, self.curve[-1])
            r = 2 * r - 1
            for coefficient in self.curve[-2::-1]:
                seen *= r
                seen += coefficient
        volume, lift = (counted @ self.own).T
        result: Array = seen @ self.weights + self.offset
        result += (lift / volume)[:, None] * self.bright
        return result

    def xyz_and_slopes(self, counted: Array) -> tuple[Array, Array]:
        """As `xyz`, and its derivatives by the shares, (N, 3, P)."""
        s, q, root, r = self._inside(counted)
        both = np.empty((len(s), 2 * s.shape[1]), dtype=s.dtype)
        v = s.shape[1]
        if self.curve is None:
            over = 1 / (1 - self.k2 * r)
            seen = r * over
            moved = seen * over
        else:
            at = 2 * r - 1
            seen, slope = np.full_like(r, self.curve[-1]), np.zeros_like(r)
            for coefficient in self.curve[-2::-1]:
                slope *= at
                slope += seen
                seen *= at
                seen += coefficient
            moved = 2 * r * slope
        # With q = K/S: dR/dq = -R/root, dq/dK = 1/S, dq/dS = -q/S.
        np.divide(moved, root * s, out=both[:, :v])
        np.negative(both[:, :v], out=both[:, :v])
        np.multiply(both[:, :v], q, out=both[:, v:])
        volume, lift = (counted @ self.own).T
        mean = (lift / volume)[:, None]
        x = seen @ self.weights + self.offset + mean * self.bright
        slopes = (both @ self.slopes).reshape(len(s), 3, -1)
        if self.crowds is not None:
            by_s = both[:, v:]
            share = counted / volume[:, None]
            slopes += 2 * share[:, None] * (by_s @ self.crowds.slopes).reshape(slopes.shape)
            less = -(by_s * self._taken(counted)) @ self.weights / volume[:, None]
            slopes += less[..., None] * self.own[:, 0]
        by_own = (self.own[:, 1] - mean * self.own[:, 0]) / volume[:, None]
        slopes += by_own[:, None] * self.bright[:, None]
        return x, slopes


@dataclass(frozen=True)
class BothModels:
    """The mean of what models give, each by its share.

    Attributes
    ----------
    parts : tuple of (float, PaletteArrays)
    """

    parts: tuple[tuple[float, PaletteArrays], ...]

    def xyz(self, counted: Array) -> Array:
        """Tristimulus values; see `PaletteArrays.xyz`."""
        kind = counted.dtype.type
        made = [kind(share) * each.xyz(counted) for share, each in self.parts]
        return np.asarray(sum(made[1:], start=made[0]))

    def xyz_and_slopes(self, counted: Array) -> tuple[Array, Array]:
        """Tristimulus values and their derivatives; see `PaletteArrays.xyz_and_slopes`."""
        kind = counted.dtype.type
        made = [(kind(share), *each.xyz_and_slopes(counted)) for share, each in self.parts]
        (first, x, slopes), further = made[0], made[1:]
        x, slopes = first * x, first * slopes
        for share, more, steeper in further:
            x += share * more
            slopes += share * steeper
        return x, slopes


_EPSILON = (6 / 29) ** 3
_SLOPE = 1 / (3 * (6 / 29) ** 2)


def to_lab(x: Array) -> tuple[Array, Array, Array]:
    """CIELAB, each of its three in an array (N,), of tristimulus values over the white's (N, 3)."""
    f = [_f(x[:, i]) for i in range(3)]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


def _f(t: Array) -> Array:
    return np.where(t > _EPSILON, np.cbrt(np.maximum(t, _EPSILON)), _SLOPE * t + 4 / 29)


def lab_slopes(x: Array, dx: Array) -> Array:
    """Turn slopes of tristimulus values (N, 3, M) at `x` (N, 3) into those of CIELAB, (3, N, M)."""
    t = np.maximum(x, _EPSILON)
    slope = np.where(x > _EPSILON, 1 / (3 * np.cbrt(t) ** 2), _SLOPE)
    df = dx * slope[:, :, None]
    return np.stack([116 * df[:, 1], 500 * (df[:, 0] - df[:, 1]), 200 * (df[:, 1] - df[:, 2])])
