"""An instrument on a line: asked in the words of its profile, and asked again after a fault."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ..optics.spectra import Array
from .faults import Busy, Fault, Garbled, Lost, Refused, Silent
from .line import Line
from .profile import Command, Profile
from .protocol.message import taker
from .protocol.reply import Grammar, escaped

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


def _hours(said: dict[str, str]) -> float:
    try:
        return float(said["hours"])
    except ValueError:
        raise Garbled(f"expected hours, got {said['hours'][:24]}") from None


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
        self._late_s = _BUSY_S
        self._owed = 0
        """Answers to who it is that may still come."""
        self._heard: Garbled | None = None
        """What came instead when it was asked last."""
        self.remarks: tuple[str, ...] = ()
        """What its last reading was said to suffer from."""
        self.full_scale = np.zeros(profile.wavelengths.size, dtype=bool)
        """At which wavelengths its last reading was beyond its scale."""

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
        hours: float = self._ask("lamp", _hours)
        return hours

    def spectrum(self, said: dict[str, str]) -> Array:
        """Return the reflectance in the fields of a reply, as `measure`.

        Raises
        ------
        Garbled
            Where its length is wrong, or something in it is no number.
        """
        values, self.full_scale = self.profile.values.read(said["values"], self.profile.wavelengths)
        flags = int(said.get("flags", "0") or 0)
        self.remarks = tuple(
            words for bit, words in self.profile.status.flags.items() if flags & bit
        )
        return values

    def forget(self) -> None:
        """Have it forget its calibrations, where it has a command for that.

        Raises
        ------
        Fault
        """
        if "forget" in self.profile.commands:
            self._ask("forget")

    def listen(self) -> None:
        """Pass over what came unasked; of a button pressed early nothing may pass for a reading.

        Raises
        ------
        Lost
        """
        self.line.drain()

    def _ask(self, name: str, take: Callable[[dict[str, str]], Any] = dict) -> Any:
        """Ask until a sound answer comes or patience ends; the last fault is raised."""
        command = self.profile.commands[name]
        tries = 0 if command.button else self.profile.line.retries
        patient_until = self.line.clock() + command.timeout_s
        while True:
            if not self._settled and not self._settle():
                raise self._heard or Silent("nothing came back, whatever was asked")
            try:
                return take(self.carry_out(name))
            except Lost:
                raise
            except Fault as met:
                self._owed += name == "identify" and isinstance(met, Silent)
                self._late_s = command.timeout_s if isinstance(met, Silent) else _BUSY_S
                fault = met if isinstance(met, Busy) else self._reason(met)
            if isinstance(fault, Busy) and self.line.clock() < patient_until:
                self._wait(command.every_s)
                continue
            if tries == 0 or isinstance(fault, Busy) or getattr(fault, "due", None):
                raise fault
            tries -= 1

    def carry_out(self, name: str) -> dict[str, str]:
        """Send a command once, with all that follows it, and return the fields of the replies.

        Parameters
        ----------
        name : str
            Of the command.

        Raises
        ------
        Fault
        """
        steps = self.profile.commands[name].then
        try:
            said = self._once(name)
        except Busy:
            if "poll" not in steps:
                raise
            # It still does what it was told before: that ends first, well or not.
            with suppress(Refused):
                self._until_ready("poll")
            said = self._once(name)
        for step in steps:
            said |= self._until_ready(step)
        return said

    def _until_ready(self, name: str) -> dict[str, str]:
        """Send a command until it isn't answered that it must wait."""
        command, tries = self.profile.commands[name], self.profile.line.retries
        until = self.line.clock() + command.timeout_s
        while True:
            try:
                return self._once(name)
            except Busy:
                if self.line.clock() > until:
                    raise
                self._wait(command.every_s)
            except (Garbled, Silent):
                # To ask whether it is ready does nothing to it, so that can be asked again.
                if name != "poll" or not tries or not self._settle():
                    raise
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
        if not command.button:
            self.line.drain()
            self.line.send(self.profile.said(command.send))
        if command.reply is None:
            return b""
        return self.line.receive(taker(self.profile, command), command.timeout_s)

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
            Where it says so, or its button did something else.
        """
        grammar = self.profile.commands[name].reply
        if grammar is None:
            return {}
        try:
            said = grammar.read(reply)
        except Garbled:
            if self._does_another(name, reply):
                first = self.profile.calibration.order[0]
                raise Refused("its button did something else: it begins anew", first) from None
            raise
        self._check_status(said)
        if any(field not in said for field in grammar.fields):
            raise Garbled(
                f"expected {escaped(grammar.pattern.encode('latin-1'))}, got a part of it"
            )
        return said

    def _does_another(self, name: str, reply: bytes) -> bool:
        """Whether a press of its button did what is expected of another command."""
        return self.profile.commands[name].button and any(
            other.button and other.reply is not None and other.reply.fits(reply)
            for each, other in self.profile.commands.items()
            if each != name
        )

    def _check_status(self, said: dict[str, str]) -> None:
        code, status = said.get("status"), self.profile.status
        if code is None or code in status.ok:
            return
        words = status.errors.get(code) or escaped(said.get("message", "").encode("latin-1"))
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
            # Nothing tells a late reply from the next one, so it is waited for as long again.
            self._wait(self._late_s)
            while self.line.drain():
                self._wait(_BUSY_S)
            self._settled = True
            return True
        self.line.send(self.profile.said(command.send))
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
            reply = self.line.receive(taker(self.profile, command), command.timeout_s)
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
