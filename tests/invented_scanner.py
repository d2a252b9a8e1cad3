"""Invented scanners: lamps through filters, what they read of a card, and a target to know them by.

No such device exists. Lamp and filters are smooth curves chosen once, after what is commonly known
of a white LED (a blue peak, a gap behind it, a broad yellow hump), of a three-band lamp, and of the
filters of a sensor (from memory).
"""

from __future__ import annotations

import numpy as np
from tintladder.calibrate.cards.channels import CardChannels
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.optics.sensors import Sensors, estimate_sensors
from tintladder.calibrate.optics.spectra import GRID, Array

NOISE = 0.005
"""Of a channel, relative, after all that is left of stray light and uneven lighting."""
_LEAST = 0.0005


def _bump(at: float, width: float) -> Array:
    return np.exp(-0.5 * ((GRID - at) / width) ** 2)


def _beyond(at: float, width: float) -> Array:
    return 1 / (1 + np.exp((at - GRID) / width))


# A red that lets pass all beyond its edge, up to where the infrared is cut off.
_FILTERS = (1 - _beyond(690, 12)) * np.stack([
    _beyond(588, 9) + 0.05 * _bump(450, 25), _bump(535, 36), _bump(455, 28),
])  # fmt: skip
_LED = _bump(452, 13) + 0.75 * _bump(565, 60) + 0.02
_BANDS = (
    0.8 * _bump(437, 12) + 0.35 * _bump(490, 12) + _bump(545, 11) + 0.5 * _bump(585, 14)
    + _bump(612, 11) + 0.05
)  # fmt: skip
_DAYLIGHT = 0.6 + 0.4 * _bump(520, 120)


def _scanner(lamp: Array) -> Sensors:
    through = _FILTERS * lamp
    return Sensors.known(through / through.sum(axis=1, keepdims=True))


LED = _scanner(_LED)
THREE_BANDS = _scanner(_BANDS)
CAMERA = _scanner(_DAYLIGHT)


def noisy(channels: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Channels with noise, and its variance."""
    sd = _LEAST + NOISE * channels
    return channels + sd * rng.standard_normal(channels.shape), sd**2


def scanned(readings: CardReadings, scanner: Sensors, seed: int) -> CardChannels:
    """What a scanner reads of a card whose noise-free spectra are given."""
    rng = np.random.default_rng([seed, len(readings.card.name)])
    channels, variance = noisy(scanner.read(readings.spectra.values), rng)
    return CardChannels(
        readings.card, channels, variance, readings.spectra.labels, readings.surface, "scan.tif"
    )


def target() -> Array:
    """Reflectances of an invented colour target of three dyes and a grey scale, (T, W)."""
    yellow = _bump(440, 42)
    magenta = _bump(540, 40) + 0.15 * _bump(400, 30)
    cyan = _bump(650, 55) + 0.1 * _bump(420, 40)
    dyes = np.stack([yellow, magenta, cyan])
    amounts = np.stack(np.meshgrid(*[[0.0, 0.3, 0.8, 1.8]] * 3), axis=-1).reshape(-1, 3)
    colours = 0.86 * np.exp(-1.15 * amounts @ dyes)
    greys = np.repeat(np.geomspace(0.03, 0.88, 12)[:, None], GRID.size, axis=1)
    return np.concatenate([colours, greys])


def characterised(scanner: Sensors, seed: int) -> Sensors:
    """Estimate a scanner's sensitivities from its reading of the target."""
    reflectance = target()
    channels, variance = noisy(scanner.read(reflectance), np.random.default_rng([seed, 77]))
    return estimate_sensors(reflectance, channels, variance)
