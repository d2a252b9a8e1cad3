"""Tries a profile on its instrument or on a recorded dialogue: what was sent, what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..optics.spectra import Array
from .faults import Busy, Fault, Garbled, Lost, Refused
from .instrument import Instrument
from .profile import Profile
from .progress import BLACK_TRAP, WHITE_TILE
from .protocol.dialogue import Piece
from .protocol.message import taker
from .protocol.numbers import BINARY
from .protocol.reply import escaped
from .questions import Answer, Question

_ON = {"black": BLACK_TRAP, "white": WHITE_TILE, "measure": WHITE_TILE}
"""What must lie under the instrument."""
_TILE = (0.6, 1.1)
"""What a white tile reads on average."""
_SCALES = {
    100.0: 'percent (unit = "percent")',
    1.0: 'fractions (unit = "fraction")',
    10000.0: "hundredths of a percent (one = 10000)",
}
_SHOWN = 200


@dataclass(frozen=True)
class Tried:
    """A command that was tried.

    Attributes
    ----------
    sent, got : str
        With what isn't printable escaped.
    words : str
        What it means, or what is wrong with it.
    pieces : tuple of Piece
        All that went over the line for it.
    """

    command: str
    sent: str
    got: str
    seconds: float
    understood: bool
    words: str
    pieces: tuple[Piece, ...] = ()


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
    profile, tried, under = instrument.profile, list[Tried](), ""
    order = ("begin", "identify", "lamp", "forget", *profile.calibration.order)
    for name in (*order, "measure", "error", "abort"):
        if name not in profile.commands:
            continue
        place = _ON.get(name, under)
        if place != under or profile.commands[name].button:
            why = f"to try {name}"
            if profile.commands[name].button:
                why += ": press its button, once this is answered"
            answer = ask(Question("tile", place, why, ("read", "skip", "stop")))
            if answer == "stop":
                break
            if answer == "skip":
                continue
            under = place
        tried.append(one := _try(instrument, name, under))
        if not one.understood and one.words.startswith(instrument.line.name):
            break
    return tried


def _try(instrument: Instrument, name: str, under: str) -> Tried:
    dialogue, start = instrument.line.dialogue, instrument.line.clock()
    dialogue.take()
    try:
        words = _meaning(instrument, name, instrument.carry_out(name), under)
        understood = True
    except (Busy, Refused) as said:
        # Understood, though it wasn't done.
        words, understood = str(said), name == "error"
    except Fault as fault:
        words, understood = str(fault), False
        if isinstance(fault, Lost):
            words = f"{instrument.line.name} is gone: unplugged, or switched off"
    pieces = dialogue.take()
    return Tried(
        name,
        escaped(b"".join(p.data for p in pieces if p.sent), _SHOWN),
        escaped(b"".join(p.data for p in pieces if not p.sent), _SHOWN),
        instrument.line.clock() - start,
        understood,
        words,
        tuple(pieces),
    )


def _meaning(instrument: Instrument, name: str, said: dict[str, str], under: str) -> str:
    profile = instrument.profile
    if name == "measure":
        values = instrument.spectrum(said)
        if nonsense := no_sense(profile, values, said["values"], under == WHITE_TILE):
            raise Garbled(nonsense)
        remarks = "".join(f"; it says: {each}" for each in instrument.remarks)
        return _range(profile, values) + remarks
    if profile.commands[name].reply is None:
        return "no reply is expected"
    told = [f"{field} {text.strip()}" for field, text in said.items() if field != "checksum"]
    return ", ".join(told) or "as expected"


def _range(profile: Profile, values: Array) -> str:
    first, last = profile.wavelengths[[0, -1]]
    return (
        f"{values.size} values, {first:g}-{last:g} nm, reflectance {np.nanmin(values):.3f} to "
        f"{np.nanmax(values):.3f}"
    )


def no_sense(profile: Profile, values: Array, text: str, on_tile: bool) -> str:
    """Say why values can't be those of a surface, and what of the profile would mend it.

    Parameters
    ----------
    profile : Profile
    values : (W,) array
        Reflectance as a fraction, by the profile.
    text : str
        What it sent, one letter a byte.
    on_tile : bool
        Whether it lies on its white tile.

    Returns
    -------
    str
        Empty where they can be.
    """
    if np.isnan(values).all():
        return "it sent no value at all: look up what stands for a missing value"
    level = float(np.nanmean(values))
    low, high = _TILE if on_tile else (-0.02, 1.3)
    if low <= level <= high and float(np.nanmax(np.abs(values))) <= 2.0:
        return ""
    where = "on the white tile" if on_tile else "as what it sends"
    sent = level * profile.values.one
    what = f"{where} {sent:.4g} comes, which by the profile is a reflectance of {level:.4g}"
    for factor, words in _SCALES.items():
        if factor != profile.values.one and _is_tile(sent / factor, on_tile):
            return f"{what}: its numbers look like {words}"
    if profile.values.form in BINARY:
        other = replace(profile.values, order="little" if profile.values.order == "big" else "big")
        turned, _ = other.read(text, profile.wavelengths)
        if _is_tile(float(np.nanmean(turned)), on_tile) and np.nanmax(np.abs(turned)) <= 2.0:
            return f'{what}: its bytes look like byte_order = "{other.order}"'
    return f"{what}: compare unit, form and separator with the manual, and what lies under it"


def _is_tile(level: float, on_tile: bool) -> bool:
    low, high = _TILE if on_tile else (0.01, 1.2)
    return low <= level <= high


def replayed(profile: Profile, pieces: Sequence[Piece]) -> list[Tried]:
    """Read a recorded dialogue by a profile, as if it went on now.

    Parameters
    ----------
    profile : Profile
    pieces : sequence of Piece

    Returns
    -------
    list of Tried
        One for each thing that was sent, or that came unasked.
    """
    names: dict[bytes, list[str]] = {}
    for name, command in profile.commands.items():
        if not command.button:
            names.setdefault(profile.said(command.send), []).append(name)
    pressed = [name for name, command in profile.commands.items() if command.button]
    found, sent = list[Tried](), b""
    for piece, following in zip(pieces, (*pieces[1:], Piece(True, b"")), strict=True):
        if piece.sent:
            sent = piece.data
            if following.sent and (known := names.get(sent)):
                reply = profile.commands[known[0]].reply
                words = "no reply is expected" if reply is None else "nothing came back"
                found.append(Tried(known[0], escaped(sent), "", 0.0, reply is None, words))
            elif following.sent:
                found.append(_unknown(sent, b""))
            continue
        candidates = names.get(sent, []) if sent else pressed
        read = [_replayed(profile, name, sent, piece.data) for name in candidates]
        best = next((one for one in read if one.understood), read[0] if read else None)
        found.append(best or _unknown(sent, piece.data))
        sent = b""
    return found


def _unknown(sent: bytes, came: bytes) -> Tried:
    words = (
        "no command of the profile sends this" if sent else "nothing in the profile expects this"
    )
    return Tried("unknown", escaped(sent, _SHOWN), escaped(came, _SHOWN), 0.0, False, words)


def _replayed(profile: Profile, name: str, sent: bytes, came: bytes) -> Tried:
    command = profile.commands[name]
    understood = False
    try:
        if command.reply is None:
            raise Garbled("no reply is expected")
        taken = taker(profile, command)(came)
        if taken is None:
            raise Garbled("its end isn't there: look up what ends a reply")
        said = command.reply.read(taken.payload)
        understood, words = (
            True,
            ", ".join(f"{k} {v.strip()}" for k, v in said.items() if k != "values"),
        )
        if code := said.get("status"):
            status = profile.status
            words = status.errors.get(code, "") or words
            known = (*status.ok, *status.busy, *status.white, *status.black, *status.errors)
            if code not in known:
                understood, words = False, f"the status {code} isn't among those of the profile"
        if "values" in said:
            values, _ = profile.values.read(said["values"], profile.wavelengths)
            nonsense = no_sense(profile, values, said["values"], on_tile=False)
            understood, words = not nonsense, nonsense or _range(profile, values)
    except Fault as fault:
        understood, words = False, str(fault)
    return Tried(
        name, escaped(sent, _SHOWN), escaped(came, _SHOWN), 0.0, understood, words or "as expected"
    )
