"""Tries a profile on its instrument, command by command: what was sent, what came back."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .faults import Busy, Fault, Lost, Refused
from .instrument import Instrument
from .progress import BLACK_TRAP, WHITE_TILE
from .questions import Answer, Question
from .reply import escaped

_ORDER = ("begin", "identify", "lamp", "black", "white", "measure", "error", "abort")
_ON = {"black": BLACK_TRAP, "white": WHITE_TILE, "measure": WHITE_TILE}
"""What must lie under the instrument."""


@dataclass(frozen=True)
class Tried:
    """A command that was tried.

    Attributes
    ----------
    command : str
    sent, got : str
        With what isn't printable escaped.
    seconds : float
    understood : bool
    words : str
        What it means, or what is wrong with it.
    """

    command: str
    sent: str
    got: str
    seconds: float
    understood: bool
    words: str


def try_profile(instrument: Instrument, ask: Callable[[Question], Answer]) -> list[Tried]:
    """Send every command of a profile once.

    Parameters
    ----------
    instrument : Instrument
    ask : callable
        Asked to lay the instrument on tile or trap; ``skip`` leaves the command out.

    Returns
    -------
    list of Tried
        As far as it came: whoever was asked may stop, and the port may go.
    """
    tried: list[Tried] = []
    under = ""
    for name in _ORDER:
        if name not in instrument.profile.commands:
            continue
        if (place := _ON.get(name, under)) != under:
            answer = ask(Question("tile", place, f"to try {name}", ("read", "skip", "stop")))
            if answer == "stop":
                break
            if answer == "skip":
                continue
            under = place
        try:
            tried.append(_try(instrument, name))
        except Lost as lost:
            tried.append(Tried(name, _sent(instrument, name), "", 0.0, False, str(lost)))
            break
    return tried


def _try(instrument: Instrument, name: str) -> Tried:
    got, start = "", time.monotonic()
    try:
        reply = instrument.talk(name)
        got = escaped(reply, 200)
        words = _meaning(instrument, name, instrument.understand(name, reply))
        understood = True
    except (Busy, Refused) as said:
        # Understood, though it wasn't done.
        words, understood = str(said), name == "error"
    except Lost:
        raise
    except Fault as fault:
        words, understood = str(fault), False
    return Tried(name, _sent(instrument, name), got, time.monotonic() - start, understood, words)


def _sent(instrument: Instrument, name: str) -> str:
    return escaped(instrument.profile.commands[name].send + instrument.profile.line.end)


def _meaning(instrument: Instrument, name: str, said: dict[str, str]) -> str:
    if instrument.profile.commands[name].reply is None:
        return "no reply is expected"
    if name == "measure":
        values = instrument.spectrum(said)
        first, last = instrument.profile.wavelengths[[0, -1]]
        return (
            f"{values.size} values, {first:g}-{last:g} nm, reflectance {np.nanmin(values):.3f} to "
            f"{np.nanmax(values):.3f}"
        )
    told = [f"{field} {text.strip()}" for field, text in said.items() if field != "checksum"]
    return ", ".join(told) or "as expected"
