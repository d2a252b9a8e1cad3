"""An instrument on a line: asked in the words of its profile, and asked again after a fault."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ..optics.spectra import Array
from .faults import Busy, Fault, Garbled, Lost, Refused, Silent
from .line import Line
from .profile import Command, Profile
from .reply import Grammar, escaped, numbers

_BUSY_S = 0.2  # s between two askings of a busy instrument
_STALE = 20
"""Late replies passed over while looking for the one that was asked for."""
_SILENCES = 3
"""Patience in a row, after which what was late won't come any more."""


@dataclass(frozen=True)
class Identity:
    """Who an instrument says it is; empty where it doesn't."""

    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""

    @property
    def name(self) -> str:
        """What to call it: model and serial number."""
        return " ".join(part for part in (self.model, self.serial) if part)


def _identity(said: dict[str, str]) -> Identity:
    return Identity(**{field: said[field].strip() for field in vars(Identity()) if field in said})


class Instrument:
    """An instrument, spoken to as its profile says.

    Parameters
    ----------
    profile : Profile
    line : Line
    wait : callable, optional
        Waits for a number of seconds.
    """

    def __init__(
        self, profile: Profile, line: Line, wait: Callable[[float], None] = time.sleep
    ) -> None:
        self.profile = profile
        self.line = line
        self.identity = Identity()
        self._wait = wait
        self._settled = True
        self._owed = 0
        """Answers to who it is that may still come."""
        self._heard: Garbled | None = None
        """What came instead when it was asked last."""

    def begin(self) -> Identity:
        """Make it ready and ask who it is.

        Raises
        ------
        Fault
            Where it doesn't answer, or another instrument does than before.
        """
        before, self.identity = self.identity, Identity()
        # Whatever another program, or this one before the port was lost, had asked.
        self._settled, self._owed = "identify" not in self.profile.commands, 0
        try:
            self._once("begin")
            found = self._identify() if "identify" in self.profile.commands else Identity()
        finally:
            self.identity = before
        if before.name and before.name != found.name:
            raise Refused(f"another instrument answers: {found.name}, not {before.name}")
        self.identity = found
        return found

    def _identify(self) -> Identity:
        found: Identity = self._ask("identify", _identity)
        return found

    def calibrate(self, kind: Literal["white", "black"]) -> bool:
        """Have it calibrate on its white tile or black trap; False where it has no command for it.

        Raises
        ------
        Fault
        """
        if kind not in self.profile.commands:
            return False
        self._ask(kind)
        return True

    def measure(self) -> Array:
        """Read what lies under it.

        Returns
        -------
        (W,) array
            Reflectance as a fraction on the profile's wavelengths; NaN where it sent none.

        Raises
        ------
        Fault
        """
        found: Array = self._ask("measure", self.spectrum)
        return found

    def lamp_hours(self) -> float | None:
        """Return how long its lamp has burnt, h; None where it doesn't tell.

        Raises
        ------
        Fault
        """
        if "lamp" not in self.profile.commands:
            return None
        hours: float = self._ask("lamp", lambda said: numbers(said["hours"], ",")[0])
        return hours

    def spectrum(self, said: dict[str, str]) -> Array:
        """Return the reflectance in the fields of a reply, as `measure`.

        Raises
        ------
        Garbled
            Where its length is wrong, or something in it is no number.
        """
        values = np.array(numbers(said["values"], self.profile.separator, self.profile.missing))
        expected = self.profile.wavelengths.size
        if values.size != expected:
            raise Garbled(f"expected a spectrum of {expected} values, got {values.size}")
        return values / (100.0 if self.profile.unit == "percent" else 1.0)

    def _ask(self, name: str, take: Callable[[dict[str, str]], Any] = dict) -> Any:
        """Ask until a sound answer comes or patience ends; the last fault is raised."""
        tries = self.profile.line.retries
        patient_until = time.monotonic() + self.profile.commands[name].timeout_s
        while True:
            if not self._settled and not self._settle():
                raise self._heard or Silent("nothing came back, whatever was asked")
            try:
                return take(self._once(name))
            except Lost:
                raise
            except Fault as met:
                self._owed += name == "identify" and isinstance(met, Silent)
                fault = met if isinstance(met, Busy) else self._reason(met)
            if isinstance(fault, Busy) and time.monotonic() < patient_until:
                self._wait(_BUSY_S)
                continue
            if tries == 0 or isinstance(fault, Busy) or getattr(fault, "due", None):
                raise fault
            tries -= 1

    def _once(self, name: str) -> dict[str, str]:
        return self.understand(name, self.talk(name)) if name in self.profile.commands else {}

    def talk(self, name: str) -> bytes:
        """Send a command once and return what comes back, its end taken off.

        Raises
        ------
        Fault
        """
        command = self.profile.commands[name]
        self.line.drain()
        self.line.send(command.send + self.profile.line.end)
        if command.reply is None:
            return b""
        return self.line.receive(command.reply_end, command.timeout_s)

    def understand(self, name: str, reply: bytes) -> dict[str, str]:
        """Return the fields of a reply to a command.

        Parameters
        ----------
        name : str
            Of the command.
        reply : bytes
            Without its end mark.

        Returns
        -------
        mapping of field to value

        Raises
        ------
        Garbled
            Where it isn't one.
        Busy, Refused
            Where it says so.
        """
        grammar = self.profile.commands[name].reply
        if grammar is None:
            return {}
        said = grammar.read(reply)
        self._check_status(said)
        if any(field not in said for field in grammar.fields):
            raise Garbled(f"expected {grammar.pattern}, got a status alone")
        return said

    def _check_status(self, said: dict[str, str]) -> None:
        code, status = said.get("status"), self.profile.status
        if code is None or code in status.ok:
            return
        words = escaped(said.get("message", "").encode("latin-1")) or status.errors.get(code, "")
        if code in status.busy:
            raise Busy("the instrument is busy")
        if code in status.white:
            raise Refused(words or "the instrument wants its white tile first", "white")
        if code in status.black:
            raise Refused(words or "the instrument wants its black trap first", "black")
        raise Refused(f"the instrument says: {words or 'status'} ({code})")

    def _settle(self) -> bool:
        """Come to where the next reply is that of the next command; say whether it is so.

        An instrument answers in order. So once it has said who it is as often as it was asked,
        whatever was late has come.
        """
        self._once("abort")
        command = self.profile.commands.get("identify")
        grammar = command.reply if command is not None else None
        if command is None or grammar is None:
            self._wait(_BUSY_S)
            while self.line.drain():
                self._wait(_BUSY_S)
            self._settled = True
            return True
        self.line.send(command.send + self.profile.line.end)
        self._owed += 1
        self._settled, self._heard, silences = False, None, 0
        for _ in range(_STALE):
            try:
                found = self._is_reply(command, grammar)
            except Silent:
                silences += 1
                if silences == _SILENCES:
                    # Those that haven't come by now were swallowed.
                    self._owed = 0
            else:
                self._owed -= found
                self._settled, silences = self._settled or found, 0
            if self._owed <= 0:
                break
        return self._settled

    def _is_reply(self, command: Command, grammar: Grammar) -> bool:
        """Whether the next reply says who it is. One that is late may look so: then another."""
        try:
            reply = self.line.receive(command.reply_end, command.timeout_s)
            who = _identity(grammar.read(reply))
        except Garbled as heard:
            self._heard = heard
            return False
        return self.identity in (Identity(), who)

    def _reason(self, fault: Fault) -> Fault:
        """After a fault: settle the line, and let an instrument that can say what went wrong."""
        self._settled = False
        if self._settle() and not isinstance(fault, Refused):
            try:
                self._once("error")
            except (Busy, Refused) as said:
                return said
            except (Garbled, Silent):
                self._settled = False
        return fault
