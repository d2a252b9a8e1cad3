"""From cards and their channel values to a fit's problem, seen through these channels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ...cards.card import BARE, SUBSTRATES
from ...cards.channels import CardChannels, by_card
from ...cards.readings import CardReadings
from ...errors import CalibrateDo, InputError
from ...optics.coefficients import Coefficients
from ...optics.sensors import CHANNELS, Sensors, strongest
from ...optics.spectra import GRID, Array, Flag, Spectra
from ...optics.surface import Surface, to_measured
from ..problem.arrays import Problem, build
from ..problem.rows import Nuisance
from ..problem.settings import FitSettings
from ..problem.tube import Tube
from .patch import most_likely, patch_spectra, unread_as_unsure
from .prior import ScanPrior
from .solve import ChannelsSeen

_DARKEST, _LIGHTEST = 0.005, 0.97
"""What a guess of a patch's spectrum is kept between: it is only where a fit begins."""
_BARE_FACTORS = 6
_SURE, _SHOWS = 3.0, 0.03
"""Standard uncertainties, and share of a channel, by which black and white under an opaque drawdown
must differ to show; three in a hundred are about what an eye finds (common practice, no source)."""


def check_channels(readings: CardChannels) -> None:
    """Refuse channel values that can't be a card's.

    Raises
    ------
    InputError
        For a label that is no patch of the card, a variance that isn't positive, or a value that no
        drawdown has.
    """
    patches = set(readings.card.patches)
    for i, label in enumerate(readings.labels):
        good = ~np.isnan(readings.channels[i])
        value, variance = readings.channels[i, good], readings.variance[i, good]
        if label not in patches:
            raise InputError(
                readings.source,
                f"patch {label}",
                f"card {readings.card.name} has no such patch",
                CalibrateDo.RIGHT_CARD(),
            )
        if not np.all((value > -0.05) & (value < 1.3)):
            raise InputError(
                readings.source,
                f"patch {label}",
                f"expected linear channels from 0 to 1, got {', '.join(f'{v:.3g}' for v in value)}",
                "characterise the scanner again, with the settings of this scan",
            )
        if not np.all(np.isfinite(variance) & (variance > 0)):
            raise InputError(
                readings.source,
                f"patch {label}",
                "expected how far its channels may be off, a variance above 0",
                "scan at 300 dpi or more, so that a patch has many pixels",
            )


def lay_out(
    readings: Sequence[CardChannels],
    tubes: Mapping[str, Tube],
    sensors: Sensors,
    prior: ScanPrior,
    settings: FitSettings,
    known: Coefficients | None,
) -> tuple[Problem, ChannelsSeen, Array]:
    """Lay out the problem, what was seen of it, and the variance of each patch's channels (N, C).

    The problem's measured spectra are guesses from each patch's own channels, for a fit to begin
    from; unread patches are NaN.

    Parameters
    ----------
    readings : sequence of CardChannels
    tubes : mapping of nickname to Tube
    sensors : Sensors
    prior : ScanPrior
    settings : FitSettings
    known : Coefficients or None

    Returns
    -------
    problem : Problem
    seen : ChannelsSeen
    variance : (N, C) array
        Of each patch's channels.

    Raises
    ------
    InputError
        As `check_channels` and `tintladder.calibrate.fit.problem.build`.
    """
    for r in readings:
        check_channels(r)
    averaged = [r.averaged() for r in by_card(readings) if r.card.purpose != "check"]
    bare: dict[tuple[str, str], tuple[Array, Array]] = {}
    guessed = []
    for r in averaged:
        table = to_measured(prior.ladders, r.surface)
        read = np.asarray(np.isfinite(r.channels).any(axis=1))
        values = np.full((len(r.labels), GRID.size), np.nan)
        values[read] = patch_spectra(table, sensors.sensitivity, r.channels[read], r.variance[read])
        values = np.clip(values, _DARKEST, _LIGHTEST)
        for substrate in SUBSTRATES:
            label = f"{BARE}/{substrate}"
            if label in r.labels and read[r.labels.index(label)]:
                i = r.labels.index(label)
                found = bare_spectrum(
                    substrate, r.surface, sensors.sensitivity, r.channels[i], r.variance[i]
                )
                bare[r.card.name, substrate] = found
                values[i] = found[0]
        flags = np.where(np.isnan(values), np.uint16(Flag.MISSING), np.uint16(0))
        flags[[label in r.clipped for label in r.labels]] |= np.uint16(Flag.CLIPPED)
        spectra = Spectra(GRID, values, r.labels, flags)
        guessed.append(CardReadings(r.card, spectra, r.surface, r.source))
    hidden = [step for r in averaged for step in hidden_steps(r)]
    problem = build(guessed, tubes, settings, known, hidden)
    by_label = {
        (r.card.name, label): (r.channels[i], r.variance[i])
        for r in averaged
        for i, label in enumerate(r.labels)
    }
    channels, variance = (
        np.array([by_label[p.card, p.label][q] for p in problem.patches]) for q in range(2)
    )
    levels = {r.card.name: r.level for r in averaged}
    problem, seen = _with_what_is_unsure(problem, sensors, bare, channels, levels)
    return problem, seen, variance


