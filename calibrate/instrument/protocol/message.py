"""Where a reply ends: by its frame, by its length, or by a mark; and what of it is the reply."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..faults import Garbled
from .frame import Take, Taken

if TYPE_CHECKING:
    from ..profile import Command, Profile


def taker(profile: Profile, command: Command) -> Take:
    """Return what takes the reply to a command from the front of what came in.

    Parameters
    ----------
    profile : Profile
    command : Command
        One that is replied to.

    Returns
    -------
    Take
        It raises Garbled where the instrument asks to be told again.
    """

    def take(data: bytes) -> Taken | None:
        again = profile.line.again
        if again and data.startswith(again) and not _is_reply(profile, command, data):
            raise Garbled("it asks to be told again")
        if profile.frame is not None:
            return profile.frame.take(data, lambda payload: size_of(profile, command, payload))
        if not command.reply_end:
            size = size_of(profile, command, data)
            return Taken(data[:size], size) if size is not None and len(data) >= size else None
        taken = _marked(profile, command, data)
        if taken is None and command.button:
            # Its button may do another thing than the host believes.
            for other in profile.commands.values():
                found = _marked(profile, other, data) if other.button else None
                if (
                    found is not None
                    and other.reply is not None
                    and other.reply.fits(found.payload)
                ):
                    return found
        return taken

    return take


def _is_reply(profile: Profile, command: Command, data: bytes) -> bool:
    if profile.frame is not None:
        return data.startswith(profile.frame.start) and bool(profile.frame.start)
    return command.reply is not None and command.reply.pattern.encode("latin-1").startswith(
        profile.line.again
    )


def size_of(profile: Profile, command: Command, data: bytes) -> int | None:
    """Bytes of the reply at the front of some, where nothing but its pattern tells.

    Parameters
    ----------
    profile : Profile
    command : Command
    data : bytes
        What came of it so far.

    Returns
    -------
    int or None
        None while that can't be said.
    """
    grammar = command.reply
    if grammar is None:
        return 0
    whole, short = grammar.size(grammar.pattern), grammar.size(grammar.short)
    if short is None or whole is None or short == whole:
        return whole
    if len(data) < short:
        return None
    try:
        code = grammar.read(data[:short]).get("status")
    except Garbled:
        return whole
    return whole if code in profile.status.ok else short


def _marked(profile: Profile, command: Command, data: bytes) -> Taken | None:
    """Take a reply that ends with a mark; a failure may end after its first line."""
    line = profile.line
    start = _behind_echo(command, data) if line.echo else 0
    if start is None:
        return None
    text = data[start:]
    grammar = command.reply
    assert grammar is not None
    mark = line.reply_end + line.prompt
    for pattern in grammar.failures:
        at = _nth(text, mark, pattern.encode("latin-1").count(mark))
        if mark and at is not None and grammar.fails(text[:at]):
            return Taken(text[:at], start + at + len(mark))
    mark = command.reply_end + line.prompt
    at = _nth(text, mark, grammar.pattern.encode("latin-1").count(mark))
    return None if at is None else Taken(text[:at], start + at + len(mark))


def _behind_echo(command: Command, data: bytes) -> int | None:
    """Where the reply begins behind the echo of what was sent; None while that isn't whole."""
    found = data.find(command.send)
    if found < 0:
        return None
    at = found + len(command.send)
    while data[at : at + 1] in (b"\r", b"\n"):
        at += 1
    return at if at < len(data) else None


def _nth(data: bytes, mark: bytes, before: int) -> int | None:
    """Where a mark stands that has so many of its kind before it."""
    at = -1
    for _ in range(before + 1):
        at = data.find(mark, at + 1)
        if at < 0:
            return None
    return at
