"""What a profile file says of messages: frame, checksum, numbers, commands and their replies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from ..cards.toml_text import Table, closest
from .profile import COMMANDS, Command, LineSettings
from .protocol.checksum import CHECK_TEXT, KINDS, Checksum
from .protocol.frame import LENGTHS, PARTS, Frame
from .protocol.numbers import FORMS, Values
from .protocol.reply import FIELDS, Grammar, fields_of, touching

_NEEDED = {"measure": ("values",), "lamp": ("hours",), "error": ("status",)}
"""Fields that the reply to a command can't do without."""
_BUTTON_S = 120.0
"""How long a press of the button is waited for, where nothing is said."""
_ORDERS = ("big", "little")


def texts(table: Table, key: str) -> tuple[str, ...]:
    """Return a list of texts; empty where there is none."""
    value = table.values.get(key, [])
    if not isinstance(value, list) or not all(isinstance(each, str) and each for each in value):
        raise table.error(key, "expected a list of texts", 'write it as in ["0", "00"]')
    return tuple(value)


def raw_text(table: Table, key: str, empty: bool = False) -> str | None:
    """Return a text as it stands: line ends and spaces count here."""
    value = table.values.get(key)
    if value is None or (empty and value == ""):
        return cast("str | None", value)
    if not isinstance(value, str) or not value or any(ord(letter) > 255 for letter in value):
        raise table.error(key, "expected a text of single bytes", r'write it as in "*IDN?" or "\n"')
    return value


def _whole(table: Table, key: str, otherwise: int) -> int:
    value = table.values.get(key, otherwise)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**32:
        raise table.error(key, "expected a whole number", f"write it as in {key} = 0x1021")
    return value


def checksum_of(table: Table, written: str) -> Checksum | None:
    """Return the checksum that a profile describes, if it does.

    Parameters
    ----------
    table : Table
    written : {"hexadecimal", "bytes"}
        How it is written where that isn't said.
    """
    table.check_keys(
        ("kind", "bytes", "written", "byte_order", "polynomial", "start", "final", "reversed",
         "check"),
        (),
        "",
    )  # fmt: skip
    kind = table.choice("kind", KINDS)
    if kind is None:
        return None
    size = _whole(table, "bytes", 2 if kind.startswith("crc") else 1)
    if size not in (1, 2, 4):
        raise table.error("bytes", f"expected 1, 2 or 4 bytes, found {size}", "correct it")
    found = Checksum(
        kind,
        size,
        cast(Any, table.choice("written", ("hexadecimal", "bytes")) or written),
        cast(Any, table.choice("byte_order", _ORDERS) or "big"),
        _whole(table, "polynomial", 0x1021),
        _whole(table, "start", 0),
        _whole(table, "final", 0),
        bool(table.flag("reversed")),
    )
    if "check" in table.values and found.value(CHECK_TEXT) != _whole(table, "check", 0):
        raise table.error(
            "check",
            f"the checksum of 123456789 comes to {found.value(CHECK_TEXT):#x} by this",
            "give the polynomial with its highest power first; see reversed, start and final",
        )
    return found


def frame_of(table: Table, checksum: Checksum | None) -> Frame | None:
    """Return the frame that a profile describes, if it does."""
    table.check_keys(("parts", "start", "length", "byte_order", "end", "checksum_of"), (), "")
    parts = texts(table, "parts")
    if not parts:
        if table.values:
            raise table.error("parts", "it is missing", 'write parts = ["start", "payload", "end"]')
        return None
    if "payload" not in parts or not set(parts) <= set(PARTS) or len(set(parts)) < len(parts):
        raise table.error("parts", f"expected some of {', '.join(PARTS)}", "name each once")
    start, end = raw_text(table, "start"), raw_text(table, "end")
    length = table.choice("length", LENGTHS)
    for key, value in (("start", start), ("end", end), ("length", length), ("checksum", checksum)):
        if (value is not None) != (key in parts):
            do = f"add it to parts, or leave {key} out" if value else f"say what {key} is"
            raise table.error(key, "parts and what is said of them differ", do)
    over = texts(table, "checksum_of") or ("payload",)
    if not set(over) <= set(parts) - {"checksum"}:
        raise table.error("checksum_of", "expected parts of the frame", 'write ["payload", "end"]')
    return Frame(
        parts,
        (start or "").encode("latin-1"),
        (end or "").encode("latin-1"),
        length or "",
        cast(Any, table.choice("byte_order", _ORDERS) or "big"),
        checksum,
        over,
    )


