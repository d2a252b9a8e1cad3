"""Judges a fit on mixtures that it never saw, of which there is a scan and no spectrum.

What was predicted is seen through the device's channels, and held against the scan's there. For a
difference in words that eyes know, the predicted spectrum is moved, smoothly, until its channels
are the scan's; how far that moves its colour is the difference. So a check by scan tells

- nothing of what the channels don't see: a spectrum can be wrong where they are dark or blind, and
  of paints that the same device read it is wrong in the same way unseen;
- no difference below the scan's own error, which stands beside each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from ...cards.card import BARE, SUBSTRATES
from ...cards.channels import CardChannels, by_card
from ...optics.coefficients import Coefficients
from ...optics.colour import lab, lab_jacobian
from ...optics.colour_difference import ciede2000_metric
from ...optics.sensors import Sensors
from ...optics.spectra import Array
from ...optics.surface import Surface, to_inside
from ..problem.settings import FitSettings
from ..uncertainty.check import (
    Check,
    Mix,
    bare_unread,
    checked,
    mix_in_words,
    mixes_on,
    nothing_checked,
)
from ..uncertainty.coats import Coats
from .patch import NEAR
from .problem import bare_spectrum, check_channels, shows

_DARK = 0.05
"""Reflectance below which a spectrum is believed to be nearer, in proportion (our choice)."""


def check_scans(
    coefficients: Coefficients,
    scans: Sequence[CardChannels],
    sensors: Sensors,
    settings: FitSettings | None = None,
) -> Check:
    """Predict every patch of the check cards that one device scanned.

    Parameters
    ----------
    coefficients : Coefficients
    scans : sequence of CardChannels
        Those whose card's purpose is ``check`` are judged; several scans of a card as one.
    sensors : Sensors
        Of the device.
    settings : FitSettings, optional
        For the applicator's transfer.

    Returns
    -------
    Check
        Its measured spectra are the predicted ones, moved until their channels are the scan's.

    Raises
    ------
    InputError
        Where a card holds a paint that the coefficients don't have, channel values are impossible,
        or the bare substrate of a film was not read.
    """
    settings = settings or FitSettings()
    rows, fractions, thickness, substrate = [], [], [], []
    channels, variance, levels = list[Array](), list[Array](), list[float]()
    aside, coats = list[tuple[str, str]](), Coats(coefficients, settings)
    for scan in by_card([s for s in scans if s.card.purpose == "check"]):
        check_channels(scan)
        read = _by_label(scan)
        for mix in mixes_on(scan.card, coefficients, settings):
            step = mix.drawdown.step
            over = [s for s in mix.drawdown.over if f"{step}/{s}" in read]
            x = mix.thickness
            if shown := _see_through(mix, [read[f"{step}/{s}"] for s in over]):
                if not settings.coat_spread or not {f"{BARE}/{s}" for s in SUBSTRATES} <= set(read):
                    aside.append((scan.card.name, step))
                    continue
                x = _coat(coats, scan, mix, sensors, read)
            for each in over:
                rows.append((scan.card.name, step, each, mix_in_words(mix.masses)))
                fractions.append(mix.fractions)
                thickness.append(x)
                coats.brushed.append(shown)
                substrate.append(_under(scan, x, each, sensors, read))
                channels.append(read[f"{step}/{each}"][0])
                variance.append(read[f"{step}/{each}"][1])
                levels.append(float(np.mean(scan.level)))
    if not rows:
        return replace(nothing_checked(coefficients), aside=tuple(aside))
    surface = _seen_surface(scans[0], coefficients)
    predicted = coats.predicted(
        np.array(fractions), np.array(thickness), np.array(substrate), surface
    )
    whole = _filled(predicted.reflectance)
    near = _near(whole)
    through = sensors.sensitivity @ near
    met_by = np.asarray(np.linalg.solve(through @ sensors.sensitivity.T, through), dtype=float)
    moves = met_by.transpose(0, 2, 1)
    met = np.array(channels)
    seen = whole + np.einsum("nwc,nc->nw", moves, met - sensors.read(whole))
    level = np.array(levels)[:, None] * met
    unsure = np.einsum("ecw,nw->nec", sensors.factors, whole)
    of_channels = np.array(variance)[:, :, None] * np.eye(3) + level[:, :, None] * level[:, None]
    of_channels += np.einsum("nec,ned->ncd", unsure, unsure)
    error = _own_error(seen, moves, of_channels, near - moves @ through, sensors.wavelengths)
    return checked(rows, seen, predicted, error, aside)


def _by_label(scan: CardChannels) -> dict[str, tuple[Array, Array]]:
    """Channels and variance of each patch that was read."""
    mean = scan.averaged()
    return {
        label: (mean.channels[i], mean.variance[i])
        for i, label in enumerate(mean.labels)
        if np.isfinite(mean.channels[i]).all()
    }


def _see_through(mix: Mix, read: Sequence[tuple[Array, Array]]) -> bool:
    """Whether coats that were to hide their substrate show it."""
    if np.isfinite(mix.thickness) or len(read) < len(SUBSTRATES):
        return False
    return shows(np.array([c for c, _ in read]), np.array([v for _, v in read]))


def _seen_surface(scan: CardChannels, coefficients: Coefficients) -> Surface:
    inner = coefficients.surface
    return replace(scan.surface, k2=inner.k2, n=inner.n)


def _coat(
    coats: Coats,
    scan: CardChannels,
    mix: Mix,
    sensors: Sensors,
    read: dict[str, tuple[Array, Array]],
) -> float:
    """Thickness of a brushed film, as its pair shows it, mm."""
    pair = [read[f"{mix.drawdown.step}/{over}"] for over in SUBSTRATES]
    return coats.thickness(
        mix.fractions,
        np.array([channels for channels, _ in pair]),
        np.sqrt([variance for _, variance in pair]),
        np.array([_under(scan, 0.0, over, sensors, read) for over in SUBSTRATES]),
        _seen_surface(scan, coats.coefficients),
        sensors.sensitivity,
    )


def _under(
    scan: CardChannels,
    thickness: float,
    over: str,
    sensors: Sensors,
    read: dict[str, tuple[Array, Array]],
) -> Array:
    """Inside reflectance of the substrate, (W,); 0 where nothing of it shows."""
    if not np.isfinite(thickness):
        return np.zeros(sensors.wavelengths.size)
    if f"{BARE}/{over}" not in read:
        raise bare_unread(scan.card, over, scan.source)
    bare, _ = bare_spectrum(over, scan.surface, sensors.sensitivity, *read[f"{BARE}/{over}"])
    return to_inside(bare, scan.surface)


def _filled(spectra: Array) -> Array:
    """Spectra without the gaps where paints were never read, which are dark ends of the channels.

    As in ASTM E308 for colours, the nearest reading stands there.
    """
    return np.asarray(pd.DataFrame(spectra).ffill(axis=1).bfill(axis=1), dtype=float)


def _near(predicted: Array) -> Array:
    """Covariance of how far each true spectrum may lie from the one predicted, (N, W, W).

    Of a dark one it lies nearer: nothing reflects less than no light.
    """
    scale = np.minimum(predicted, _DARK) / _DARK
    result: Array = scale[:, :, None] * NEAR * scale[:, None]
    return result


def _own_error(
    seen: Array, moves: Array, of_channels: Array, unseen: Array, wavelengths: Array
) -> Array:
    """CIEDE2000 that the scan's own errors come to, root mean square, (N,).

    Parameters
    ----------
    seen : (N, W) array
    moves : (N, W, 3) array
        By how much each channel moves a spectrum.
    of_channels : (N, 3, 3) array
        Covariance of the channels, their level and the sensitivities.
    unseen : (N, W, W) array
        Covariance of what the channels leave open.
    wavelengths : (W,) array, nm
    """
    slope = lab_jacobian(seen, wavelengths)
    by_channel = slope @ moves
    spread = by_channel @ of_channels @ by_channel.transpose(0, 2, 1)
    spread += slope @ unseen @ slope.transpose(0, 2, 1)
    metric = ciede2000_metric(lab(seen, wavelengths))
    result: Array = np.sqrt(np.einsum("nij,nji->n", metric, spread))
    return result
