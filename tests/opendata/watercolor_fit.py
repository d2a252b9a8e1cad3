"""K and S of watercolor pigments from thin washes on paper, and what they predict of mixtures.

By transport they are mu_a and mu_s', on K's and S's own scales.

The quantity of paint on a patch stands for the film's thickness. Grainy paper spreads it: within a
patch the film is gamma-distributed about its mean. All wavelengths are solved at once, each a small
Gauss-Newton problem in log K and log S: of every pigment, or from ladders alone of one at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.kubelka_munk import FilmDerivatives
from tintladder.calibrate.optics.predict import read_films
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import Surface, to_inside
from tintladder.calibrate.optics.transport import OF_TWO_FLUXES, TRANSPORT

from .watercolor import PIGMENTS, STEPS, VIEW, WAVELENGTHS, Mixtures, Watercolors

NODES = 6
MOST_STEPS, SETTLED = 200, 1e-7


@dataclass(frozen=True)
class Settings:
    """What is chosen beforehand: the sets below, found on the train split.

    Attributes
    ----------
    haze : float
        Share of the surface reflection that the instrument sees.
    spread : float
        Coefficient of variation of the thickness within a patch.
    offset : float
        Reflectances count as (R + offset)^(1/3), much as they are seen.
    log_k, log_s : float
        What K and S (per 0.01 ml) are expected to be where the readings don't tell: an opaque
        ladder fixes only K/S.
    hold_k, hold_s : float
        How firmly.
    optical_weight : float
        Weight of the optical depth that the thinnest step's transmittance shows.
    dark : float
        Transmittance that is taken for none.
    clear : float
        Transmittance of no paint, at least 1, over that of the clearest thinnest step.
    ladder_weight : float
        Weight of a reading of a ladder beside one of a mixture.
    model : str
        ``two-flux`` or ``transport``.
    """

    haze: float
    spread: float
    offset: float
    log_k: float
    log_s: float
    hold_k: float
    hold_s: float
    optical_weight: float
    dark: float
    clear: float = 1.3
    ladder_weight: float = 1.0
    model: str = "two-flux"

    @property
    def surface(self) -> Surface:
        return Surface("di:8", "excluded", "satin", haze=self.haze)

    @property
    def nodes(self) -> Array:
        """Relative thicknesses of equal share within a patch, mean 1; (J, 1)."""
        shape = self.spread**-2
        nodes = gamma.ppf((np.arange(NODES) + 0.5) / NODES, shape)
        return (nodes / nodes.mean())[:, None]


# These two by the same search (`tune`) from settings that served before, to three figures.
LADDERS = Settings(
    haze=0.434,
    spread=0.613,
    offset=0.0672,
    log_k=1.3,
    log_s=-0.445,
    hold_k=0.00114,
    hold_s=0.0696,
    optical_weight=0.0318,
    dark=1.69e-4,
    clear=1.0342,
    ladder_weight=1.17,
)
LADDERS_BY_TRANSPORT = Settings(
    haze=0.484,
    spread=0.307,
    offset=0.179,
    log_k=-0.429,
    log_s=1.05,
    hold_k=0.00078,
    hold_s=0.0254,
    optical_weight=0.0232,
    dark=7.46e-4,
    clear=1.0023,
    ladder_weight=1.52,
    model=TRANSPORT,
)
WITH_MIXTURES = Settings(
    haze=0.31,
    spread=0.69,
    offset=0.046,
    log_k=-2.3,
    log_s=1.0,
    hold_k=0.0076,
    hold_s=0.022,
    optical_weight=0.0095,
    dark=9e-4,
    ladder_weight=0.1,
)


@dataclass(frozen=True)
class Washes:
    """K and S per 0.01 ml of paint on a patch, (P, W)."""

    k: Array
    s: Array
    paper: Array
    settings: Settings

    def predict(self, mixtures: Mixtures) -> Array:
        """Reflectance of mixtures, (N, W)."""
        result: Array = _read(_amounts(mixtures), self.k, self.s, self.paper, self.settings).r
        return result


def _amounts(mixtures: Mixtures) -> Array:
    """Quantity of every pigment in each mixture, (N, P)."""
    amounts = np.zeros((len(mixtures), PIGMENTS))
    np.put_along_axis(amounts, mixtures.pigments, mixtures.quantities.astype(float), axis=1)
    return amounts


def _read(amounts: Array, k: Array, s: Array, paper: Array, settings: Settings) -> FilmDerivatives:
    """What is read of patches, (N, W), and its derivatives by their K and S."""
    surface, x = settings.surface, settings.nodes
    of = OF_TWO_FLUXES if settings.model == TRANSPORT else np.ones(2)
    mixed = [(amounts @ v)[:, None] * scale for v, scale in zip((k, s), of, strict=True)]
    d = read_films(settings.model, surface, *mixed, x, to_inside(paper, surface))
    d = d._replace(d_k=d.d_k * of[0], d_s=d.d_s * of[1])
    return FilmDerivatives(*(part.mean(axis=1) for part in d))


def _density(k: Array, s: Array) -> tuple[Array, Array, Array]:
    """-ln of a unit film's transmittance (Kubelka 1948), and the slopes of its logarithm by log K
    and log S: by complex steps, exact to rounding."""

    def density(k: Array, s: Array) -> Array:
        u = np.sqrt(k * (k + 2 * s))
        e = np.exp(-2 * u)
        return u + np.log((1 + e + (k + s) / u * (1 - e)) / 2)

    tiny = 1e-20j
    value = density(k, s)
    by_k = density(k * (1 + tiny), s).imag / 1e-20
    by_s = density(k, s * (1 + tiny)).imag / 1e-20
    return value, by_k / value, by_s / value


def fit(
    data: Watercolors, mixtures: Mixtures | None = None, settings: Settings = LADDERS
) -> Washes:
    """Fit every pigment's K and S.

    Parameters
    ----------
    data : Watercolors
        Its ladders, and the transmittance of their thinnest step.
    mixtures : Mixtures, optional
        Mixtures to be fitted along with the ladders.
    settings : Settings
    """
    amounts = np.kron(np.eye(PIGMENTS), np.array(STEPS, float)[:, None])
    readings = data.ladder.reshape(-1, WAVELENGTHS.size)
    weight = np.full((len(readings), 1), settings.ladder_weight)
    # Only mixtures tie pigments together; one by one they settle in fewer steps.
    groups = np.arange(PIGMENTS)[:, None]
    if mixtures is not None:
        amounts = np.vstack([amounts, _amounts(mixtures)])
        readings = np.vstack([readings, mixtures.reflectance])
        weight = np.vstack([weight, np.ones((len(mixtures), 1))])
        groups = groups.T
    z = np.empty((2, PIGMENTS, WAVELENGTHS.size))
    for group in groups:
        rows = amounts[:, group].any(axis=1)
        patches = amounts[np.ix_(rows, group)], readings[rows], weight[rows]
        z[:, group] = _fit_group(data, group, *patches, settings)
    return Washes(*np.exp(z), data.paper, settings)


def _fit_group(
    data: Watercolors,
    group: NDArray[np.intp],
    amounts: Array,
    readings: Array,
    weight: Array,
    settings: Settings,
) -> Array:
    """Log K and log S, (2, G, W), of a group of G pigments from patches with no other pigment."""
    target = np.cbrt(readings + settings.offset)
    # Transmittance is relative to an unknown reference; the clearest wash comes near it.
    clear = settings.clear * data.transmittance.max(axis=(0, 1)) + settings.dark
    density = np.log(-np.log((data.transmittance[group, 0] + settings.dark) / clear))
    n, count = len(amounts), len(group)
    expected = np.repeat([settings.log_k, settings.log_s], count)[:, None]
    hold = np.repeat([settings.hold_k, settings.hold_s], count)[:, None]
    each = np.arange(count)

    def residuals(z: Array) -> tuple[Array, Array]:
        k, s = np.exp(z[:count]), np.exp(z[count:])
        d = _read(amounts, k, s, data.paper, settings)
        read = np.cbrt(d.r + settings.offset)
        by_k, by_s = (weight * by / (3 * read**2) for by in (d.d_k, d.d_s))
        shown, shown_k, shown_s = _density(k, s)
        shown = settings.optical_weight * (np.log(shown) - density)
        value = np.vstack([weight * (read - target), shown, hold * (z - expected)])

        jacobian = np.zeros((WAVELENGTHS.size, len(value), 2 * count))
        jacobian[:, :n, :count] = by_k.T[:, :, None] * amounts * k.T[:, None]
        jacobian[:, :n, count:] = by_s.T[:, :, None] * amounts * s.T[:, None]
        jacobian[:, n + each, each] = settings.optical_weight * shown_k.T
        jacobian[:, n + each, count + each] = settings.optical_weight * shown_s.T
        jacobian[:, n + count :] = np.diag(hold[:, 0])
        return value.T, jacobian

    z = _gauss_newton(residuals, np.repeat(expected, WAVELENGTHS.size, axis=1))
    return z.reshape(2, count, -1)


def _gauss_newton(residuals: Callable[[Array], tuple[Array, Array]], z: Array) -> Array:
    """Minimise squares for each column of z (Q, W) by itself, damped, until none gains any more;
    from residuals (W, M) and their derivatives (W, M, Q)."""
    damping = np.full(z.shape[1], 1e-2)
    value, jacobian = residuals(z)
    for _ in range(MOST_STEPS):
        turned = jacobian.transpose(0, 2, 1)
        normal = turned @ jacobian
        damped = normal * (1 + damping[:, None, None] * np.eye(len(z)))
        step = -np.linalg.solve(damped, turned @ value[..., None])[..., 0].T
        tried = z + np.clip(step, -1.5, 1.5)
        new_value, new_jacobian = residuals(tried)
        cost, gain = (value**2).sum(axis=1), ((value**2) - (new_value**2)).sum(axis=1)
        better = gain > 0
        z = np.where(better, tried, z)
        value = np.where(better[:, None], new_value, value)
        jacobian = np.where(better[:, None, None], new_jacobian, jacobian)
        damping = np.clip(damping * np.where(better, 0.3, 5.0), 1e-9, 1e9)
        # A gain is small at the end, or where damping keeps the step short.
        if ((np.abs(gain) < SETTLED * cost) | (damping > 1e6)).all():
            break
    return z


def differences(washes: Washes, mixtures: Mixtures) -> tuple[Array, Array]:
    """CIELAB 1976 difference and CIEDE2000 of each predicted mixture, D65 and 2 degrees."""
    predicted = lab(washes.predict(mixtures), WAVELENGTHS, VIEW)
    measured = lab(mixtures.reflectance, WAVELENGTHS, VIEW)
    return np.linalg.norm(predicted - measured, axis=1), ciede2000(predicted, measured)
