"""Makes a profile by asking what stands in an instrument's manual."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from .checksum import KINDS
from .frame import LENGTHS
from .numbers import BINARY, FORMS


@dataclass(frozen=True)
class ManualQuestion:
    r"""One thing to look up.

    Attributes
    ----------
    answers : tuple of str
        What it can be; empty where it is typed freely.
    usual : str
        What is meant where nothing is typed.
    raw : bool
        Whether bytes that can't be typed are written as ``\r`` or ``\x02``.
    """

    words: str
    answers: tuple[str, ...] = ()
    usual: str = ""
    raw: bool = False


Ask = Callable[[ManualQuestion], str]
_YES = ("yes", "no")


def profile_of_answers(ask: Ask) -> str:
    """Ask about a manual, and return the profile that the answers amount to, as TOML.

    Parameters
    ----------
    ask : callable
        Returns an answer as typed.

    Returns
    -------
    str
    """
    return "\n".join([*_instrument(ask), *_line(ask), *_spectrum(ask), *_commands(ask), ""])


def _text(key: str, value: str) -> str:
    return f"{key} = {_quoted(value)}"


def _quoted(value: str) -> str:
    """Return a text as TOML writes it; its escapes for control characters are those of JSON."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _raw(ask: Ask, words: str, usual: str = "") -> str:
    """Ask for bytes, and return one letter a byte."""
    typed = ask(ManualQuestion(words, usual=usual, raw=True))
    try:
        return typed.encode("latin-1").decode("unicode_escape")
    except UnicodeError:
        return typed


def _instrument(ask: Ask) -> Iterator[str]:
    yield _text("profile", ask(ManualQuestion("What do you call the instrument?", usual="mine")))
    geometry = ask(ManualQuestion("What is its geometry?", ("di:8", "8:di", "45:0"), "di:8"))
    yield _text("geometry", geometry)
    if geometry != "45:0":
        question = "Is the specular reflection included or excluded?"
        yield _text("specular", ask(ManualQuestion(question, ("included", "excluded"), "included")))
    touches = ask(ManualQuestion("Does it touch what it reads?", _YES, "yes"))
    yield f"contact = {'true' if touches == 'yes' else 'false'}"


def _line(ask: Ask) -> Iterator[str]:
    yield "\n[line]"
    yield f"baud = {ask(ManualQuestion('At which baud rate?', usual='9600'))}"
    yield f"bits = {ask(ManualQuestion('How many data bits?', ('8', '7'), '8'))}"
    parity = ask(ManualQuestion("Which parity?", ("none", "even", "odd"), "none"))
    yield _text("parity", parity)
    yield f"stop = {ask(ManualQuestion('How many stop bits?', ('1', '2'), '1'))}"
    seconds = "How long may its slowest reply take, in seconds?"
    yield f"timeout_s = {ask(ManualQuestion(seconds, usual='10'))}"
    how = ask(
        ManualQuestion(
            "Where does a message end: at a mark such as the end of a line, by a frame with start, "
            "length or checksum around it, or by its known length alone?",
            ("mark", "frame", "length"),
            "mark",
        )
    )
    if how == "mark":
        end = _raw(ask, "What ends a command?", r"\r\n")
        yield _text("end", end)
        shown = end.encode("unicode_escape").decode()
        yield _text("reply_end", _raw(ask, "What ends a reply?", shown))
        if ask(ManualQuestion("Does it echo what it gets?", _YES, "no")) == "yes":
            yield "echo = true"
        if prompt := _raw(ask, "Which prompt stands behind each reply? (nothing: none)"):
            yield _text("prompt", prompt)
    elif how == "length":
        yield 'end = ""'
    else:
        yield from _frame(ask)


def _frame(ask: Ask) -> Iterator[str]:
    order = "Of which parts is a message, in order? (start, length, payload, end, checksum)"
    parts = ask(ManualQuestion(order, usual="start, payload, end, checksum"))
    named = [part.strip() for part in parts.split(",")]
    yield "\n[frame]"
    yield f"parts = {json.dumps(named)}"
    for part in ("start", "end"):
        if part in named:
            yield _text(part, _raw(ask, f"Which bytes are the {part}?", r"\x02"))
    if "length" in named:
        yield _text("length", ask(ManualQuestion("What form has the length?", LENGTHS, "uint8")))
    if "checksum" not in named:
        return
    over = ask(ManualQuestion("Over which of these parts goes the checksum?", usual="payload"))
    yield f"checksum_of = {json.dumps([part.strip() for part in over.split(',')])}"
    yield "\n[checksum]"
    kind = ask(ManualQuestion("Of which kind is it?", KINDS, "xor"))
    yield _text("kind", kind)
    written = ask(ManualQuestion("How is it written?", ("bytes", "hexadecimal"), "bytes"))
    yield _text("written", written)
    if kind != "crc":
        return
    for key, words, usual in (
        ("polynomial", "Its polynomial, highest power first?", "0x8005"),
        ("start", "What does it start from?", "0xFFFF"),
        ("final", "What is it combined with at the end?", "0x0000"),
        ("check", "What is it of 123456789?", "0x4B37"),
    ):
        yield f"{key} = {ask(ManualQuestion(words, usual=usual))}"
    mirrored = ask(ManualQuestion("Are its bits worked in reverse?", _YES, "yes"))
    yield f"reversed = {'true' if mirrored == 'yes' else 'false'}"
    order = ask(ManualQuestion("Which of its bytes comes first?", ("low", "high"), "low"))
    yield _text("byte_order", "little" if order == "low" else "big")


