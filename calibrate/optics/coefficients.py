"""K and S of a set of paints, with everything that is known of their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import CalibrateDo, InputError
from .spectra import Array
from .surface import Surface
from .transport import OVER_TWO_FLUXES, TRANSPORT

TWO_FLUX: Final = "two-flux"
"""The name of the model whose coefficients are Kubelka's and Munk's K and S."""
ABSOLUTE = "absolute"
"""Scale of K and S in 1/mm. Any other scale reads ``relative to NICKNAME``: that white's S is 1."""

_BY_PAINT = (
    "k", "s", "local", "dry_volume", "density", "dry_volume_measured", "ratio_only", "scan_made",
    "mix_error", "part_error", "crowding", "surface_offset", "surface_error",
)  # fmt: skip
"""Arrays of which each row is a paint's, beside `own` and `factors`."""


def dry_volume_spread(measured: bool) -> float:
    """Relative standard uncertainty of a dry volume per gram.

    A lot's own figures are taken to hold to one in a hundred; a typical value to one in five.

    Examples
    --------
    >>> dry_volume_spread(measured=True), dry_volume_spread(measured=False)
    (0.01, 0.2)
    """
    return 0.01 if measured else 0.20


@dataclass(frozen=True)
class Coefficients:
    """K and S of paints, frozen.

    K and S belong to the dry volume per gram stated beside them: where that was assumed, a wrong
    belief is made good by K and S in every mix by weight, and matters only for a film of given dry
    thickness. So their uncertainty leaves it out, and a prediction of such a film adds it.

    K and S are positive, and where little is known of one it is known to a factor: take an interval
    of many standard uncertainties of log K, whose standard uncertainty is that of K over K.

    The covariance of everything here has three parts. `local` holds, for each paint and wavelength,
    the 2x2 covariance of (K, S) that belongs to that value alone. `own` holds what each value that
    one paint has to itself (the thickness of its drawdowns, its weighings) does to its K and S at
    all wavelengths, and `factors` what each value shared between paints (the white, an applicator)
    does to every K and S. Each is a standard normal variable; the arrays hold the change of (K, S)
    at one standard deviation. So between two values of one paint::

        cov = delta * local + sum over g of own[g] * own[g] + sum over f of factors[f] * factors[f]

    and between two paints the last sum alone.

    Attributes
    ----------
    paints : tuple of P str
        Nicknames.
    wavelengths : (W,) array, nm
    k, s : (P, W) array
        In 1/mm, or relative to a white (see `scale`). NaN where nothing was read.
    local : (P, 2, 2, W) array
    own : (P, G, 2, W) array
    factors : (F, P, 2, W) array
    factor_names : tuple of F str
    scale : str
        ``absolute``, or ``relative to NICKNAME``.
    surface : Surface
        The surface record that these K and S were fitted with and belong to.
    dry_volume : (P,) array, ml/g
        Dry volume that a gram of tube paint leaves.
    density : (P,) array, g/ml
        Density of the tube paint.
    dry_volume_measured : (P,) bool array
        False where a typical value was assumed.
    ratio_only : (P, W) bool array
        Where the film hid its substrate, so that only K/S is known.
    scan_made : (P,) bool array
    mix_error : (P,) array
        What two fluxes get wrong of a whole mix, as a relative standard uncertainty of its K; for
        each paint learnt on other paints than itself.
    part_error : (P,) array
        What the model gets wrong of a paint's part in a mix, as a relative standard uncertainty of
        its K there, and of its S: it crowds, or the others change how it lies.
    crowding : (P,) array
        By how much a paint's S grows from the paint alone to the smallest share of it, relative to
        that alone: among its like a pigment scatters less. See `scattering_shares`. A standard
        deviation as large counts for a paint's own, for one value is learnt for all.
    model_error : (W,) array
        What they get wrong at each wavelength, as a standard deviation of reflectance.
    surface_offset : (P,) array
        How far the reflection of each paint's own surface lies from that of `surface`, where it was
        fitted; of a mix the mean by dry volume. 0 by two fluxes, and where nothing tells.
    surface_error : (P,) array
        How far a film's own surface reflects from that, as a standard deviation of reflectance: one
        film is underbound and matt, another resinous.
    model : str
        ``two-flux``; or ``transport``: then `k` is the absorption mu_a and `s` the reduced
        scattering mu_s' (see `tintladder.calibrate.optics.transport`), as is all said of them here.
    share : float
        Of these in a prediction, where another model's stand beside them; else 1.
    beside : Coefficients or None
        The same paints' K and S by another model, where neither model is clearly the nearer. What
        is predicted is then the mean of both, and its covariance holds that they differ.

    Examples
    --------
    Of `fit_ladder`'s example, K of a rust and of its white at 480 nm:

    >>> found.paints, found.scale, found.k[:, 10].round(3).tolist()
    (('RUST', 'WHITE'), 'relative to WHITE', [1.333, 0.006])
    """

    paints: tuple[str, ...]
    wavelengths: Array
    k: Array
    s: Array
    local: Array
    own: Array
    factors: Array
    factor_names: tuple[str, ...]
    scale: str
    surface: Surface
    dry_volume: Array
    density: Array
    dry_volume_measured: NDArray[np.bool_]
    ratio_only: NDArray[np.bool_]
    scan_made: NDArray[np.bool_]
    mix_error: Array
    part_error: Array
    model_error: Array
    crowding: Array
    surface_offset: Array
    surface_error: Array
    model: str = field(default=TWO_FLUX)
    share: float = 1.0
    beside: Coefficients | None = None

    def scattering_shares(self, c: Array) -> Array:
        """What each paint's S counts for in mixes, of which S is the sum of these times S.

        Parameters
        ----------
        c : (..., P) array
            Dry-volume fractions.

        Returns
        -------
        (..., P) array

        Examples
        --------
        >>> crowded = replace(found, crowding=np.array([0.2, 0.2]))
        >>> crowded.scattering_shares(np.array([0.5, 0.5])).round(2).tolist()
        [0.55, 0.55]
        """
        result: Array = c * (1 + self.crowding * (1 - c))
        return result

    def index(self, paint: str) -> int:
        """Row of a paint.

        Raises
        ------
        KeyError
            Where it isn't among the paints.

        Examples
        --------
        >>> found.index("WHITE")
        1
        """
        try:
            return self.paints.index(paint)
        except ValueError:
            raise KeyError(paint) from None

    def select(self, paints: Sequence[str]) -> Coefficients:
        """Keep the given paints, in that order.

        Raises
        ------
        KeyError
            For one that isn't among the paints.

        Examples
        --------
        >>> found.select(["WHITE"]).s[:, 10].round(3).tolist()
        [1.0]
        """
        rows = np.array([self.index(p) for p in paints], dtype=np.intp)
        each: dict[str, Any] = {name: getattr(self, name)[rows] for name in _BY_PAINT}
        return replace(
            self,
            paints=tuple(paints),
            own=self.own[rows],
            factors=self.factors[:, rows],
            beside=self.beside and self.beside.select(paints),
            **each,
        )

    @property
    def by_model(self) -> tuple[tuple[float, Coefficients], ...]:
        """Each model's K and S by themselves, seen with this surface, and its share.

        Examples
        --------
        >>> [(share, each.model) for share, each in found.by_model]
        [(1.0, 'two-flux')]
        """
        alone = replace(self, share=1.0, beside=None)
        if self.beside is None:
            return ((1.0, alone),)
        surface = replace(self.surface, k2=self.beside.surface.k2)
        return (self.share, alone), (1 - self.share, replace(self.beside, surface=surface))

    @classmethod
    def concat(cls, parts: Sequence[Coefficients]) -> Coefficients:
        """Join coefficients of different paints.

        Parameters
        ----------
        parts : sequence of Coefficients
            No paint stands in two of them. Two have a factor in common where they name it alike:
            it is one value, that both share.

        Returns
        -------
        Coefficients
            The model's error is the larger one where they learnt different ones: no band is too
            narrow for it.

        Raises
        ------
        InputError
            Where they are of different scales, surfaces, grids or models: such K and S don't mix.

        Examples
        --------
        >>> whole = Coefficients.concat([found.select(["WHITE"]), found.select(["RUST"])])
        >>> whole.paints, len(whole.factors) == len(found.factors)
        (('WHITE', 'RUST'), True)
        """
        check_alike(parts)
        first, further = parts[0], [part.beside for part in parts if part.beside is not None]
        each: dict[str, Any] = {
            name: np.concatenate([getattr(part, name) for part in parts]) for name in _BY_PAINT
        }
        names = dict.fromkeys(name for part in parts for name in part.factor_names)
        place = {name: i for i, name in enumerate(names)}
        rows = np.cumsum([0, *(len(part.paints) for part in parts)])
        factors = np.zeros((len(names), rows[-1], 2, first.wavelengths.size))
        own = np.zeros(
            (rows[-1], max(part.own.shape[1] for part in parts), 2, first.wavelengths.size)
        )
        for start, end, part in zip(rows, rows[1:], parts, strict=False):
            at = np.array([place[name] for name in part.factor_names], dtype=np.intp)
            factors[at, start:end] = part.factors
            own[start:end, : part.own.shape[1]] = part.own
        return replace(
            first,
            paints=tuple(paint for part in parts for paint in part.paints),
            own=own,
            factors=factors,
            factor_names=tuple(names),
            model_error=np.max([part.model_error for part in parts], axis=0),
            beside=cls.concat(further) if further else None,
            **each,
        )

    @property
    def absorption(self) -> Array:
        """Absorption so scaled that over `s` it is K/S of two fluxes, or roughly that, (P, W).

        Examples
        --------
        K/S of the rust at 480 nm is 4; with mu_a and mu_s' of that ratio it is some 8/3 of it:

        >>> (found.absorption / found.s)[0, 10].round(2).item()
        4.0
        >>> (replace(found, model="transport").absorption / found.s)[0, 10].round(2).item()
        10.67
        """
        return self.k * OVER_TWO_FLUXES if self.model == TRANSPORT else self.k

    @property
    def covariance(self) -> Array:
        """Covariance of (K, S) of each paint at each wavelength, (P, 2, 2, W).

        Examples
        --------
        Standard uncertainty of K of the rust at 480 nm, which is 1.33:

        >>> np.sqrt(found.covariance[0, 0, 0, 10]).round(1).item()
        0.1
        """
        own = np.einsum("pgiw,pgjw->pijw", self.own, self.own)
        shared = np.einsum("fpiw,fpjw->pijw", self.factors, self.factors)
        total: Array = self.local + own + shared
        return total

    @property
    def uncertainty(self) -> tuple[Array, Array]:
        """Standard uncertainty of K and of S, (P, W) each, in their unit.

        Examples
        --------
        >>> u_k, u_s = found.uncertainty
        >>> u_k[0, 10].round(1).item(), u_s[0, 10].round(2).item()
        (0.1, 0.03)
        """
        covariance = self.covariance
        return np.sqrt(covariance[:, 0, 0]), np.sqrt(covariance[:, 1, 1])


def check_alike(parts: Sequence[Coefficients]) -> None:
    """Refuse coefficients that can't be used together.

    Parameters
    ----------
    parts : sequence of Coefficients

    Raises
    ------
    InputError
        Where they are of different scales, surfaces, grids or models.
    """
    first = parts[0]
    for part in parts[1:]:
        for what, same in (
            (f"scale ({first.scale}; {part.scale})", first.scale == part.scale),
            ("surface record", first.surface == part.surface),
            ("wavelengths", np.array_equal(first.wavelengths, part.wavelengths)),
            (f"model ({first.model}; {part.model})", first.model == part.model),
            ("second model", (first.share, not first.beside) == (part.share, not part.beside)),
        ):
            if not same:
                raise InputError(
                    None,
                    f"{', '.join(first.paints[:3])} and {', '.join(part.paints[:3])}",
                    f"their fits differ in {what}, so their K and S can't be used together",
                    CalibrateDo.FIT_TOGETHER(),
                )
