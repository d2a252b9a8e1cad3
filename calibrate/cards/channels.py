"""A card as scanners or cameras saw it: three numbers a device of each patch, not a spectrum."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..optics.spectra import Array
from ..optics.surface import Surface
from .card import Card

ONE_SIDED = "is known from one side only"
"""What a flag says of a channel at its zero or its full-scale code."""


def one_sided(flags: Iterable[tuple[str, str]]) -> frozenset[str]:
    """Patches of which a flag says that a channel is known from one side only.

    Parameters
    ----------
    flags : iterable of (label, words)

    Returns
    -------
    frozenset of str
    """
    return frozenset(label for label, words in flags if ONE_SIDED in words)


@dataclass(frozen=True)
class CardChannels:
    """A scanned card: the channels of each patch, linear in light.

    Attributes
    ----------
    channels : (N, C) array
        Red, green and blue of a device; of several devices those of each in turn (see
        `side_by_side`). A perfect diffuser reads 1. NaN where a patch could not be sampled.
    variance : (N, C) array
        Of each value, stray light and uneven lighting included as far as they were removed.
    labels : tuple of N str
        The card's patch labels; a patch sampled in several places is a row for each.
    surface : Surface
        Of a glossy drawdown as a scanner sees it: 45:0.
    source : str
        The picture.
    level : float or (C,) array
        Relative standard uncertainty of a factor that all values of a device share, beside the
        variance: how bright the whole scan is.
    clipped : frozenset of str
        Patches of which a channel is at its zero or its full-scale code: its value is the middle of
        what it may be, and its variance that of all between.
    """

    card: Card
    channels: Array
    variance: Array
    labels: tuple[str, ...]
    surface: Surface
    source: str
    level: float | Array = 0.0
    clipped: frozenset[str] = frozenset()

    @property
    def uncertainty(self) -> Array:
        """Standard uncertainty of each value, everything counted, (N, C)."""
        result: Array = np.sqrt(self.variance + (self.level * self.channels) ** 2)
        return result

    def averaged(self) -> CardChannels:
        """The same with one row for each patch, its rows' mean; unread rows are passed over."""
        names = tuple(dict.fromkeys(self.labels))
        place = {name: i for i, name in enumerate(names)}
        of = np.array([place[label] for label in self.labels], dtype=np.intp)
        good = np.isfinite(self.channels)
        count, values, variances = np.zeros((3, len(names), self.channels.shape[1]))
        np.add.at(count, of, good)
        np.add.at(values, of, np.where(good, self.channels, 0.0))
        np.add.at(variances, of, np.where(good, self.variance, 0.0))
        count[count == 0] = np.nan
        return replace(self, channels=values / count, variance=variances / count**2, labels=names)


def by_card(scans: Sequence[CardChannels]) -> list[CardChannels]:
    """One for each card: the rows of all its scans together, in the order of the first ones."""
    of_card: dict[str, list[CardChannels]] = {}
    for scan in scans:
        of_card.setdefault(scan.card.name, []).append(scan)
    return [
        replace(
            same[0],
            channels=np.concatenate([scan.channels for scan in same]),
            variance=np.concatenate([scan.variance for scan in same]),
            labels=tuple(label for scan in same for label in scan.labels),
            source=", ".join(scan.source for scan in same),
            clipped=frozenset().union(*(scan.clipped for scan in same)),
            level=np.sqrt(sum(np.square(scan.level) for scan in same)) / len(same),
        )
        if len(same) > 1
        else same[0]
        for same in of_card.values()
    ]


def side_by_side(devices: Sequence[Sequence[CardChannels]]) -> list[CardChannels]:
    """One for each card, with the channels of every device beside one another.

    Parameters
    ----------
    devices : sequence of sequence of CardChannels
        What each device scanned, all of one geometry. A card counts as the first device has it.

    Returns
    -------
    list of CardChannels
        Averaged; NaN, and of unknown variance, where a device did not see a patch.
    """
    of_card: dict[str, dict[int, CardChannels]] = {}
    for d, scans in enumerate(devices):
        for scan in by_card(scans):
            of_card.setdefault(scan.card.name, {})[d] = scan.averaged()
    found = []
    for seen in of_card.values():
        labels = tuple(dict.fromkeys(label for scan in seen.values() for label in scan.labels))
        channels = np.full((len(labels), len(devices), 3), np.nan)
        variance, level = channels.copy(), np.zeros((len(devices), 3))
        for d, scan in seen.items():
            rows = [labels.index(label) for label in scan.labels]
            channels[rows, d], variance[rows, d] = scan.channels, scan.variance
            level[d] = scan.level
        first = next(iter(seen.values()))
        found.append(
            replace(
                first,
                channels=channels.reshape(len(labels), -1),
                variance=variance.reshape(len(labels), -1),
                labels=labels,
                source=", ".join(scan.source for scan in seen.values()),
                level=level.ravel(),
                clipped=frozenset().union(*(scan.clipped for scan in seen.values())),
            )
        )
    return found