def _with_what_is_unsure(
    problem: Problem,
    sensors: Sensors,
    bare: Mapping[tuple[str, str], tuple[Array, Array]],
    channels: Array,
    levels: Mapping[str, float | Array],
) -> tuple[Problem, ChannelsSeen]:
    """Add nuisance values for sensitivities, bare spectra, levels and tones."""
    nuisances = list(problem.nuisances)
    every = tuple(int(d) for d in np.unique(problem.drawdown))
    by_scalar, bare_by_scalar = {}, {}
    for i, factor in enumerate(sensors.factors):
        by_scalar[len(nuisances)] = factor
        nuisances.append(Nuisance(f"sensitivity {i + 1}", "sensitivity", 1.0, "", every))
    for (card, substrate), (_, factors) in bare.items():
        rows = np.array(
            [
                p.card == card and p.over == substrate and bool(problem.film[p.drawdown])
                for p in problem.patches
            ]
        )
        if not rows.any():
            continue
        over = tuple(int(d) for d in np.unique(problem.drawdown[rows]))
        for i, factor in enumerate(factors):
            bare_by_scalar[len(nuisances)] = rows[:, None] * factor
            name = f"{card} bare {substrate}: spectrum {i + 1}"
            nuisances.append(Nuisance(name, "bare spectrum", 1.0, "", over))
    level_by_scalar = {}
    for card, level in levels.items():
        rows = np.array([p.card == card for p in problem.patches])
        of_channels = np.broadcast_to(level, channels.shape[1:])
        for first in range(0, channels.shape[1], len(CHANNELS)):
            spread = float(of_channels[first])
            if not spread or not rows.any():
                continue
            of_device = np.zeros_like(channels)
            of_device[rows, first : first + len(CHANNELS)] = spread
            over = tuple(int(d) for d in np.unique(problem.drawdown[rows]))
            level_by_scalar[len(nuisances)] = of_device
            nuisances.append(Nuisance(f"{card} level of the scan", "level", spread, "", over))
    shift_by_scalar = {}
    for i, shift in enumerate(sensors.shifts(channels)):
        shift_by_scalar[len(nuisances)] = shift
        nuisances.append(Nuisance(f"tones {i + 1}", "tones", 1.0, "", every))
    problem = replace(problem, nuisances=tuple(nuisances))
    seen = ChannelsSeen(
        sensors.sensitivity, by_scalar, bare_by_scalar, channels, level_by_scalar, shift_by_scalar
    )
    return problem, seen


def bare_spectrum(
    substrate: str, surface: Surface, sensitivity: Array, channels: Array, variance: Array
) -> tuple[Array, Array]:
    """Spectrum of a bare substrate, (W,), and what is unsure of it, (F, W).

    Black and white are near enough neutral that a device's channels say nearly all; only below
    420 nm, where whites begin to absorb, one differs from another.

    Parameters
    ----------
    substrate : str
    surface : Surface
    sensitivity : (C, W) array
    channels : (C,) array
        NaN where unread.
    variance : (C,) array
        Of the channels.

    Returns
    -------
    spectrum : (W,) array
    unsure : (F, W) array
        At one standard deviation of each cause.
    """
    apart = GRID[:, None] - GRID[None]
    if substrate == "white":
        mean = 0.85 - 0.35 * np.exp(-(GRID - 380) / 25)
        edge = 0.1 * np.exp(-(GRID - 380) / 25)
        level, shape = 0.1, 0.02
    else:
        mean, edge = np.full(GRID.size, 0.05), np.zeros(GRID.size)
        level, shape = 0.03, 0.004
    spread = level**2 + shape**2 * np.exp(-0.5 * (apart / 60) ** 2) + np.outer(edge, edge)
    spread += (0.1 * shape) ** 2 * np.eye(GRID.size)
    found = most_likely(mean[None], spread, sensitivity, channels[None], variance[None])[0]
    through = sensitivity @ spread
    noise = np.diag(unread_as_unsure(channels, variance))
    left = spread - through.T @ np.linalg.solve(through @ sensitivity.T + noise, through)
    return found, strongest(left)[:_BARE_FACTORS]


def see_through(problem: Problem, seen: ChannelsSeen, variance: Array) -> tuple[int, ...]:
    """Patches of opaque drawdowns that show their substrate all the same.

    A masstone brushed out may never hide: what lies so over black and over white belongs to no
    opaque film, and how thick it is nobody asked.

    Parameters
    ----------
    problem : Problem
    seen : ChannelsSeen
        What the device saw.
    variance : (N, C) array
        Of the channels.

    Returns
    -------
    tuple of int
        Their places.
    """
    pairs: dict[int, dict[str, int]] = {}
    for n, patch in enumerate(problem.patches):
        if not problem.film[patch.drawdown]:
            pairs.setdefault(patch.drawdown, {})[patch.over] = n
    found = []
    for over in pairs.values():
        if len(over) == len(SUBSTRATES):
            rows = list(over.values())
            if shows(seen.channels[rows], variance[rows]):
                found += rows
    return tuple(found)


def hidden_steps(readings: CardChannels) -> list[tuple[str, str]]:
    """Steps whose channels over black and over white are alike within their uncertainty."""
    rows = {label: i for i, label in enumerate(readings.labels)}
    found = []
    for d in readings.card.drawdowns:
        at = [rows[label] for over in SUBSTRATES if (label := f"{d.step}/{over}") in rows]
        both = np.isfinite(readings.channels[at]).all(axis=0)
        if len(at) < len(SUBSTRATES) or not both.any():
            continue
        apart = np.ptp(readings.channels[at], axis=0)[both]
        if np.all(apart < _SURE * np.sqrt(readings.variance[at].sum(axis=0))[both]):
            found.append((readings.card.name, d.step))
    return found


def shows(channels: Array, variance: Array) -> bool:
    """Whether black and white show under a drawdown, of its channels (2, C) over both.

    Parameters
    ----------
    channels : (2, C) array
        Over black and over white; NaN where unread.
    variance : (2, C) array
        Of the channels.

    Returns
    -------
    bool
    """
    apart = np.ptp(channels, axis=0)
    sure = _SURE * np.sqrt(variance.sum(axis=0))
    return bool(np.any(apart > sure + _SHOWS * channels.mean(axis=0)))