def _spectrum(ask: Ask) -> Iterator[str]:
    yield "\n[spectrum]"
    for key, words, usual in (
        ("first_nm", "First wavelength of a reading, nm?", "400"),
        ("last_nm", "Last wavelength, nm?", "700"),
        ("step_nm", "Step, nm?", "10"),
        ("one", "What does it send for a reflectance of 1: 1, 100 (percent), 10000?", "100"),
    ):
        yield f"{key} = {ask(ManualQuestion(words, usual=usual))}"
    form = ask(ManualQuestion("How are the numbers written?", FORMS, "text"))
    yield _text("form", form)
    if form == "fixed":
        yield f"width = {ask(ManualQuestion('How many characters has each?', usual='5'))}"
    if form in BINARY:
        order = ask(ManualQuestion("Which of their bytes comes first?", ("low", "high"), "high"))
        yield _text("byte_order", "little" if order == "low" else "big")
    elif form == "text":
        yield _text("separator", _raw(ask, "What stands between two numbers?", ","))
    if form not in BINARY:
        decimal = ask(ManualQuestion("Which is the decimal sign?", (".", ","), "."))
        yield _text("decimal", decimal)
    for key, words in (
        ("missing", "What does it send for a value that it hasn't got? (nothing: never)"),
        ("full_scale", "What does it send for a value at full scale? (nothing: never)"),
    ):
        if typed := ask(ManualQuestion(words)):
            yield f"{key} = [{_quoted(typed)}]"


def _commands(ask: Ask) -> Iterator[str]:
    ways = ("at once", "asked for again", "by its button")
    how = ask(ManualQuestion("How does a reading come?", ways, ways[0]))
    fields = "with {values}, {status} and {ignored} in place of what changes"
    steps = how == ways[1]
    yield from _status(ask)
    yield "\n[command.measure]"
    if how == ways[2]:
        yield "button = true"
    else:
        yield _text("send", _raw(ask, "What makes it measure?"))
    if steps:
        yield _text("reply", _raw(ask, "What does it answer to that?", "{status}"))
        yield 'then = ["poll", "fetch"]'
        yield "\n[command.poll]"
        yield _text("send", _raw(ask, "What asks whether it is ready?"))
        yield _text("reply", _raw(ask, "What does it answer to that?", "{status}"))
        yield "\n[command.fetch]"
        yield _text("send", _raw(ask, "What fetches the reading?"))
    yield _text("reply", _raw(ask, f"How does the reading look, {fields}?", "{values}"))
    for name, thing in (("white", "white tile"), ("black", "black trap")):
        send = _raw(
            ask, f"What has it calibrate on its {thing}? (nothing: it can't, or its button)"
        )
        button = how == ways[2] and not send
        reply = (
            _raw(ask, f"What does it answer then, {fields}? (nothing: it has no such calibration)")
            if send or button
            else ""
        )
        if send or reply:
            yield f"\n[command.{name}]"
            yield _text("send", send) if send else "button = true"
            yield _text("reply", reply)
            if steps:
                yield 'then = ["poll"]'
    order = ("black, then white", "white, then black", "any")
    first = ask(ManualQuestion("In which order is it calibrated?", order, "any"))
    yield "\n[calibration]"
    yield f"order = {json.dumps(first.split(', then ') if first != 'any' else ['black', 'white'])}"
    needed = ask(ManualQuestion("Must it be calibrated before it reads at all?", _YES, "yes"))
    yield f"before_reading = {'true' if needed == 'yes' else 'false'}"
    if limit := ask(ManualQuestion("For how many readings does that hold? (nothing: no limit)")):
        yield f"readings = {limit}"


def _status(ask: Ask) -> Iterator[str]:
    yield "\n[status]"
    for key, words in (
        ("ok", "Which statuses are well? (with commas between; nothing: there is no status)"),
        ("busy", "Which ask for patience?"),
        ("white", "Which ask for its white tile first?"),
        ("black", "Which ask for its black trap first?"),
    ):
        if typed := ask(ManualQuestion(words)):
            yield f"{key} = {json.dumps([code.strip() for code in typed.split(',')])}"
    if failure := _raw(
        ask, "How does a failure look that has a form of its own? (as in ERR {status})"
    ):
        yield f"failure = [{_quoted(failure)}]"
    yield "\n[status.errors]"
    while typed := ask(
        ManualQuestion("A status that is a fault, and what it means? (as in 5=lamp)")
    ):
        code, _, words = typed.partition("=")
        yield f"{_quoted(code.strip())} = {_quoted(words.strip())}"
