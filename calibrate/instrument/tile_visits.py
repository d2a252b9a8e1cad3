"""When the white tile and the black trap are read, and whether what was read there can be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any, Literal

import numpy as np

from ..optics.spectra import Array
from .attended import Attended, now
from .doubts import tile_doubt
from .faults import Fault, Refused
from .progress import BLACK_TRAP, VOID, WHITE_TILE, RawReading
from .questions import Question

_MOST_PATCHES = 24
"""Patches after which the tile is read in between, so that a jump of the gain can be placed."""
_LAMP_S = 300.0
"""How often the lamp's hours are asked for."""
_KINDS: dict[str, Literal["white", "black"]] = {BLACK_TRAP: "black", WHITE_TILE: "white"}
_PLACES = {kind: place for place, kind in _KINDS.items()}
_PATIENCE = 6
"""How often an instrument may ask for a calibration without reading anything in between."""


class TileVisits:
    """The visits of a sitting to tile and trap.

    Parameters
    ----------
    attended : Attended
    others : sequence of str
        Further tiles, greys and coloured ones, each read once.
    odd : callable
        Says of a reading of a tile why it is at odds with its certificate or with earlier sittings;
        None where it isn't. Nothing is calibrated on such a tile before somebody looked at it.
    """

    def __init__(
        self,
        attended: Attended,
        others: Sequence[str] = (),
        odd: Callable[[str, Array], str | None] = lambda *_: None,
    ) -> None:
        self._attended = attended
        self._others = tuple(others)
        self._odd = odd
        self._accepted: set[str] = set()
        self._patches_then = 0
        self._last: dict[str, float] = {}
        self._after_calibration: dict[str, Array] = {}
        """What a place read just after it was calibrated on; what drift is calculated from."""
        self._left_out: set[str] = set()
        self._lamp: float | None = None
        self._lamp_asked = 0.0
        self._calibrated_at: int | None = None
        """How many readings there were when it was calibrated as a whole; None where it must be."""
        self._refused = 0
        """How often it asked for a calibration since it last read anything."""
        self._read_then = -1

    def due(self) -> None:
        """Visit whatever is due."""
        self._visit_due()
        # Where it must be calibrated as a whole, a visit may have shown that it must be again.
        while self._whole and self._calibrated_at is None:
            self._visit_due()

    def _visit_due(self) -> None:
        due, clock = self._attended.instrument.profile.due, self._attended.clock
        if self._attended.lost:
            self._attended.lost = False
            self._last.pop(WHITE_TILE, None)
            self._calibrated_at = None
        minutes_of = {BLACK_TRAP: due.trap_minutes, WHITE_TILE: due.tile_minutes}
        if self._whole and self._is_stale(minutes_of):
            self._calibrate_all()
        # Where all were calibrated, the instrument still lies on the last of them.
        ends_on_white = self._attended.instrument.profile.calibration.ends_on_white
        places = [*minutes_of][:: -1 if ends_on_white else 1]
        for place in places:
            minutes = minutes_of[place]
            if place in self._left_out:
                continue
            if place not in self._last:
                first = place not in self._after_calibration
                self._visit(place, "" if first else "to see that nothing has moved")
            elif (age := clock() - self._last[place]) > 60 * minutes:
                self._visit(place, f"{age / 60:.0f} minutes have passed")
            elif place == WHITE_TILE and (why := self._control()):
                self._visit(place, why)
        for place in self._others:
            if place not in self._left_out and not self._attended.progress.counting(place):
                self._visit(place, "its certificate is known, so it is read once")

    def wanted(self, kind: Literal["white", "black"]) -> None:
        """Take note that the instrument itself wants to be calibrated."""
        place = _PLACES[kind]
        self._calibrated_at = None
        count = len(self._attended.progress.readings)
        self._refused = self._refused + 1 if count == self._read_then else 1
        self._read_then = count
        if self._refused > _PATIENCE:
            words = (
                f"it asks for its {kind} calibration again and again, and reads nothing: look up "
                "in its manual which comes first, and write the order into its profile"
            )
            self._attended.ask(Question("fault", place, words, ("again", "stop")))
            self._refused = 0
        self._left_out.discard(place)
        self._last.pop(place, None)
        self._after_calibration.pop(place, None)

    @property
    def _whole(self) -> bool:
        """Whether it is calibrated as a whole, before it reads anything."""
        return self._attended.instrument.profile.calibration.before_reading

    def _is_stale(self, minutes_of: dict[str, float]) -> bool:
        """Whether it must be calibrated before it reads on."""
        if self._calibrated_at is None:
            return True
        clock = self._attended.clock()
        old = any(
            clock - self._last[place] > 60 * minutes
            for place, minutes in minutes_of.items()
            if place in self._last
        )
        limit = self._attended.instrument.profile.calibration.readings
        taken = len(self._attended.progress.readings) - self._calibrated_at
        return old or (limit is not None and taken >= limit)

    def _calibrate_all(self) -> None:
        """Calibrate in the instrument's order; nothing can be read before."""
        instrument = self._attended.instrument
        self._forget()
        self._after_calibration.clear()
        profile = instrument.profile
        kinds = [kind for kind in profile.calibration.order if kind in profile.commands]
        # One that was switched off in between wants all of them again.
        while not all(self._calibrate_on(_PLACES[kind], kind) for kind in kinds):
            self._forget()
        self._calibrated_at = len(self._attended.progress.readings)
        for place in _KINDS:
            self._last.pop(place, None)

    def _forget(self) -> None:
        """Have it begin its calibrations anew; that it asks for one is what is wanted."""
        with suppress(Refused):
            self._attended.steadily(self._attended.instrument.forget, "", "no answer")

    def _calibrate_on(self, place: str, kind: Literal["white", "black"]) -> bool:
        """Calibrate on one piece; False where another must come first."""
        calibrate = self._attended.instrument.calibrate
        self._attended.ask(Question("tile", place, "it is calibrated here", ("read", "stop")))
        try:
            self._attended.steadily(lambda: calibrate(kind), place, "no calibration")
        except Refused as refused:
            self._attended.tell(str(refused))
            self.wanted(refused.due or kind)
            return False
        return True

    def close(self) -> None:
        """End on the tile, where patches were read since it was read last."""
        if WHITE_TILE in self._last and self._patches_since():
            self._visit(WHITE_TILE, "the last time: it shows whether the instrument has drifted")

    def _control(self) -> str:
        """Why the tile is read before its time has come; empty where it isn't."""
        if self._lamp_is_due():
            return "its lamp has burnt for long"
        if self._patches_since() >= _MOST_PATCHES:
            return "a control in between: it shows whether the gain has jumped"
        return ""

    def _patches_since(self) -> int:
        """Patches read since the tile was."""
        return len(self._attended.progress.places()) - self._patches_then

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
                    if place == WHITE_TILE:
                        self._patches_then = len(self._attended.progress.places())
                    return
            except Refused as refused:
                self._attended.tell(str(refused))
                self.wanted(refused.due or "white")
                if self._whole or refused.due != _KINDS.get(place):
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
            if self._whole or refused.due != _KINDS.get(place):
                raise
            # It wants to be calibrated before it reads at all.
        if self._whole and seen is not None:
            self._watch_drift(place, seen, reference)
            return True
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

    def _watch_drift(self, place: str, seen: Array, reference: Array | None) -> None:
        """Have all calibrated anew where a tile reads otherwise than after the calibration."""
        self._after_calibration.setdefault(place, seen)
        if reference is None:
            return
        off = _off(seen, reference)
        if off > self._attended.instrument.profile.due.drift:
            self._attended.tell(f"{place} is off by {off:.3f}: calibrating anew")
            self._calibrated_at = None

    def _read(
        self, place: str, reference: Array | None = None, calibrated: bool = False
    ) -> Array | None:
        """Read a place once and have it kept; None where it must be asked for again."""
        attended = self._attended
        values = attended.take(place)
        if values is None:
            self._left_out.add(place)
            return None
        said: dict[str, Any] = attended.said() | {"calibrated": calibrated or self._whole}
        if (hours := self._lamp_hours()) is not None:
            self._lamp = said["lamp_hours"] = hours
        if reference is not None:
            said["drift"] = _off(values, reference)
        kind = _KINDS.get(place)
        doubt = tile_doubt(kind, values, attended.instrument.profile.due) if kind else None
        odd = None if doubt or place in self._accepted else self._odd(place, values)
        if doubt or odd:
            said[VOID] = doubt or odd
        round_, repeat = attended.progress.following(place, anew=True)
        attended.keep(RawReading(place, round_, repeat, now(), values, said))
        if not doubt and not odd:
            return values
        words = said[VOID]
        answer = attended.ask(Question("doubt", place, words, ("again", "keep", "skip", "stop")))
        if answer == "skip":
            self._left_out.add(place)
        elif answer == "keep" and odd:
            # Somebody looked at it, and goes by it: then it counts.
            self._accepted.add(place)
            counts = {key: value for key, value in said.items() if key != VOID} | {"doubt": odd}
            attended.keep(RawReading(place, round_ + 1, repeat, now(), values, counts))
        return values if answer == "keep" else None


def _off(values: Array, reference: Array) -> float:
    """Largest change of a reflectance, where both were read."""
    return float(np.nan_to_num(np.abs(values - reference)).max())
