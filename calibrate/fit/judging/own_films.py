"""What a paint's own films over black and white say of how thick a film its K and S need.

K and S answer to every step of a ladder. Two fluxes see a deep clear film's absorption and a tint's
differently, so a film as thick as the card says shows its substrate more, or less, than K and S
have it. Whatever is said of hiding is set right by that. The radiative-transfer model needs
no such word: what its films are off by there is their thickness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...cards.card import BARE, SUBSTRATES
from ...cards.readings import CardReadings
from ...cards.weighing import composition
from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.colour import View, weights, xyz
from ...optics.predict import read_films, volume_solids
from ...optics.spectra import Array
from ...optics.surface import haze_prior, to_inside
from ...optics.transport import TRANSPORT
from ..problem.noise import reading_sd
from ..problem.settings import FitSettings
from ..uncertainty.propagate import read_by_all

UNTRIED = 0.30
"""What two fluxes get wrong of a thickness that hides, relative, where no film of the paint shows
its substrate. Rounded from what ladders of the virtual paint lab's nominal variant showed."""
_THINNEST, _THICKEST = 1e-4, 10.0
_SEEN = 3.0
"""Standard uncertainties by which black and white must differ for a film to tell anything."""


@dataclass(frozen=True)
class OwnFilm:
    """One drawdown of the paint alone, read over black and white.

    Attributes
    ----------
    thickness_um : float
        Dry, as measured or as the gap and the volume solids lead one to expect.
    contrast : float
        Yb/Yw as read, over the card's own black and white.
    shift : float
        Logarithm of that thickness over the one at which K and S show the substrate as much; NaN
        where the film shows none.
    noise : float
        Standard uncertainty of `shift` from the readings alone.
    spread : float
        Standard uncertainty of the thickness against others of the same applicator.
    """

    card: str
    step: str
    thickness_um: float
    contrast: float
    shift: float
    noise: float
    spread: float


@dataclass(frozen=True)
class Anchor:
    """How far K and S are off on films, and on films of what thickness that is known.

    Attributes
    ----------
    shift, uncertainty : float
        Logarithm of a thickness as painted over the one that K and S need; see `OwnFilm`.
    thickness_um : float
        Of the films that say so.
    hidden : bool
        Whether every film hid its substrate, so that none says more than that; `thickness_um` is
        the thinnest.
    """

    shift: float
    uncertainty: float
    thickness_um: float
    hidden: bool = False


def own_films(
    coefficients: Coefficients,
    paint: str,
    readings: Sequence[CardReadings],
    view: View,
    settings: FitSettings | None = None,
) -> tuple[OwnFilm, ...]:
    """Find the films of a paint alone among card readings, and compare them with its K and S.

    Empty for relative K and S; films of unknown thickness are left out.

    Parameters
    ----------
    coefficients : Coefficients
    paint : str
        Nickname.
    readings : sequence of CardReadings
    view : View
        Light and observer.
    settings : FitSettings, optional

    Returns
    -------
    tuple of OwnFilm
    """
    settings = settings or FitSettings()
    if coefficients.scale != ABSOLUTE:
        return ()
    found = []
    for r in readings:
        if paint not in r.card.paints:
            continue
        made = composition(r.card)
        alone = made.fractions[:, made.paints.index(paint)] > 1 - 1e-9
        for d, mine in zip(r.card.drawdowns, alone, strict=True):
            patches = [f"{d.step}/{over}" for over in SUBSTRATES]
            bare = [f"{BARE}/{over}" for over in SUBSTRATES]
            if not mine or d.opaque or not all(r.rows(p).size for p in patches + bare):
                continue
            if d.thickness_um is not None:
                x, spread = d.thickness_um * 1e-3, settings.measured_spread
            else:
                solids = float(volume_solids(coefficients, [{paint: 1.0}])[0])
                x = float(d.gap_um or 0.0) * 1e-3 * settings.transfer * solids
                spread = float(np.hypot(settings.session_spread, settings.drawdown_spread))
            if x == 0:
                # Neither a thickness nor a gap was written down.
                continue
            c = read_by_all(coefficients, [paint])
            at = np.isin(coefficients.wavelengths, c.wavelengths)
            read = np.array([r.read(p)[:, at].mean(axis=0) for p in patches])
            if np.isnan(read).any():
                continue
            repeats = np.array([r.rows(p).size for p in patches])
            card = replace(r.surface, k2=c.surface.k2, n=c.surface.n)
            under = to_inside(np.array([r.read(p)[:, at].mean(axis=0) for p in bare]), card)
            c = replace(c, surface=replace(card, gloss=d.surface, haze=haze_prior(d.surface)[0]))
            variance = reading_sd(read, settings) ** 2 / repeats[:, None]
            # X + Y + Z: unlike a CIELAB difference it never grows with thickness.
            seen = weights(c.wavelengths, view)[0].sum(axis=1)
            apart = float(seen @ (read[1] - read[0]))
            sd = float(np.sqrt(seen**2 @ variance.sum(axis=0)))
            shift, noise = np.nan, np.nan
            if apart > _SEEN * sd:
                shift, noise = _shift(c, x, under, seen, apart, sd)
            bright = xyz(read, c.wavelengths, view)[:, 1]
            found.append(
                OwnFilm(
                    r.card.name,
                    d.step,
                    x * 1e3,
                    float(bright[0] / bright[1]),
                    shift,
                    noise,
                    spread,
                )
            )
    return tuple(found)


def _shift(
    c: Coefficients, x: float, under: Array, seen: Array, apart: float, sd: float
) -> tuple[float, float]:
    """Logarithm of a thickness over the one that K and S need to show as much, and its noise."""

    def beyond(log_x: float) -> float:
        x = float(np.exp(log_x))
        r = read_films(c.model, c.surface, c.k[0], c.s[0], x, under, c.surface_offset[0]).r
        return float(seen @ (r[1] - r[0])) - apart

    low, high = np.log(_THINNEST), np.log(_THICKEST)
    if beyond(low) < 0 or beyond(high) > 0:
        return np.nan, np.nan
    from scipy.optimize import brentq

    same = float(brentq(beyond, low, high, xtol=1e-10))
    step = 1e-4
    slope = (beyond(same + step) - beyond(same - step)) / (2 * step)
    return float(np.log(x) - same), sd / abs(slope)


def anchor(films: Sequence[OwnFilm], model: str) -> Anchor | None:
    """Mean of what the films say, the surest first; None without films.

    By transport they say no more than whether all of them hid their substrate.

    Parameters
    ----------
    films : sequence of OwnFilm
    model : str
        That of the films.

    Returns
    -------
    Anchor or None
    """
    seen = [f for f in films if np.isfinite(f.shift)]
    if not seen:
        hid = min((f.thickness_um for f in films), default=None)
        return None if hid is None else Anchor(0.0, UNTRIED, hid, hidden=True)
    if model == TRANSPORT:
        return None
    variance = np.array([f.noise**2 + f.spread**2 for f in seen])
    weight = (1 / variance) / (1 / variance).sum()
    return Anchor(
        float(weight @ [f.shift for f in seen]),
        float(np.sqrt(1 / (1 / variance).sum())),
        float(np.exp(weight @ np.log([f.thickness_um for f in seen]))),
    )
