"""Recipes for a film that lets its ground show: a glaze, or one thin coat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ...calibrate.optics.colour import D50, View, ciede2000, weights
from ...calibrate.optics.colour_difference import ciede2000_residual
from ...calibrate.optics.predict import Prediction, predict
from ...calibrate.optics.spectra import GRID, Array
from ..common.stopping import go_on
from .palette import Ints, Palette, to_lab
from .prediction import CARD_BLACK, CARD_WHITE
from .search import LITTLE, Solutions, dense

GROUNDS = {"white": CARD_WHITE, "black": CARD_BLACK}
"""Inside reflectance of what may lie below."""
_GONE_ON_WITH = 1500
"""Sets of each size that are bettered: those whose first guess lies nearest."""
_STEPS, _LONGEST, _NUDGE = 20, 1.5, 1e-3
_LEAST_SHARE = 1e-3
"""Share, as `_counts` has it, under which a paint has left a mix."""
_THINS = 0.1
"""What a clear paint counts for at least, as a share of the usual strength."""


@dataclass(frozen=True)
class Ground:
    """What lies below a film.

    Attributes
    ----------
    said : str
        What it was taken for.
    inside : tuple of float
        Reflectance inside at each wavelength of the inside grid; NaN where unread.
    others : tuple of the same
        What else it may be, where only its colour is known.
    """

    said: str
    inside: tuple[float, ...]
    others: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True)
class Film:
    """Dry films of one mix over a ground.

    Attributes
    ----------
    thickness_um : float
        Of each coat.
    over : str
        A key of `GROUNDS`, or what `ground` is said to be.
    ground : Ground or None
        None: that of `GROUNDS`.
    """

    thickness_um: float
    over: str = "white"
    ground: Ground | None = None
    coats: int = 1

    @classmethod
    def on(cls, thickness_um: float, ground: Ground, coats: int = 1) -> Film:
        """Return films over a ground of one's own."""
        return cls(thickness_um, ground.said, ground, coats)

    @property
    def whole_um(self) -> float:
        """Thickness of all coats."""
        return self.coats * self.thickness_um

    @property
    def words(self) -> str:
        """The film: ``a dry film of 40 µm over white``."""
        if self.coats == 1:
            return f"a dry film of {self.thickness_um:g} µm over {self.over}"
        return f"{self.coats} coats, each a dry film of {self.thickness_um:g} µm, over {self.over}"

    @property
    def inside(self) -> Array:
        """Reflectance of the ground inside, (W,)."""
        if self.ground is None:
            return np.full(GRID.size, GROUNDS[self.over])
        return np.array(self.ground.inside)

    @property
    def said(self) -> dict[str, Any]:
        """What is kept of it with a recipe."""
        said: dict[str, Any] = {"thickness_um": self.thickness_um, "over": self.over}
        if self.ground is None:
            return said
        read = [None if np.isnan(r) else round(r, 6) for r in self.ground.inside]
        return said | {"coats": self.coats, "ground": read}

    @classmethod
    def of_kept(cls, said: Mapping[str, Any]) -> Film:
        """Return the film that is kept with a recipe."""
        if "ground" not in said:
            return cls(said["thickness_um"], said["over"])
        inside = tuple(np.nan if r is None else float(r) for r in said["ground"])
        return cls.on(said["thickness_um"], Ground(said["over"], inside), said["coats"])


@dataclass(frozen=True)
class FilmPalette(Palette):
    """Paints to mix, as films of one thickness over one ground."""

    film: Film | None = None

    @classmethod
    def of(cls, coefficients: Coefficients, film: Film | None, view: View = D50) -> Palette:
        """Return the paints as films; as opaque without one.

        Raises
        ------
        InputError
            For a film of paints whose K and S are relative to a white, or over no known ground.
        """
        if film is None:
            return Palette(coefficients, view)
        if coefficients.scale != ABSOLUTE:
            raise InputError(
                Field("thickness"), None,
                f"K and S of these paints are {coefficients.scale}: how thin a film hides is "
                "unknown", "leave it out, or read a drawdown of known thickness",
            )  # fmt: skip
        if film.ground is None and film.over not in GROUNDS:
            raise InputError(
                Field("over"), film.over, f"expected {' or '.join(GROUNDS)}", "choose one"
            )
        return cls(coefficients, view, film)

    @cached_property
    def seen(self) -> NDArray[np.bool_]:
        """Wavelengths at which every paint has K and S, and the ground was read, (W,)."""
        assert self.film is not None
        found: NDArray[np.bool_] = Palette(self.coefficients).seen & np.isfinite(self.film.inside)
        return found

    def lab(self, shares: Array) -> Array:
        """CIELAB (N, 3) of dry-volume fractions (N, P)."""
        w, white = weights(self.coefficients.wavelengths[self.seen], self.view)
        return np.stack(to_lab(self.reflectance(shares)[:, self.seen] @ w / white), axis=1)

    def reflectance(self, shares: Array) -> Array:
        """Reflectance (N, W) as read of dry-volume fractions (N, P); NaN where unread."""
        assert self.film is not None
        x = np.array([[self.film.whole_um * 1e-3]])
        return self._read(np.atleast_2d(shares), x, self.film.inside[self.seen])


