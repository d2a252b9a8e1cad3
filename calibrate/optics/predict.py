"""From a mix and its paints' K and S to what an instrument would read, and how surely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from . import transport
from .coefficients import Coefficients, dry_volume_spread
from .colour import D50, View, check_fraction, lab, lab_jacobian
from .colour_difference import ciede2000_band
from .kubelka_munk import FilmDerivatives, film_derivatives, opaque_derivatives
from .spectra import Array
from .surface import Surface, to_inside, to_measured


@dataclass(frozen=True)
class Prediction:
    """Predicted readings of M mixes, with their uncertainty.

    Attributes
    ----------
    wavelengths : (W,) array, nm
    reflectance : (M, W) array
    local : (M, W) array
        Variance that each wavelength has to itself.
    factors : (M, F, W) array
        Change at one standard deviation of each independent shared cause.

    Examples
    --------
    Of `fit_ladder`'s example, one part of the rust in four of its white, at 480 nm:

    >>> mix = predict_mixes(found, {"RUST": 1, "WHITE": 4})
    >>> mix.reflectance[0, 10].round(3).item(), mix.uncertainty[0, 10].round(2).item()
    (0.287, 0.01)
    """

    wavelengths: Array
    reflectance: Array
    local: Array
    factors: Array

    @property
    def uncertainty(self) -> Array:
        """Standard uncertainty of the reflectance, (M, W).

        Examples
        --------
        >>> predict_mixes(found, {"WHITE": 1}).uncertainty[0, 10].round(2).item()
        0.01
        """
        result: Array = np.sqrt(self.local + (self.factors**2).sum(axis=1))
        return result

    @classmethod
    def averaged(cls, parts: Sequence[tuple[float, Prediction]]) -> Prediction:
        """Return the mean of predictions of the same mixes by several models.

        Parameters
        ----------
        parts : sequence of (float, Prediction)
            How likely each is the nearer one; they sum to 1.

        Returns
        -------
        Prediction
            Its covariance is that of a mixture of distributions: the mean of theirs, and that of
            their means.
        """
        if len(parts) == 1:
            return parts[0][1]
        mean = np.sum([share * each.reflectance for share, each in parts], axis=0)
        factors = []
        for share, each in parts:
            factors.append(np.sqrt(share) * each.factors)
            factors.append(np.sqrt(share) * (each.reflectance - mean)[:, None])
        local = np.sum([share * each.local for share, each in parts], axis=0)
        return cls(parts[0][1].wavelengths, mean, local, np.concatenate(factors, axis=1))

    def lab(self, view: View = D50) -> Array:
        """CIELAB, (M, 3).

        Examples
        --------
        >>> predict_mixes(found, {"RUST": 1, "WHITE": 4}).lab()[:, 0].round(1).tolist()
        [60.5]
        """
        return lab(self.reflectance, self.wavelengths, view)

    def lab_covariance(self, view: View = D50) -> Array:
        """Covariance of CIELAB, (M, 3, 3), to first order (JCGM 100).

        Examples
        --------
        Standard uncertainty of L*:

        >>> mix = predict_mixes(found, {"RUST": 1, "WHITE": 4})
        >>> np.sqrt(mix.lab_covariance()[:, 0, 0]).round(1).tolist()
        [0.3]
        """
        slope = lab_jacobian(self.reflectance, self.wavelengths, view)
        # What is unknown because nothing was read there moves no colour.
        read = ~np.isnan(self.reflectance)
        factors = np.where(read[:, None], self.factors, 0.0)
        moved = np.einsum("miw,mfw->mif", slope, factors)
        own = np.einsum("miw,mw,mjw->mij", slope, np.where(read, self.local, 0.0), slope)
        result: Array = own + np.einsum("mif,mjf->mij", moved, moved)
        return result

    def band(self, view: View = D50) -> Array:
        """CIEDE2000 that each true colour stays within with 95 % probability, (M,).

        Examples
        --------
        >>> predict_mixes(found, {"RUST": 1, "WHITE": 4}).band().round().tolist()
        [2.0]
        """
        return ciede2000_band(self.lab(view), self.lab_covariance(view))


def predict_mixes(
    coefficients: Coefficients,
    masses: Mapping[str, float] | Sequence[Mapping[str, float]],
    thickness_um: float | Sequence[float] | Array | None = None,
    bare: Array | None = None,
    surface: Surface | None = None,
) -> Prediction:
    """Predict what an instrument reads of mixes weighed from tubes, and how surely.

    Parameters
    ----------
    coefficients : Coefficients
    masses : mapping of nickname to g, or a sequence of M of them
        Grams, or parts by weight, of tube paint.
    thickness_um : float or (M,) array, µm, optional
        Dry film thickness; without it the films hide their substrate.
    bare : (W,) or (M, W) array, optional
        The bare substrate of such films, as read, at the wavelengths of the coefficients.
    surface : Surface, optional
        The surface to predict for; by default the one fitted.

    Returns
    -------
    Prediction

    Raises
    ------
    ValueError
        For a paint without coefficients, a film without substrate or of coefficients relative to a
        white, shapes that disagree, or a substrate in percent or darker than its surface.

    Examples
    --------
    Of `fit_ladder`'s example, lightness of two mixes, and what each stays within:

    >>> mixes = predict_mixes(found, [{"RUST": 1, "WHITE": 4}, {"RUST": 1, "WHITE": 20}])
    >>> mixes.lab()[:, 0].round(1).tolist(), mixes.band().round().tolist()
    ([60.5, 75.5], [2.0, 1.0])
    """
    mixes = [masses] if isinstance(masses, Mapping) else list(masses)
    if strange := sorted({p for mix in mixes for p in mix} - set(coefficients.paints)):
        known = ", ".join(coefficients.paints)
        raise ValueError(f"there are no K and S of {', '.join(strange)}, only of {known}")
    if not all(sum(mix.values()) > 0 <= min(mix.values()) for mix in mixes):
        raise ValueError("each mix needs masses, none negative and some above zero")
    thickness = None if thickness_um is None else np.broadcast_to(thickness_um, len(mixes)) * 1e-3
    under = None
    if bare is not None:
        check_fraction(bare)
        card = replace(coefficients.surface, gloss="gloss", haze=0.0)
        under = np.atleast_2d(to_inside(np.asarray(bare, dtype=float), card))
        if np.fmin.reduce(under, axis=None, initial=0.0) < 0:
            raise ValueError("the bare substrate reads darker than its surface alone")
    return predict(coefficients, dry_fractions(coefficients, mixes), thickness, under, surface)


def dry_fractions(coefficients: Coefficients, masses: Sequence[Mapping[str, float]]) -> Array:
    """Dry-volume fractions of mixes given in grams (or parts by mass) of tube paint.

    Parameters
    ----------
    coefficients : Coefficients
    masses : sequence of M mappings of nickname to g

    Returns
    -------
    (M, P) array
        Each row sums to 1.

    Raises
    ------
    KeyError
        For a paint that the coefficients don't have.

    Examples
    --------
    >>> dry_fractions(found, [{"RUST": 1, "WHITE": 4}]).tolist()
    [[0.2, 0.8]]
    """
    out = np.zeros((len(masses), len(coefficients.paints)))
    for i, mix in enumerate(masses):
        for paint, mass in mix.items():
            out[i, coefficients.index(paint)] += mass
    out *= coefficients.dry_volume
    result: Array = out / out.sum(axis=1, keepdims=True)
    return result


def volume_solids(coefficients: Coefficients, masses: Sequence[Mapping[str, float]]) -> Array:
    """Dry over wet volume of mixes given in grams.

    Parameters
    ----------
    coefficients : Coefficients
    masses : sequence of M mappings of nickname to g

    Returns
    -------
    (M,) array

    Examples
    --------
    >>> volume_solids(found, [{"RUST": 1, "WHITE": 4}]).round(2).tolist()
    [0.4]
    """
    dry, wet = np.zeros(len(masses)), np.zeros(len(masses))
    for i, mix in enumerate(masses):
        for paint, mass in mix.items():
            at = coefficients.index(paint)
            dry[i] += mass * coefficients.dry_volume[at]
            wet[i] += mass / coefficients.density[at]
    return dry / wet


def predict(
    coefficients: Coefficients,
    fractions: Array,
    thickness: Array | None = None,
    substrate: Array | None = None,
    surface: Surface | None = None,
) -> Prediction:
    """Predict what an instrument reads of mixes.

    Parameters
    ----------
    coefficients : Coefficients
    fractions : (M, P) array
        Dry-volume fractions.
    thickness : (M,) array, mm, optional
        Dry film thickness; infinite, or None, for opaque films.
    substrate : (M, W) array, optional
        Inside reflectance of the substrate; needed with a finite thickness.
    surface : Surface, optional
        The surface to predict for; by default the one fitted. Its k2 must be the fitted one.

    Returns
    -------
    Prediction

    Raises
    ------
    ValueError
        Where a film is asked of relative coefficients, or without a substrate, or where the surface
        isn't the one that K and S belong to.
    """
    surface = surface or coefficients.surface
    if abs(surface.k2 - coefficients.surface.k2) > 1e-9:
        raise ValueError("K and S belong to the k2 they were fitted with")
    c = np.atleast_2d(fractions)
    if c.shape[1] != len(coefficients.paints):
        raise ValueError(f"fractions {c.shape} for {len(coefficients.paints)} paints")
    x = np.full(len(c), np.inf) if thickness is None else np.asarray(thickness, dtype=float)
    thin = np.isfinite(x)
    under: Array | float = 0.0
    if thin.any():
        if coefficients.scale != "absolute":
            raise ValueError(f"a film needs K and S in 1/mm; these are {coefficients.scale}")
        if substrate is None:
            raise ValueError("a film needs its substrate")
        if np.shape(substrate)[-1] != coefficients.wavelengths.size:
            raise ValueError(
                f"the substrate has {np.shape(substrate)[-1]} values, K and S "
                f"{coefficients.wavelengths.size} wavelengths; bring it to theirs with to_grid"
            )
        under = np.where(thin[:, None], substrate, 0.0)
    return Prediction.averaged(
        [
            (share, _by_one_model(each, c, x, under, replace(surface, k2=each.surface.k2)))
            for share, each in coefficients.by_model
        ]
    )


def _by_one_model(
    coefficients: Coefficients, c: Array, x: Array, under: Array | float, surface: Surface
) -> Prediction:
    """Predict by the first model alone; see `predict`."""
    by_s = coefficients.scattering_shares(c)
    k, s, thin = c @ coefficients.k, by_s @ coefficients.s, np.isfinite(x)
    own_surface = (c @ coefficients.surface_offset)[:, None]
    seen = read_films(coefficients.model, surface, k, s, x[:, None], under, own_surface)
    dk, ds, dx = seen.d_k, seen.d_s, np.where(thin, x, 0.0)[:, None] * seen.d_x
    both = np.stack([dk, ds], axis=1)
    felt = np.stack([c, by_s], axis=2)[..., None] * both[:, None]
    local = np.einsum("mpiw,pijw,mpjw->mw", felt, coefficients.local, felt)
    shared = np.einsum("mpiw,fpiw->mfw", felt, coefficients.factors)
    own = np.einsum("mpiw,pgiw->mpgw", felt, coefficients.own)
    used = c.any(axis=0)
    own = own[:, used].reshape(c.shape[0], -1, k.shape[1])
    # A gram that leaves more dry volume than believed makes less of a film of given thickness.
    spread = np.array([dry_volume_spread(bool(m)) for m in coefficients.dry_volume_measured])
    volume = (c * spread)[:, used, None] * dx[:, None, :]
    # Half of what is wrong at a wavelength is wrong at all of them, half each for itself.
    model = np.broadcast_to(np.sqrt(0.5) * coefficients.model_error, (len(c), 1, k.shape[1]))
    local = local + model[:, 0] ** 2
    # A paint alone was fitted as it is; only a mix is beyond what was read.
    mixed = (c > 0).sum(axis=1) > 1
    bent = (dk * k * (mixed * (c @ coefficients.mix_error))[:, None])[:, None, :]
    whole = np.stack([coefficients.k, coefficients.s], axis=1)[used]
    wrong = (mixed[:, None] * coefficients.part_error)[:, used, None, None]
    part = (felt[:, used] * whole * wrong).reshape(len(c), -1, k.shape[1])
    # One value of crowding is learnt for all paints: a paint's own may be none, or twice that.
    crowded = (ds[:, None] * coefficients.s * (by_s - c)[..., None])[:, used]
    # What a film's own surface throws back doesn't get in.
    inside = seen.r - surface.alpha * (surface.k1 + own_surface)
    matt = ((c @ coefficients.surface_error)[:, None] * (1 - inside))[:, None]
    factors = np.concatenate([shared, own, volume, bent, part, crowded, model, matt], axis=1)
    return Prediction(coefficients.wavelengths, seen.r, local, factors)


def read_films(
    model: str,
    surface: Surface,
    k: Array,
    s: Array,
    x: Array | float,
    rg: Array | float,
    offset: Array | float = 0.0,
) -> FilmDerivatives:
    """What an instrument reads of films, and the derivatives of that; broadcast shapes.

    Parameters
    ----------
    model : str
        Says what `k` and `s` are (see `Coefficients`).
    surface : Surface
    k, s : array
    x : array, mm
        Dry film thickness; infinite where opaque.
    rg : array
        Inside reflectance of the substrate.
    offset : array
        How far the reflection of the film's own surface lies from that of `surface`.

    Returns
    -------
    FilmDerivatives
    """
    hides = np.isinf(x)
    if model == transport.TRANSPORT:
        depth = np.where(hides, transport.OPAQUE, x)
        seen = transport.film_derivatives(k, s, depth, rg, surface.geometry == "45:0")
        return seen._replace(r=surface.alpha * (surface.k1 + offset) + seen.r)
    if hides.any():
        made = FilmDerivatives(*opaque_derivatives(k, s), np.zeros(1), np.zeros(1))
    if not hides.all():
        film = film_derivatives(k, s, np.where(hides, 1.0, x), np.asarray(rg))
        if hides.any():
            film = FilmDerivatives(*map(np.where, [hides] * 5, made, film))
        made = film
    slope = surface.tau / (1 - surface.k2 * made.r) ** 2
    read = to_measured(made.r, surface) + surface.alpha * offset
    return FilmDerivatives(read, *(slope * d for d in made[1:]))