def values_of(table: Table, count: int, one: float) -> Values:
    """Return what the numbers of a reading look like."""
    form = table.choice("form", FORMS) or "text"
    width = table.count("width", least=1)
    if (form == "fixed") != (width is not None):
        raise table.error("width", 'a width goes with form = "fixed"', "write width = 5")
    return Values(
        count,
        form,
        width or 0,
        raw_text(table, "separator") or ",",
        cast(Any, table.choice("decimal", (".", ",")) or "."),
        cast(Any, table.choice("byte_order", _ORDERS) or "big"),
        one,
        texts(table, "missing"),
        texts(table, "full_scale"),
        raw_text(table, "line_label") or "",
    )


def commands_of(
    tables: Table, line: LineSettings, checksum: Checksum | None, values: Values, status: Table
) -> dict[str, Command]:
    """Return the commands that a profile describes.

    Parameters
    ----------
    tables : Table
        One table a command.
    line : LineSettings
    checksum : Checksum or None
        That stands in the text of a reply.
    values : Values
    status : Table
        What is said of statuses: how failures look is a part of every reply.

    Raises
    ------
    InputError
        Naming the key at fault.
    """
    tables.check_keys(COMMANDS, (), "")
    failures = texts(status, "failure")
    for failure in failures:
        _check_fields(status, "failure", failure, (), values)
    alone = status.flag("alone")
    found = {}
    for name, inner in tables.values.items():
        table = Table(inner, tables.file, f"{tables.place}, {name}")
        table.check_keys(
            ("send", "reply", "reply_end", "timeout_s", "button", "then", "every_s"), (), ""
        )
        button = bool(table.flag("button"))
        send = raw_text(table, "send")
        if (send is None) != button:
            raise table.error("send", "it is missing", 'write send = "...", or button = true')
        then = texts(table, "then")
        pattern = _pattern(table, name, checksum, values, bool(then))
        reply_end = raw_text(table, "reply_end", empty=True)
        timeout = table.number("timeout_s")
        every = table.number("every_s")
        found[name] = Command(
            (send or "").encode("latin-1"),
            None
            if pattern is None
            else Grammar(pattern, checksum, values, failures, alone is not False),
            line.reply_end if reply_end is None else reply_end.encode("latin-1"),
            (_BUTTON_S if button else line.timeout_s) if timeout is None else timeout,
            button,
            then,
            Command.every_s if every is None else every,
        )
    if "measure" not in found:
        raise tables.error("measure", "it is missing", "say what makes the instrument read")
    for name, command in found.items():
        _check_steps(
            Table(tables.values[name], tables.file, f"{tables.place}, {name}"), name, command, found
        )
    return found


def _check_steps(table: Table, name: str, command: Command, found: dict[str, Command]) -> None:
    for step in command.then:
        if step not in ("poll", "fetch") or step not in found or name in ("poll", "fetch"):
            raise table.error("then", f"there is no step {step}", 'write ["poll", "fetch"]')
    replies = [found[each].reply for each in (name, *command.then)]
    if name == "measure" and not any(r is not None and "values" in r.fields for r in replies):
        raise table.error("reply", "it lacks {values}", "write it where it stands")


def _pattern(
    table: Table, name: str, checksum: Checksum | None, values: Values, stepped: bool
) -> str | None:
    pattern = raw_text(table, "reply")
    needed: Sequence[str] = () if stepped else _NEEDED.get(name, ())
    if pattern is None:
        if needed:
            raise table.error(
                "reply", "it is missing", f'write reply = "{{{needed[0]}}}" or the like'
            )
        return None
    _check_fields(table, "reply", pattern, needed, values)
    if "checksum" in fields_of(pattern):
        if checksum is None:
            raise table.error("reply", "its checksum isn't described", "add [checksum] with kind")
        if not pattern.endswith("{checksum}"):
            raise table.error("reply", "the checksum must come last", "put the rest in reply_end")
    return pattern


def _check_fields(
    table: Table, key: str, pattern: str, needed: Sequence[str], values: Values
) -> None:
    fields = fields_of(pattern)
    for each in fields:
        if each not in FIELDS:
            raise table.error(key, f"there is no field {{{each}}}", closest(each, FIELDS))
    for each in needed:
        if each not in fields:
            raise table.error(key, f"it lacks {{{each}}}", "write it where it stands")
    once = [each for each in fields if each != "ignored"]
    if len(set(once)) < len(once):
        raise table.error(key, "a field stands in it twice", "leave one of them")
    if touching(pattern, values):
        raise table.error(
            key, "two fields touch", "write what stands between them, or a width as in {status:2}"
        )
