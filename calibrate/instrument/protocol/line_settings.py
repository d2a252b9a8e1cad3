"""Which settings of a line an instrument answers by, where those of its profile bring nonsense."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from ..faults import Fault
from .message import taker
from .numbers import BINARY

if TYPE_CHECKING:
    from ..instrument import Instrument
    from ..line import Line
    from ..profile import LineSettings, Profile

BAUDS = (9600, 19200, 38400, 57600, 115200, 4800, 2400, 1200, 230400)
"""Rates, the usual first."""
FRAMES = ((8, "N", 1), (7, "E", 1), (8, "E", 1), (7, "O", 1), (8, "O", 1), (8, "N", 2), (7, "E", 2))
"""Data bits, parity and stop bits, the usual first."""
_HARMLESS = ("identify", "lamp", "error", "poll", "measure")
"""What an instrument may be asked without moving anything, best first."""
_PATIENCE_S = 1.0
_FILLING, _SETTLED_S = 300, 0.3
_PARITY = {"N": "none", "E": "even", "O": "odd", "M": "mark", "S": "space"}


def in_words(settings: LineSettings) -> str:
    """Return settings as a profile says them.

    Parameters
    ----------
    settings : LineSettings

    Returns
    -------
    str
    """
    return (
        f'baud = {settings.baud}, bits = {settings.bits}, parity = "{_PARITY[settings.parity]}", '
        f"stop = {settings.stop:g}"
    )


def that_answer(
    profile: Profile, opened: Callable[[LineSettings], Line], tell: Callable[[str], None]
) -> list[LineSettings]:
    """Try line settings until an instrument answers as its profile has it.

    Parameters
    ----------
    profile : Profile
    opened : callable
        Opens the line with settings.
    tell : callable
        Told what is tried.

    Returns
    -------
    list of LineSettings
        Those of one baud rate by which it answers: bits and parity can't always be told apart by a
        short reply. Empty where it answers by none, or can't be asked.
    """
    from ..instrument import Instrument

    probe = next(
        (n for n in _HARMLESS if n in profile.commands and not profile.commands[n].button), None
    )
    if probe is None:
        return []
    usual = profile.line
    framed = (True,) if profile.frame is not None else ()
    for baud in (usual.baud, *(baud for baud in BAUDS if baud != usual.baud)):
        tell(f"trying {baud} baud")
        found = []
        for bits, parity, stop in FRAMES:
            settings = replace(usual, baud=baud, bits=bits, parity=parity, stop=stop)
            with closing(opened(settings)) as line:
                asked = Instrument(replace(profile, line=settings), line)
                if any(_answers(asked, probe, fill) for fill in (False, *framed)):
                    found.append(settings)
        if found:
            return found
    return []


def _answers(instrument: Instrument, name: str, fill: bool) -> bool:
    """Whether one command is replied to as the profile has it, be it with a failure."""
    profile, command = instrument.profile, instrument.profile.commands[name]
    if command.reply is None:
        return False
    line, patience = instrument.line, min(_PATIENCE_S, command.timeout_s)
    try:
        if fill:
            # What was sent by other settings may look like half a message: that must be over first.
            line.send(bytes(_FILLING))
            with suppress(Fault):
                line.receive(lambda _: None, _SETTLED_S)
        line.drain()
        line.send(profile.said(command.send))
        reply = line.receive(taker(profile, command), patience)
        said = command.reply.read(reply)
    except Fault:
        return False
    if profile.values.form not in BINARY and any(byte > 127 for byte in reply):
        return False  # text has seven bits: the eighth is the parity
    status = profile.status
    known = {*status.ok, *status.busy, *status.white, *status.black, *status.errors}
    return "status" not in said or said["status"] in known
