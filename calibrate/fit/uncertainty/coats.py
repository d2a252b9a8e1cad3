"""Mixtures that were brushed out judge a fit at the thickness that their own pair shows.

What shows its substrate is no opaque film, and nobody knows how thick it is; but over black and
over white it is the same film. So of each such step one number, its thickness, is found from what
was read of it, and everything else of the pair judges.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from ...cards.card import SUBSTRATES, Drawdown
from ...cards.readings import CardReadings
from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.predict import Prediction, predict, read_films
from ...optics.spectra import Array
from ...optics.surface import Surface, to_inside
from ..problem.brushed import brushed_out, log_coat, white_scattering
from ..problem.noise import bare_means, patch_mean
from ..problem.settings import FitSettings
from ..solver.patch_thickness import patch_thickness

_TRIED = np.linspace(-3.0, 3.0, 181)
"""Logarithms of thicknesses tried, over what a brush is believed to leave."""
_MODEL = 0.02
"""What a model may get wrong of a reading meanwhile, relative (our choice)."""


@dataclass
class Coats:
    """Brushed films of check cards, as coefficients predict them.

    Attributes
    ----------
    coefficients : Coefficients
    settings : FitSettings
    brushed : list of bool
        Of each patch to be predicted, whether it is one.
    """

    coefficients: Coefficients
    settings: FitSettings
    brushed: list[bool] = field(default_factory=list)

    @cached_property
    def films(self) -> Coefficients:
        """The coefficients in 1/mm: where they are relative, those of a typical white.

        Only for films whose thickness is found in the same unit: as answers they are guesses.
        """
        c = self.coefficients
        if c.scale == ABSOLUTE:
            return c
        f = white_scattering(c.wavelengths)
        return replace(
            c,
            k=c.k * f,
            s=c.s * f,
            local=c.local * f**2,
            own=c.own * f,
            factors=c.factors * f,
            scale=ABSOLUTE,
        )

    def read(self, readings: CardReadings, d: Drawdown, fractions: Array) -> float | None:
        """Thickness of a drawdown that an instrument read, mm; None where none is to be found.

        Parameters
        ----------
        readings : CardReadings
        d : Drawdown
            The drawdown.
        fractions : (P,) array
            Dry-volume fractions.

        Returns
        -------
        float or None
        """
        bare = bare_means(readings, self.settings)
        if not brushed_out(readings, d, bare, self.settings, None):
            return None
        both = [patch_mean(readings, f"{d.step}/{over}", self.settings) for over in SUBSTRATES]
        under = to_inside(np.array([bare[over][0] for over in SUBSTRATES]), readings.surface)
        surface = self.coefficients.surface
        return self.thickness(
            fractions,
            np.array([mean for mean, *_ in both]),
            np.sqrt([variance for _, variance, *_ in both]),
            under,
            surface,
        )

    def thickness(
        self,
        fractions: Array,
        read: Array,
        sd: Array,
        under: Array,
        surface: Surface,
        through: Array | None = None,
    ) -> float:
        """Find the thickness at which a mix looks most like its pair, mm.

        Parameters
        ----------
        fractions : (P,) array
            By dry volume.
        read, sd : (2, C) array
            What was read over black and over white, NaN where unread, and how unsure it is.
        under : (2, W) array
            Inside reflectance of the substrates.
        surface : Surface
        through : (C, W) array, optional
            What each value read is of a spectrum; by default the wavelengths themselves.

        Returns
        -------
        float
            mm.
        """
        log_x = log_coat(self.settings, relative=False) + _TRIED
        made = self._uneven(fractions, log_x[:, None], under, surface)
        seen = made if through is None else made @ through.T
        off = (seen - read) / np.hypot(sd, _MODEL * np.abs(read))
        believed = (_TRIED / (np.sqrt(2.0) * self.settings.coat_spread)) ** 2
        cost = np.nansum(off**2, axis=(1, 2)) + believed
        return float(np.exp(log_x[int(np.argmin(cost))]))

    def predicted(
        self, fractions: Array, thickness: Array, under: Array, surface: Surface | None = None
    ) -> Prediction:
        """Predict patches; brushed ones as uneven as such films are.

        Parameters
        ----------
        fractions : (N, P) array
        thickness : (N,) array, mm
        under : (N, W) array
        surface : Surface, optional

        Returns
        -------
        Prediction
        """
        if not any(self.brushed):
            return predict(self.coefficients, fractions, thickness, under, surface)
        at = surface or self.coefficients.surface
        parts = []
        for share, each in self.coefficients.by_model:
            own = replace(at, k2=each.surface.k2)
            by_it = Coats(each, self.settings, self.brushed)
            parts.append((share, by_it._by_one_model(fractions, thickness, under, own)))
        return Prediction.averaged(parts)

    def _by_one_model(
        self, fractions: Array, thickness: Array, under: Array, surface: Surface
    ) -> Prediction:
        made = predict(self.films, fractions, thickness, under, surface)
        seen = made.reflectance.copy()
        for n in np.flatnonzero(self.brushed).tolist():
            log_x = np.log(thickness[n : n + 1, None])
            seen[n] = self._uneven(fractions[n], log_x, under[n : n + 1], surface)
        return replace(made, reflectance=seen)

    def _uneven(self, fractions: Array, log_x: Array, under: Array, surface: Surface) -> Array:
        """Readings of one mix at T thicknesses (T, 1) over S substrates (S, W), (T, S, W)."""
        c = self.films
        k, s = fractions @ c.k, c.scattering_shares(fractions) @ c.s
        spread = np.full((1, 1, 1), self.settings.uneven_spread)
        depth = patch_thickness(log_x[..., None], spread)
        offset = float(fractions @ c.surface_offset)
        made = read_films(c.model, surface, k, s, depth.x, under, offset)
        return depth.mean(np.asarray(made.r))
