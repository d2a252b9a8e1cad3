"""Characterises a scanner or camera from a target of known values.

Two steps are refined in turns: a curve for each channel that makes it linear in light, and what the
target shows of uneven and of stray light. The channels' sensitivities follow where the target has
spectra. A root-polynomial takes linear channels to colour (Finlayson, Mackiewicz and Hurlbert
2015: it keeps hue and chroma whatever the exposure).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..errors import InputError
from ..optics.colour import D50, ciede2000, weights
from ..optics.matrixed_sensors import best_sensors
from ..optics.sensors import TONES, Sensors
from ..optics.spectra import GRID, Array
from .curve import BASES, Curve, decoded
from .settings import Settings
from .stray import TYPICAL

FEWEST_NEUTRALS, FEWEST_COLOURS = 4, 18
_NEUTRAL = 6.0
"""C*ab under which a patch counts as neutral."""
_ROUNDS = 5
_SD = (0.001, 0.008)
"""Standard deviation of a channel of the target: offset and share of the value."""
_MOST_STRAY = 0.12
_BEND_PULL = 0.3
MOST_MISFIT = 2.0
"""Misfit beyond which a device's channels are no sums of light."""
_FOLDS = 6


@dataclass(frozen=True)
class Characterised:
    """A device as characterised.

    Attributes
    ----------
    degree : int
        Of the root-polynomial.
    matrix : (3, T) array
        From its terms to tristimulus values, D50 and 2 degrees, Y = 1 for the perfect diffuser.
    sensors : Sensors or None
        Where the target has spectra.
    patches : int
        Of the target.
    mean, p95 : float
        CIEDE2000 of patches left out in turn; NaN where no target was read.
    stray : float
        Share of stray light that the target showed.
    bend : float
        How far the channels' curves depart from the encoding that the file implies, relative.
    misfit : (red, green, blue) or None
        RMS of how far left-out patches lie from what the sensitivities make of their spectra, in
        the unit of what a good scanner's may: about 0.5 where channels are sums of light, far more
        where a camera mixes, bends or clips its colours. None without sensitivities.
    """

    name: str
    settings: Settings
    curve: Curve
    degree: int
    matrix: Array = field(repr=False)
    sensors: Sensors | None = field(repr=False)
    patches: int
    mean: float
    p95: float
    stray: float
    bend: float
    misfit: tuple[float, float, float] | None = None

    @property
    def by_target(self) -> bool:
        """Whether a target of known values was the reference, not a card's own pieces."""
        return not np.isnan(self.mean)

    @property
    def sums_of_light(self) -> bool:
        """Whether its channels are sums of light, sensitivities known or not."""
        return self.misfit is not None and max(self.misfit) <= MOST_MISFIT

    @property
    def fit_for_spectra(self) -> bool:
        """Whether K and S fitted to its channels can be more than a first guess."""
        return self.by_target and self.sums_of_light

    def unexplained(self, linear: Array) -> Array:
        """Standard deviation of linear channels (N, 3) about what the sensitivities say of them."""
        return np.asarray(np.multiply(self.misfit or 0.0, _SD[0] + _SD[1] * np.abs(linear)))

    def xyz(self, linear: Array) -> Array:
        """Tristimulus values of linear channels (N, 3)."""
        return np.asarray(expanded(linear, self.degree) @ self.matrix.T)

    def as_dict(self) -> dict[str, Any]:
        """For a file."""
        sensors = self.sensors and {
            "wavelengths": self.sensors.wavelengths.tolist(),
            "sensitivity": self.sensors.sensitivity.tolist(),
            "factors": self.sensors.factors.tolist(),
            "tones": self.sensors.tones.tolist(),
        }
        return {
            "name": self.name,
            "settings": self.settings.as_dict(),
            "curve": {"base": self.curve.base, "terms": self.curve.terms.tolist()},
            "degree": self.degree,
            "matrix": self.matrix.tolist(),
            "sensors": sensors,
            "patches": self.patches,
            "mean": _plain(self.mean),
            "p95": _plain(self.p95),
            "stray": self.stray,
            "bend": self.bend,
            "misfit": None if self.misfit is None else list(self.misfit),
        }

    @classmethod
    def from_dict(cls, said: Mapping[str, Any]) -> Characterised:
        """Inverse of `as_dict`."""
        given = dict(said)
        given["settings"] = Settings(**said["settings"])
        given["curve"] = Curve(said["curve"]["base"], np.array(said["curve"]["terms"]))
        given["matrix"] = np.array(said["matrix"])
        given |= {key: np.nan if said[key] is None else said[key] for key in ("mean", "p95")}
        given["misfit"] = tuple(said["misfit"]) if said.get("misfit") else None
        if (s := said["sensors"]) is not None:
            wavelengths = np.array(s["wavelengths"])
            factors = np.array(s["factors"]).reshape(-1, 3, wavelengths.size)
            # Devices kept before nothing was known of tones have none that is unsure.
            tones = np.array(s.get("tones", [])).reshape(-1, 3, TONES.size)
            given["sensors"] = Sensors(np.array(s["sensitivity"]), factors, wavelengths, tones)
        return cls(**given)


