"""A sitting in the terminal: asked and shown, answered by single keys or, in a script, by lines."""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from ...calibrate.errors import InputError
from ...calibrate.instrument.progress import VOID
from ...calibrate.instrument.questions import Answer, Question, Shown
from ...calibrate.optics.display import lab_to_srgb
from ...calibrate.optics.spectra import Array
from ..cards.sitting_words import (
    CALIBRATED_ON,
    answer_words,
    place_words,
    remark,
    request,
    told_words,
)

_KEYS: dict[Answer, str] = {
    "read": "Enter", "keep": "k", "again": "r", "skip": "s", "back": "b", "finish": "f",
    "wet": "w", "stop": "q",
}  # fmt: skip
_BLOCKS, _PLAIN = " ▁▂▃▄▅▆▇█", " .:-=+*#@"
_ROWS = 5
_WIDE = 96
"""Columns below which a spectrum is drawn half as wide."""
_CEILINGS = (0.1, 0.2, 0.5, 1.0, 1.3)
_PATIENCE = 3
"""How often the same trouble is tried again where nobody is there to decide."""


def sparkline(values: Array, blocks: str = _BLOCKS) -> str:
    """Draw a spectrum in one row: full height is all of the light, half height a quarter of it."""
    top = len(blocks) - 1
    # Its square root goes by roughly as the eye does: dark paints keep a shape.
    heights = np.round(np.sqrt(np.clip(np.nan_to_num(values), 0, 1)) * top).astype(int)
    return "".join(blocks[height] for height in heights)


def chart(values: Array, blocks: str = _BLOCKS) -> list[str]:
    """Draw a spectrum in several rows, the topmost first, under the nearest round ceiling."""
    known = np.nan_to_num(values)
    ceiling = next((c for c in _CEILINGS if known.max() <= c), _CEILINGS[-1])
    top = len(blocks) - 1
    height = np.clip(known / ceiling, 0, 1) * _ROWS * top
    rows = []
    for row in reversed(range(_ROWS)):
        cells = np.clip(np.round(height - row * top), 0, top).astype(int)
        label = f"{ceiling:4.0%} " if row == _ROWS - 1 else "  0% " if row == 0 else "     "
        rows.append(label + "".join(blocks[cell] for cell in cells))
    return rows


class SittingTerminal:
    """Asks and shows.

    Parameters
    ----------
    console : Console
    title : str
        What is read.
    wavelengths : (W,) array, nm
    unattended : bool
        Give every question its usual answer.
    answered : callable, optional
        Told each question and its answer, before anything is read.
    """

    def __init__(
        self,
        console: Console,
        title: str,
        wavelengths: Array,
        unattended: bool = False,
        answered: Callable[[Question, Answer], None] = lambda *_: None,
    ) -> None:
        self._console = console
        self._title = title
        self._wavelengths = wavelengths
        self._unattended = unattended
        self._answered = answered
        self._blocks = _BLOCKS if "utf" in console.encoding.lower() else _PLAIN
        self._last: Shown | None = None
        self._troubles = 0

    def ask(self, question: Question) -> Answer:
        """Ask a question.

        Raises
        ------
        InputError
            Where nobody is there, and the same trouble comes again and again.
        """
        answer = self._unattended_answer(question) if self._unattended else self._typed(question)
        self._answered(question, answer)
        return answer

    def _unattended_answer(self, question: Question) -> Answer:
        if question.kind in ("patch", "ready", "end"):
            return question.answers[0]
        if question.kind == "tile":
            return "read"
        if "keep" in question.answers and question.place not in CALIBRATED_ON:
            return "keep"
        self._troubles += 1
        if self._troubles > _PATIENCE:
            raise InputError(
                None,
                place_words(question.place) or "the instrument",
                f"{question.words} ({_PATIENCE} further tries)",
                "see to it, then go on: tintladder measure --resume",
            )
        return "again"

    def _typed(self, question: Question) -> Answer:
        keys = {_KEYS[answer][0].lower(): answer for answer in question.answers}
        keys[""] = question.answers[0]
        if sys.stdin.isatty() and self._console.is_terminal:
            with Live(self._panel(question), console=self._console, auto_refresh=False,
                      transient=True):  # fmt: skip
                while (answer := keys.get(_pressed())) is None:
                    pass
            return answer
        self._console.print(self._plain(question))
        while True:
            line = sys.stdin.readline()
            if not line:
                return "stop"
            if (found := keys.get(line.strip()[:1].lower())) is not None:
                return found
            self._console.print(Text(f"Type one of: {_keys_line(question)}"))

    def show(self, shown: Shown) -> None:
        """Show a reading that is kept."""
        reading, said = shown.reading, shown.reading.said
        self._last = shown
        if VOID not in said:
            self._troubles = 0
        number = "" if reading.is_tile else f" {reading.repeat}"
        every = 1 if self._console.width >= _WIDE else 2
        line = Text(f"{place_words(reading.place)}{number}".ljust(27))
        line.append(sparkline(reading.values[::every], self._blocks))
        line.append("  ")
        seen = not reading.is_tile and not np.isnan(shown.colour).any()
        if seen and self._console.color_system is not None:
            line.append("  ", style=f"on {_rgb(shown.colour)}")
            line.append("  ")
        line.append(remark(shown))
        self._console.print(line, soft_wrap=True)

    def tell(self, words: str) -> None:
        """Say what goes on."""
        self._console.print(Text(told_words(words)), soft_wrap=True)

    def _plain(self, question: Question) -> Text:
        return Text(" ".join([*request(question), f"[{_keys_line(question)}]"]))

    def _panel(self, question: Question) -> Panel:
        lines = [Text(line) for line in request(question)]
        if lines:
            lines[0].stylize("bold")
        if self._last is not None and question.kind in ("patch", "doubt"):
            reading = self._last.reading
            first, last = self._wavelengths[[0, -1]]
            ends = f"     {first:g} nm".ljust(self._wavelengths.size) + f"{last:g}"
            lines += [Text(""), Text(f"last: {place_words(reading.place)}", style="dim")]
            lines += [Text(row) for row in chart(reading.values, self._blocks)]
            lines.append(Text(ends, style="dim"))
        lines += [Text(""), Text(_keys_line(question))]
        box_title = self._title
        if question.patches:
            box_title += f": {question.done} of {question.patches} patches"
        return Panel(Group(*lines), title=Text(box_title), title_align="left", expand=False)


def _rgb(colour: Array) -> str:
    """Return the nearest colour that a display can show, as rich writes it."""
    rgb = np.round(255 * lab_to_srgb(colour[None])[0][0]).astype(int)
    return f"rgb({','.join(str(part) for part in rgb)})"


def _pressed() -> str:
    """Wait for one key; those pressed before it was asked don't count."""
    import click

    _forget_typed()
    try:
        key = click.getchar()
    except EOFError:
        return "q"
    return "" if key in ("\r", "\n", " ") else key[:1].lower()


def _forget_typed() -> None:
    try:
        import termios

        termios.tcflush(sys.stdin, termios.TCIFLUSH)
    except (ImportError, OSError):
        pass  # no such terminal here: then a key pressed too early counts


def _keys_line(question: Question) -> str:
    usual, *others = question.answers
    words = [f"Enter: {answer_words(question, usual)}"]
    return " | ".join(words + [f"{_KEYS[a]}: {answer_words(question, a)}" for a in others])
