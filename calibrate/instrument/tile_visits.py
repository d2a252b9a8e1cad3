"""When the white tile and the black trap are read, and whether what was read there can be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from ..optics.spectra import Array
from .attended import Attended, now
from .doubts import tile_doubt
from .faults import Fault, Refused
from .progress import BLACK_TRAP, VOID, WHITE_TILE, RawReading
from .questions import Question

_CLOSING_S = 900.0
"""A sitting that went on for longer since its last tile ends on the tile, so that drift shows."""
_LAMP_S = 300.0
"""How often the lamp's hours are asked for."""
_KINDS: dict[str, Literal["white", "black"]] = {BLACK_TRAP: "black", WHITE_TILE: "white"}


class TileVisits:
    """The visits of a sitting to tile and trap.

    Parameters
    ----------
    attended : Attended
    others : sequence of str
        Further tiles, greys and coloured ones, each read once.
    """

    def __init__(self, attended: Attended, others: Sequence[str] = ()) -> None:
        self._attended = attended
        self._others = tuple(others)
        self._last: dict[str, float] = {}
        self._after_calibration: dict[str, Array] = {}
        """What a place read just after it was calibrated on; what drift is calculated from."""
        self._left_out: set[str] = set()
        self._lamp: float | None = None
        self._lamp_asked = 0.0

    def due(self) -> None:
        """Visit whatever is due."""
        due, clock = self._attended.instrument.profile.due, self._attended.clock
        if self._attended.lost:
            self._attended.lost = False
            self._last.pop(WHITE_TILE, None)
        for place, minutes in ((BLACK_TRAP, due.trap_minutes), (WHITE_TILE, due.tile_minutes)):
            if place in self._left_out:
                continue
            if place not in self._last:
                first = place not in self._after_calibration
                self._visit(place, "" if first else "to see that nothing has moved")
            elif (age := clock() - self._last[place]) > 60 * minutes:
                self._visit(place, f"{age / 60:.0f} minutes have passed")
            elif place == WHITE_TILE and self._lamp_is_due():
                self._visit(place, "its lamp has burnt for long")
        for place in self._others:
            if place not in self._left_out and not self._attended.progress.counting(place):
                self._visit(place, "its certificate is known, so it is read once")

    def wanted(self, kind: Literal["white", "black"]) -> None:
        """Take note that the instrument itself wants to be calibrated."""
        place = next(place for place, known in _KINDS.items() if known == kind)
        self._left_out.discard(place)
        self._last.pop(place, None)
        self._after_calibration.pop(place, None)

    def close(self) -> None:
        """End on the tile where the last visit was long ago."""
        last = self._last.get(WHITE_TILE)
        if last is not None and self._attended.clock() - last > _CLOSING_S:
            self._visit(WHITE_TILE, "the last time: it shows whether the instrument has drifted")

    def _lamp_is_due(self) -> bool:
        if self._lamp is None or self._attended.clock() - self._lamp_asked < _LAMP_S:
            return False
        hours = self._lamp_hours()
        limit = self._attended.instrument.profile.due.lamp_hours
        return hours is not None and hours - self._lamp > limit

    def _lamp_hours(self) -> float | None:
        self._lamp_asked = self._attended.clock()
        try:
            return self._attended.instrument.lamp_hours()
        except Fault:
            return None  # a lamp that doesn't tell is no reason to stop; the next reading will say

    def _visit(self, place: str, why: str) -> None:
        """Ask for a place until it is read, or left out, or another must come first."""
        while place not in self._left_out:
            question = Question("tile", place, why, ("read", "skip", "stop"))
            if self._attended.ask(question) == "skip":
                self._left_out.add(place)
                return
            try:
                if self._settled_on(place):
                    self._last[place] = self._attended.clock()
                    return
            except Refused as refused:
                self._attended.tell(str(refused))
                self.wanted(refused.due or "white")
                if refused.due != _KINDS.get(place):
                    return

    def _settled_on(self, place: str) -> bool:
        """Read a place; where it isn't as it was, calibrate on it and read it again.

        It is read before too, because an instrument calibrated on the wrong thing can't tell.
        """
        reference, seen = self._after_calibration.get(place), None
        try:
            seen = self._read(place, reference)
            if seen is None or place not in _KINDS:
                return seen is not None
        except Refused as refused:
            if refused.due != _KINDS.get(place):
                raise
            # It wants to be calibrated before it reads at all.
        if seen is not None and reference is not None:
            if (off := _off(seen, reference)) <= self._attended.instrument.profile.due.drift:
                return True
            self._attended.tell(f"{place} is off by {off:.3f}: calibrating anew")
        calibrate = self._attended.instrument.calibrate
        done = self._attended.steadily(lambda: calibrate(_KINDS[place]), place, "no calibration")
        after = self._read(place, calibrated=True) if done else seen
        if done is None:
            self._left_out.add(place)
        if after is not None:
            self._after_calibration[place] = after
        return after is not None

    def _read(
        self, place: str, reference: Array | None = None, calibrated: bool = False
    ) -> Array | None:
        """Read a place once and have it kept; None where it must be asked for again."""
        attended = self._attended
        values = attended.take(place)
        if values is None:
            self._left_out.add(place)
            return None
        said: dict[str, Any] = {"calibrated": calibrated}
        if (hours := self._lamp_hours()) is not None:
            self._lamp = said["lamp_hours"] = hours
        if reference is not None:
            said["drift"] = _off(values, reference)
        kind = _KINDS.get(place)
        doubt = tile_doubt(kind, values, attended.instrument.profile.due) if kind else None
        if doubt is not None:
            said[VOID] = doubt
        round_, repeat = attended.progress.following(place, anew=True)
        attended.keep(RawReading(place, round_, repeat, now(), values, said))
        if doubt is None:
            return values
        answer = attended.ask(Question("doubt", place, doubt, ("again", "keep", "skip", "stop")))
        if answer == "skip":
            self._left_out.add(place)
        return values if answer == "keep" else None


def _off(values: Array, reference: Array) -> float:
    """Largest change of a reflectance, where both were read."""
    return float(np.nan_to_num(np.abs(values - reference)).max())