def predict_as(palette: Palette, coefficients: Coefficients, shares: Array) -> Prediction:
    """Predict mixes (N, P) of some of a palette's paints, opaque or as its films."""
    film = palette.film if isinstance(palette, FilmPalette) else None
    if film is None:
        return predict(coefficients, shares)
    ground = np.broadcast_to(film.inside, (len(shares), coefficients.wavelengths.size))
    return predict(coefficients, shares, np.full(len(shares), film.whole_um * 1e-3), ground)


def bettered(palette: Palette, solved: Solutions, target: Array) -> Array:
    """Go on from the best opaque mixes of sets of one size to the best films, (N, P).

    Parameters
    ----------
    palette : Palette
        Of films.
    solved : Solutions
        Of one target, opaque.
    target : (3,) array
        CIELAB.

    Notes
    -----
    Damped Gauss-Newton steps in the logarithms of the shares, slopes taken by small steps. Sets
    with a paint that leaves are those of fewer, and are dropped.
    """
    tubes, size = solved.tubes, solved.tubes.shape[1]
    counts = _counts(palette)
    strong = solved.shares[0] * counts[tubes]
    strong = np.maximum(strong / strong.sum(axis=1, keepdims=True), LITTLE)
    starts = [strong, np.full_like(strong, 1 / size)]
    # Let down with each of its paints in turn: the clear medium may be one.
    starts += [
        np.where(np.arange(size) == i, 1, LITTLE) * np.ones_like(strong) for i in range(size)
    ]
    off = np.array([ciede2000(_lab(palette, tubes, np.log(start)), target) for start in starts])
    theta = np.log(np.array(starts)[off.argmin(axis=0), np.arange(len(tubes))])
    rows = np.argsort(off.min(axis=0), kind="stable")[:_GONE_ON_WITH]
    tubes, theta = tubes[rows], theta[rows]
    here = ciede2000_residual(_lab(palette, tubes, theta), target)
    damping = np.full(len(tubes), 1e-2)
    for _ in range(_STEPS if size > 1 else 0):
        go_on()
        moved = [
            ciede2000_residual(_lab(palette, tubes, theta + _NUDGE * unit), target) - here
            for unit in np.eye(size)
        ]
        slopes = np.stack(moved, axis=2) / _NUDGE
        normal = slopes @ slopes.transpose(0, 2, 1)
        room = damping * (np.trace(normal, axis1=1, axis2=2) + 1e-9)
        wanted = np.linalg.solve(normal + room[:, None, None] * np.eye(3), here[:, :, None])
        step = -(slopes.transpose(0, 2, 1) @ wanted)[:, :, 0]
        step *= np.minimum(1, _LONGEST / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-9))
        there = ciede2000_residual(_lab(palette, tubes, theta + step), target)
        better = (there**2).sum(axis=1) < (here**2).sum(axis=1)
        theta = np.where(better[:, None], theta + step, theta)
        here = np.where(better[:, None], there, here)
        damping = np.clip(np.where(better, damping / 4, damping * 5), 1e-6, 1e3)
    counted = np.exp(theta - theta.max(axis=1, keepdims=True))
    counted /= counted.sum(axis=1, keepdims=True)
    whole = (counted > _LEAST_SHARE).all(axis=1)
    return _mixed(palette, tubes[whole], theta[whole])


def _counts(palette: Palette) -> Array:
    """What one part of a paint counts for, (P,): its strength; a clear medium still thins."""
    result: Array = np.maximum(palette.strength, _THINS * np.median(palette.strength))
    return result


def _mixed(palette: Palette, tubes: Ints, theta: Array) -> Array:
    """Dry-volume fractions (N, P) of the logarithms of shares of sets, so counted (N, M)."""
    shares = np.exp(theta - theta.max(axis=1, keepdims=True)) / _counts(palette)[tubes]
    shares /= shares.sum(axis=1, keepdims=True)
    return dense(tubes, shares, len(palette.paints))


def _lab(palette: Palette, tubes: Ints, theta: Array) -> Array:
    """CIELAB (N, 3) of the logarithms of shares of sets (N, M)."""
    return palette.lab(_mixed(palette, tubes, theta))
