"""What another picture, or a card of mixtures, would make of a scanned fit, before it is taken.

Not the answer is foreseen but how sure it will be: what a fit believes is read once more by a
device that nobody knows, or in mixtures by the same device, without any error, and fitted again.
Bands depend on what is read far more than on how it comes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ...cards.card import BARE, SUBSTRATES, Card, Drawdown
from ...cards.channels import CardChannels, by_card, side_by_side
from ...optics.coefficients import Coefficients
from ...optics.predict import predict_mixes
from ...optics.sensors import Sensors
from ...optics.spectra import GRID, Array
from ...optics.unknown_sensors import unknown_sensors
from ..problem.result import JointFit
from ..problem.settings import FitSettings
from ..problem.tube import Tube
from .problem import bare_spectrum
from .recovery import fit_scan

MIXTURES = 10
_NOISE = (0.0015, 0.012)
"""Of the imagined readings: offset and share of the value, as of a device without a target."""
_LEVEL = 0.01
_MOST_PAIRS = 15


@dataclass(frozen=True)
class Surer:
    """How sure mixes are, as the median of their bands (CIEDE2000, 95 of 100).

    Attributes
    ----------
    by_device : float
        Once another device has seen the same cards too.
    by_mixtures : float
        Once the same devices have seen a card of `MIXTURES` mixtures.
    """

    now: float
    by_device: float
    by_mixtures: float
    by_both: float


def surer(
    devices: Sequence[tuple[Sensors, Sequence[CardChannels]]],
    tubes: Mapping[str, Tube],
    fit: JointFit,
    settings: FitSettings | None = None,
) -> Surer:
    """Say how much surer mixes get by another device, by mixtures, and by both.

    Parameters
    ----------
    devices : sequence of (Sensors, sequence of CardChannels)
        That were fitted: each with what it read.
    tubes : mapping of nickname to Tube
    fit : JointFit
        Of these readings.
    settings : FitSettings, optional
        As the fit had them.

    Returns
    -------
    Surer
    """
    ladders = [r for r in by_card(devices[0][1]) if r.card.purpose == "fit"]
    white = next((d.white for r in ladders for d in r.card.drawdowns if d.white), None)
    mixes = _pairs([p for p in fit.coefficients.paints if p != white], white)
    seen = _as_fitted([sensors for sensors, _ in devices], fit)
    other = unknown_sensors(devices[0][0].tones)
    again = (other, [_seen_again(r, fit, seen[0], other) for r in ladders])
    taught = [
        (sensors, [*cards, _mixtures(mixes, ladders[0], fit, as_fitted)])
        for (sensors, cards), as_fitted in zip(devices, seen, strict=True)
    ]
    both = (other, [*again[1], _mixtures(mixes, ladders[0], fit, other)])

    def unsure(*some: tuple[Sensors, Sequence[CardChannels]]) -> float:
        joined = Sensors.side_by_side([sensors for sensors, _ in some])
        cards = side_by_side([cards for _, cards in some])
        made = fit_scan(cards, tubes, joined, settings=settings, look=False)
        return _band(made.coefficients, mixes)

    return Surer(
        _band(fit.coefficients, mixes), unsure(*devices, again), unsure(*taught),
        unsure(*taught, both),
    )  # fmt: skip


def _pairs(paints: Sequence[str], white: str | None) -> list[dict[str, float]]:
    """Mixes of two paints, and the same with white in turn; of one paint with its white alone."""
    pairs: Sequence[tuple[str, ...]] = list(combinations(paints, 2))[:_MOST_PAIRS]
    if not pairs:
        pairs = [(paint,) for paint in paints]
    found = []
    for i, pair in enumerate(pairs):
        parts = dict.fromkeys(pair, 1.0)
        if white is not None and (i % 2 or len(pair) == 1):
            parts[white] = 4.0
        found.append(parts)
    return found


def _band(found: Coefficients, mixes: Sequence[Mapping[str, float]]) -> float:
    return float(np.median(predict_mixes(found, mixes).band()))


def _as_fitted(devices: Sequence[Sensors], fit: JointFit) -> list[Sensors]:
    """The sensors as the fit found them to be, as unsure as before."""
    found = fit.nuisances.set_index("name")["value"]
    result, first = list[Sensors](), 1
    for each in devices:
        names = [f"sensitivity {first + i}" for i in range(len(each.factors))]
        moved = np.einsum("e,ecw->cw", [found.get(n, 0.0) for n in names], each.factors)
        result.append(replace(each, sensitivity=each.sensitivity + moved))
        first += len(names)
    return result


def _read_of(card: CardChannels, labels: Sequence[str], values: Array) -> CardChannels:
    """Readings of a card without error, as sure as such a device's are."""
    variance = (_NOISE[0] + _NOISE[1] * np.abs(values)) ** 2
    return replace(
        card, channels=values, variance=variance, labels=tuple(labels), level=_LEVEL,
        clipped=frozenset(), source="imagined",
    )  # fmt: skip


def _seen_again(card: CardChannels, fit: JointFit, seen: Sensors, other: Sensors) -> CardChannels:
    """What another device would read of a card."""
    spectra: dict[str, Array] = {}
    for paint in fit.paints.values():
        mine = paint.residuals[paint.residuals["card"] == card.card.name]
        for label, rows in mine.groupby("patch"):
            spectra[str(label)] = rows.sort_values("wavelength")["fitted"].to_numpy(float)
    averaged = card.averaged()
    for substrate in SUBSTRATES:
        label = f"{BARE}/{substrate}"
        if label in averaged.labels:
            i = averaged.labels.index(label)
            spectra[label], _ = bare_spectrum(
                substrate, card.surface, seen.sensitivity, averaged.channels[i],
                averaged.variance[i],
            )  # fmt: skip
    whole = {k: v for k, v in spectra.items() if v.size == GRID.size and np.isfinite(v).all()}
    return _read_of(card, list(whole), other.read(np.array(list(whole.values()))))


def _mixtures(
    mixes: Sequence[Mapping[str, float]], like: CardChannels, fit: JointFit, seen: Sensors
) -> CardChannels:
    """What a device would read of a card of mixtures that hide."""
    some = [mixes[i % len(mixes)] for i in range(min(MIXTURES, len(mixes)))]
    steps = tuple(
        Drawdown(f"mix {i + 1}", None, {p: 2.0 * g for p, g in mix.items()}, opaque=True)
        for i, mix in enumerate(some)
    )
    card = Card("imagined mixtures", "", steps, purpose="learn", balance_g=like.card.balance_g)
    values = np.nan_to_num(seen.read(predict_mixes(fit.coefficients, some).reflectance))
    labels = [f"{d.step}/{over}" for d in steps for over in SUBSTRATES]
    twice = np.repeat(values, len(SUBSTRATES), axis=0)
    return _read_of(replace(like, card=card), labels, twice)