def _plain(value: float) -> float | None:
    return None if np.isnan(value) else value


def expanded(linear: Array, degree: int) -> Array:
    """Terms of the root-polynomial, (N, T).

    Parameters
    ----------
    linear : (N, 3) array
        Linear channels.
    degree : int

    Returns
    -------
    (N, T) array
    """
    with warnings.catch_warnings():
        # colour-science warns of optional packages that nothing here needs.
        warnings.simplefilter("ignore")
        from colour.characterisation import polynomial_expansion_Finlayson2015

        floor = np.maximum(linear, 1e-6)
        return np.asarray(polynomial_expansion_Finlayson2015(floor, degree, True), dtype=float)


def lab_of(tristimulus: Array) -> Array:
    """CIELAB of tristimulus values (N, 3) under D50."""
    t = np.maximum(tristimulus, 0) / weights(GRID, D50)[1]
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )


def characterise(
    name: str,
    settings: Settings,
    encoded: Array,
    tristimulus: Array,
    spectra: Array | None,
    place: Array,
    around: Callable[[Curve], Array],
    file: str,
) -> Characterised:
    """Characterise a device from the patches of a target.

    Parameters
    ----------
    name : str
    settings : Settings
    encoded : (N, 3) array
        Of the patches, as in the picture, 0-1.
    tristimulus : (N, 3) array
        Known values, D50 and 2 degrees, Y = 1 for the perfect diffuser.
    spectra : (N, W) array or None
        Known reflectances on the inside grid, if the target has them.
    place : (N, 2) array
        Of the patches on the target, each direction from -1 to 1.
    around : callable
        From a curve to what lies around each patch, linear, (N, 3).
    file : str
        The picture, for messages.

    Returns
    -------
    Characterised

    Raises
    ------
    InputError
        Where the target has too few neutral or coloured patches, or its patches aren't where they
        are said to be.
    """
    chroma = np.hypot(*lab_of(tristimulus)[:, 1:].T)
    neutral = chroma < _NEUTRAL
    if neutral.sum() < FEWEST_NEUTRALS or len(encoded) < FEWEST_COLOURS:
        raise InputError(
            file,
            None,
            f"the target has {neutral.sum()} neutral patches of {len(encoded)}, expected at least "
            f"{FEWEST_NEUTRALS} of {FEWEST_COLOURS}",
            "take a target with a grey scale and colours",
        )
    curve = _first_curve(encoded[neutral], tristimulus[neutral, 1], float(tristimulus[:, 1].mean()))
    _check_order(encoded[neutral], tristimulus[neutral, 1], file)
    degree = int(np.clip(neutral.sum() // 3, 1, 4))
    terms = _places(place)
    share, light = 0.0, np.zeros((terms.shape[1], 3))
    for _ in range(_ROUNDS):
        linear, near = curve(encoded), around(curve)
        own = (linear / (1 + terms @ light) - share * near) / (1 - share)
        expected = _from_colour(own, tristimulus, neutral)
        share, light = _environment(linear, expected, near, terms)
        shown = ((1 - share) * expected + share * near) * (1 + terms @ light)
        curve = _curve(curve.base, encoded, shown, np.where(neutral, 4.0, 1.0), degree)
    linear, near = curve(encoded), around(curve)
    own = (linear / (1 + terms @ light) - share * near) / (1 - share)
    sensors = misfit = None
    if spectra is not None:
        # Only now: sensitivities that may bend while the curves do lead both astray.
        variance = (_SD[0] + _SD[1] * own) ** 2
        sensors, misfit = best_sensors(spectra, own, variance)
        if max(misfit) > MOST_MISFIT:
            sensors = sensors.loosened(own, np.multiply(misfit, np.sqrt(variance)))
    chosen, differences = _chosen_degree(own, tristimulus)
    return Characterised(
        name,
        settings,
        curve,
        chosen,
        _matrix(own, tristimulus, chosen),
        sensors,
        len(encoded),
        float(differences.mean()),
        float(np.quantile(differences, 0.95)),
        share,
        _bend(curve),
        misfit,
    )


def _first_curve(encoded: Array, y: Array, near: float) -> Curve:
    """The encoding under which the neutrals come out straightest, some stray light allowed for."""
    aim = np.cbrt((1 - TYPICAL[0]) * y + TYPICAL[0] * near)
    found = []
    for base in BASES:
        t = np.cbrt(decoded(base, encoded))
        slope = (t * aim[:, None]).sum(axis=0) / (t * t).sum(axis=0)
        off = float(((t * slope - aim[:, None]) ** 2).sum())
        # sRGB is what nearly every picture is encoded in: another must be clearly straighter.
        found.append((off if base == BASES[0] else 2 * off, base, slope[:, None]))
    _, base, terms = min(found, key=lambda each: each[0])
    return Curve(base, terms)


def _curve(base: str, encoded: Array, linear: Array, weight: Array, order: int) -> Curve:
    """Fit the channels' curves, stiffened until they rise."""
    t, aim = np.cbrt(decoded(base, encoded)), np.cbrt(np.maximum(linear, 1e-6))
    probe = np.linspace(0, t.max(axis=0), 50)
    for degree in range(order, 0, -1):
        rows = []
        for c in range(3):
            powers = t[:, c : c + 1] ** np.arange(1, degree + 1)
            # Terms of the second power on are small where the file's encoding is what it says.
            bend = np.diag([0.0] + [_BEND_PULL] * (degree - 1))
            a = np.vstack([powers * weight[:, None], bend])
            fit, *_ = np.linalg.lstsq(
                a, np.append(aim[:, c] * weight, np.zeros(degree)), rcond=None
            )
            rows.append(fit)
        curve = Curve(base, np.array(rows))
        values = [probe[:, c : c + 1] ** np.arange(1, degree + 1) @ rows[c] for c in range(3)]
        if all(np.all(np.diff(v) > 0) for v in values):
            return curve
    return curve


def _places(place: Array) -> Array:
    x, y = place.T
    return np.stack([x, y, x * y, x * x - 1 / 3, y * y - 1 / 3], axis=1)


def _environment(linear: Array, expected: Array, near: Array, terms: Array) -> tuple[float, Array]:
    """Share of stray light, and the light's slope and curvature, (5, 3) alike in all channels."""
    scale = 1 / (_SD[0] + _SD[1] * expected)
    design = np.concatenate(
        [(near - expected)[:, :, None], expected[:, :, None] * terms[:, None, :]], axis=2
    )
    first = np.append(1 / TYPICAL[1], np.zeros(terms.shape[1]))
    a = np.vstack([(design * scale[:, :, None]).reshape(-1, design.shape[2]), first])
    b = np.append(((linear - expected) * scale).ravel(), TYPICAL[0] / TYPICAL[1])
    weight = np.ones(len(b))
    for _ in range(5):
        found, *_ = np.linalg.lstsq(a * weight[:, None], b * weight, rcond=None)
        off = np.abs(b - a @ found)
        weight = np.sqrt(np.minimum(1, 3 * np.median(off) / np.maximum(off, 1e-9)))
    share = float(np.clip(found[0], 0, _MOST_STRAY))
    return share, np.repeat(found[1:, None], 3, axis=1)


def _from_colour(own: Array, tristimulus: Array, neutral: Array) -> Array:
    """Channels that colours should show, by a root-polynomial the other way round."""
    rows = expanded(tristimulus / weights(GRID, D50)[1], 2)
    scale = 1 / (_SD[0] + _SD[1] * own)
    found = np.empty_like(own)
    for c in range(3):
        s = scale[:, c] * np.where(neutral, 2.0, 1.0)
        fit, *_ = np.linalg.lstsq(rows * s[:, None], own[:, c] * s, rcond=None)
        # A white is white in every channel.
        found[:, c] = rows @ fit / fit.sum()
    return found


def _matrix(linear: Array, tristimulus: Array, degree: int) -> Array:
    """Least squares, weighted about as the eye does: errors count by the cube root of the value."""
    rows = expanded(linear, degree)
    ridge = 1e-4 * np.eye(rows.shape[1])
    result = []
    for c in range(3):
        s = 1 / (tristimulus[:, c] + 0.02) ** (2 / 3)
        a = np.vstack([rows * s[:, None], ridge])
        fit, *_ = np.linalg.lstsq(
            a, np.append(tristimulus[:, c] * s, np.zeros(len(ridge))), rcond=None
        )
        result.append(fit)
    return np.array(result)


def _chosen_degree(linear: Array, tristimulus: Array) -> tuple[int, Array]:
    """The degree that predicts left-out patches best, and CIEDE2000 of each of them."""
    known, folds = lab_of(tristimulus), np.arange(len(linear)) % _FOLDS
    best: tuple[int, Array] | None = None
    for degree in (1, 2, 3):
        if expanded(linear[:1], degree).shape[1] * 2 > len(linear):
            break
        said = np.empty_like(tristimulus)
        for fold in range(_FOLDS):
            out = folds == fold
            matrix = _matrix(linear[~out], tristimulus[~out], degree)
            said[out] = expanded(linear[out], degree) @ matrix.T
        differences = ciede2000(lab_of(said), known)
        # More terms run wild outside the target's colours: they must be worth it.
        if best is None or differences.mean() < 0.8 * best[1].mean():
            best = degree, differences
    assert best is not None
    return best


def _check_order(encoded: Array, y: Array, file: str) -> None:
    """Refuse a target whose greys don't grow lighter with their known values."""
    shown, known = (np.argsort(np.argsort(values)) for values in (encoded[:, 1], y))
    # Spearman's rank correlation.
    if 1 - 6 * np.mean((shown - known) ** 2) / (len(y) ** 2 - 1) < 0.9:
        raise InputError(
            file,
            None,
            "the target's greys don't stand where its values say",
            "check the corners, their order and which target this is",
        )


def _bend(curve: Curve) -> float:
    """Largest departure of the green curve from a plain scale of its base, between 0.1 and 0.8."""
    v = np.linspace(0.3, 0.9, 25)
    ratio = curve(np.repeat(v[:, None], 3, axis=1))[:, 1] / decoded(curve.base, v)
    return float(np.abs(ratio / np.median(ratio) - 1).max())
