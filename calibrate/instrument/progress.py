"""How far a sitting has come: what was read of each patch, how often, and what counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..optics.spectra import Array
from .tiles import PREFIX, TRAP

WHITE_TILE, BLACK_TRAP = f"{PREFIX}white", f"{PREFIX}{TRAP}"
VOID = "void"
"""What is said of a reading that can't be of any paint: it is kept, and doesn't count."""


@dataclass(frozen=True)
class RawReading:
    """One reading, just as the instrument sent it.

    Attributes
    ----------
    place : str
        A patch, or a tile such as ``tile/white``.
    round : int
        From 1; a further one where the place was read again: then only the last counts.
    repeat : int
        From 1, within the round.
    taken : str
        When, ISO 8601, UTC.
    values : (W,) array
        Reflectance as a fraction; NaN where it sent none.
    said : mapping
        What else is known: ``doubt``, ``void``, ``calibrated``, ``drift``, ``lamp_hours``,
        ``suffers`` (what the instrument says of it), ``full_scale`` (nm), and ``dialogue`` (all
        that went over the line for it).
    """

    place: str
    round: int
    repeat: int
    taken: str
    values: Array
    said: Mapping[str, Any] = field(default_factory=dict)

    @property
    def is_tile(self) -> bool:
        """Whether it is of a tile or the trap."""
        return self.place.startswith(PREFIX)


class Progress:
    """The readings of a sitting so far.

    Parameters
    ----------
    repeats : int
        How often each patch is read.
    readings : iterable of RawReading
        In the order in which they were taken.
    skipped : iterable of str
        Patches passed over.
    """

    def __init__(
        self, repeats: int, readings: Iterable[RawReading] = (), skipped: Iterable[str] = ()
    ) -> None:
        self.repeats = repeats
        self.readings = list(readings)
        self.skipped = {patch for patch in skipped if not self.is_done(patch)}

    def add(self, reading: RawReading) -> None:
        """Take in one more."""
        self.readings.append(reading)
        if not reading.is_tile:
            self.skipped.discard(reading.place)

    def counting(self, place: str) -> list[RawReading]:
        """Return the readings of a place that count: its last round, without void ones."""
        of_place = [r for r in self.readings if r.place == place]
        last = max((r.round for r in of_place), default=0)
        return [r for r in of_place if r.round == last and VOID not in r.said]

    def read_again(self) -> list[RawReading]:
        """Return the readings that no longer count, because their place was read again."""
        counting = {id(r) for place in self.places() for r in self.counting(place)}
        return [r for r in self.readings if not r.is_tile and id(r) not in counting]

    def places(self) -> list[str]:
        """Every patch read, in the order of its first reading."""
        return list(dict.fromkeys(r.place for r in self.readings if not r.is_tile))

    def mean(self, place: str) -> Array | None:
        """Mean of the readings of a place that count, (W,); None where there are none."""
        rows = [r.values for r in self.counting(place)]
        return np.mean(rows, axis=0) if rows else None

    def last_stretch(self) -> tuple[Array, Array, Array, list[str]] | None:
        """The white tile before the patches read last, after them and now, (W,) each, and these.

        None where it wasn't read on both sides.
        """
        counts = [r for r in self.readings if VOID not in r.said]
        white = [i for i, r in enumerate(counts) if r.place == WHITE_TILE]
        last = max((i for i, r in enumerate(counts) if not r.is_tile), default=-1)
        before, after = [i for i in white if i < last], [i for i in white if i > last]
        if not before or not after:
            return None
        patches = [r.place for r in counts[before[-1] : last + 1] if not r.is_tile]
        one, other, now_ = (counts[i].values for i in (before[-1], after[0], white[-1]))
        return one, other, now_, list(dict.fromkeys(patches))

    def is_done(self, place: str) -> bool:
        """Whether a place was read as often as it should be."""
        return len(self.counting(place)) >= self.repeats

    def following(self, place: str, anew: bool = False) -> tuple[int, int]:
        """Round and repeat of the next reading of a place.

        Parameters
        ----------
        place : str
            Patch or tile.
        anew : bool
            Whether a round begins.

        Returns
        -------
        round, repeat : int
        """
        of_place = [r for r in self.readings if r.place == place]
        if not of_place:
            return 1, 1
        last = max(r.round for r in of_place)
        if anew or self.is_done(place):
            return last + 1, 1
        return last, max(r.repeat for r in of_place if r.round == last) + 1
