"""A card as a scanner or camera saw it: three numbers a patch instead of a spectrum."""

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
    """A scanned card: three channels for each patch, linear in light.

    Attributes
    ----------
    card : Card
    channels : (N, 3) array
        Red, green and blue; a perfect diffuser reads 1. NaN where a patch could not be sampled.
    variance : (N, 3) array
        Of each value, stray light and uneven lighting included as far as they were removed.
    labels : tuple of N str
        The card's patch labels; a patch sampled in several places is a row for each.
    surface : Surface
        Of a glossy drawdown as a scanner sees it: 45:0.
    source : str
        The picture.
    level : float
        Relative standard uncertainty of a factor that all its values share, beside the variance:
        how bright the whole scan is.
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
    level: float = 0.0
    clipped: frozenset[str] = frozenset()

    @property
    def uncertainty(self) -> Array:
        """Standard uncertainty of each value, everything counted, (N, 3)."""
        result: Array = np.sqrt(self.variance + (self.level * self.channels) ** 2)
        return result

    def averaged(self) -> CardChannels:
        """The same with one row for each patch, its rows' mean; unread rows are passed over."""
        names = tuple(dict.fromkeys(self.labels))
        values, variances = [], []
        good = np.isfinite(self.channels).all(axis=1)
        for name in names:
            rows = np.array([label == name for label in self.labels])
            at = rows & good
            if not at.any():
                at = rows
            values.append(self.channels[at].mean(axis=0))
            variances.append(self.variance[at].mean(axis=0) / at.sum())
        return replace(self, channels=np.array(values), variance=np.array(variances), labels=names)


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
            level=float(np.linalg.norm([scan.level for scan in same])) / len(same),
        )
        if len(same) > 1
        else same[0]
        for same in of_card.values()
    ]
