"""From wet to dry: how paint of a medium changes as it dries, learnt from wet and dried dabs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.spectra import Array

MIDDLE = 50.0
"""L* at which the shift of lightness is stated; white keeps its lightness."""
_SHIFT, _CHROMA = 5.0, 0.3
"""Standard deviations of the shift and of the change of chroma, before anything is taught: most
media stay within twice that (our own rule, no source)."""
_SCATTER, _WORTH = 1.5, 4.0
"""How far dabs scatter about the model before anything is taught, CIELAB units, and how many
differences that is worth (our own rule)."""
_ROUNDS = 20
_SAME, _AS_CLEAN = 1.0, 0.05
"""Change of L* and share of chroma under which paint is said to stay as it is."""


@dataclass(frozen=True)
class Wet:
    """What a mix looks like wet.

    Attributes
    ----------
    lab : tuple of three float
        CIELAB.
    band : float
        CIEDE2000 that it is within, 95 of 100 times.
    """

    lab: tuple[float, float, float]
    band: float


@dataclass(frozen=True)
class Drying:
    """What wet and dried dabs of one mix each taught of a medium.

    Wet paint is lighter than dry by `shift` at middle lightness, by nothing in white and by twice
    that in black; and its chroma is 1 + `chroma` times that of dry paint. Hues stay.

    Attributes
    ----------
    unsure : tuple of two float
        Standard uncertainty of both.
    scatter : float
        Standard deviation of a dab about that, CIELAB units.
    freedom : float
        Degrees of freedom that `scatter` is known with.
    pairs : int
        Dabs that taught it.
    """

    shift: float
    chroma: float
    unsure: tuple[float, float]
    scatter: float
    freedom: float
    pairs: int

    def wet(self, dry: Array, band: float = 0.0) -> Wet:
        """Return what a mix looks like wet.

        Parameters
        ----------
        dry : (3,) array
            CIELAB.
        band : float
            CIEDE2000 that the dry colour is sure to within, 95 of 100 times.
        """
        lightness, a, b = (float(x) for x in dry)
        lighter = lightness + self.shift * float(_lever(lightness))
        wet = (lighter, a * self._times, b * self._times)
        return Wet(wet, float(np.hypot(band, self._band(np.array(wet), dry))))

    def dry(self, wet: Array, band: float = 0.0) -> Wet:
        """Return what a wet colour dries to, and how surely; as `wet`, the other way round."""
        lightness, a, b = (float(x) for x in wet)
        slope = 1 - self.shift / MIDDLE
        dry = ((lightness - 2 * self.shift) / slope, a / self._times, b / self._times)
        return Wet(dry, float(np.hypot(band, self._band(np.array(dry), np.array(dry)))))

    @property
    def words(self) -> str:
        """What paint does as it dries, a sentence without subject and end."""
        said = "keeps its lightness"
        if abs(self.shift) >= _SAME:
            said = (
                f"dries {'darker' if self.shift > 0 else 'lighter'} by some {abs(self.shift):.0f} "
                "L* at middle lightness, and by more in darks"
            )
        if abs(self.chroma) >= _AS_CLEAN:
            cleaner = "more" if self.chroma < 0 else "less"
            share = abs(1 / self._times - 1)
            said += f" and is {100 * share:.0f} % {cleaner} colourful dry than wet"
        return said

    @property
    def _times(self) -> float:
        return 1 + self.chroma

    def _band(self, at: Array, dry: Array) -> float:
        """CIEDE2000 that the model's own uncertainty and a dab's scatter come to."""
        lever, chroma = _lever(float(dry[0])), float(np.hypot(*dry[1:]))
        light = self.scatter**2 + (lever * self.unsure[0]) ** 2
        colour = self.scatter**2 + (chroma * self.unsure[1]) ** 2
        hue = np.arctan2(at[2], at[1])
        turn = np.array([[np.cos(hue), -np.sin(hue)], [np.sin(hue), np.cos(hue)]])
        covariance = np.zeros((1, 3, 3))
        covariance[0, 0, 0] = light
        covariance[0, 1:, 1:] = turn @ np.diag([colour, self.scatter**2]) @ turn.T
        # Loaded here alone: most studios have taught no drying, and it costs every command.
        from scipy.special import stdtrit

        # Of a scatter that few dabs tell, Student's distribution reaches further than the normal.
        wider = float(stdtrit(self.freedom, 0.975)) / 1.96
        return wider * float(ciede2000_band(at[None], covariance)[0])


def _lever(lightness: float | Array) -> float | Array:
    return (100 - lightness) / (100 - MIDDLE)


def learn(wet: Array, dry: Array, unsure: Array) -> Drying:
    """Learn from dabs of one mix each, wet and dried.

    Parameters
    ----------
    wet, dry : (N, 3) array
        CIELAB of each pair, N at least 1.
    unsure : (N,) array
        Standard uncertainty of what a pair differs by, CIELAB units.

    Notes
    -----
    A linear model with a normal prior, whose scatter is learnt from what is left over: the squares
    add to those of a prior that counts as `_WORTH` differences (a scaled inverse chi-square).
    """
    light = np.stack([np.asarray(_lever(dry[:, 0])), wet[:, 0] - dry[:, 0]])
    chroma, wet_chroma = np.hypot(*dry[:, 1:].T), np.hypot(*wet[:, 1:].T)
    turn = np.arctan2(wet[:, 2], wet[:, 1]) - np.arctan2(dry[:, 2], dry[:, 1])
    hue = 2 * np.sqrt(chroma * wet_chroma) * np.sin(turn / 2)
    scatter = _SCATTER
    freedom = _WORTH + 3 * len(wet) - 2
    shift = factor = 0.0
    spread = (_SHIFT, _CHROMA)
    for _ in range(_ROUNDS):
        variance = scatter**2 + unsure**2
        shift, one = _line(light[0], light[1], variance, _SHIFT)
        factor, other = _line(chroma, wet_chroma - chroma, variance, _CHROMA)
        spread = one, other
        left = np.stack([light[1] - shift * light[0], wet_chroma - chroma * (1 + factor), hue])
        over = (left**2).sum() - 3 * (unsure**2).sum()
        scatter = float(np.sqrt(max(_WORTH * _SCATTER**2 + over, 0.5 * _WORTH) / freedom))
    return Drying(shift, factor, spread, scatter, freedom, len(wet))


def _line(x: Array, y: Array, variance: Array, prior: float) -> tuple[float, float]:
    """Slope of a line through nothing, and its standard uncertainty."""
    precision = float((x**2 / variance).sum()) + prior**-2
    return float((x * y / variance).sum()) / precision, precision**-0.5
