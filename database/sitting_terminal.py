"""A sitting in the terminal: asked and shown, answered by single keys or, in a script, by lines."""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from ..calibrate.errors import InputError
from ..calibrate.instrument.progress import BLACK_TRAP, VOID, WHITE_TILE
from ..calibrate.instrument.questions import Answer, Question, Shown
from ..calibrate.instrument.tiles import PREFIX
from ..calibrate.optics.colour import in_words, lab_to_srgb
from ..calibrate.optics.spectra import Array
from .colour_words import colour_words

_KEYS: dict[Answer, tuple[str, str]] = {
    "read": ("Enter", "read"),
    "keep": ("k", "keep it as it is"),
    "again": ("r", "read again"),
    "skip": ("s", "skip"),
    "back": ("b", "go back one"),
    "finish": ("f", "leave them out, finish"),
    "wet": ("w", "it is still wet"),
    "stop": ("q", "stop for now"),
}
_PLACES = {WHITE_TILE: "the white tile", BLACK_TRAP: "the black trap"}
_BLOCKS, _PLAIN = " ▁▂▃▄▅▆▇█", " .:-=+*#@"
_ROWS = 5
_WIDE = 96
"""Columns below which a spectrum is drawn half as wide."""
_CEILINGS = (0.1, 0.2, 0.5, 1.0, 1.3)
_PATIENCE = 3
"""How often the same trouble is tried again where nobody is there to decide."""


def place_words(place: str) -> str:
    """Say where the instrument is to be laid."""
    if place in _PLACES:
        return _PLACES[place]
    if place.startswith(PREFIX):
        return f"the tile {place.removeprefix(PREFIX)}"
    step, _, over = place.rpartition("/")
    return f"{'bare card' if step == 'bare' else step}, over {over}" if step else place


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
    laid : callable, optional
        Told what the instrument is laid on, just before it reads.
    """

    def __init__(
        self,
        console: Console,
        title: str,
        wavelengths: Array,
        unattended: bool = False,
        laid: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._console = console
        self._title = title
        self._wavelengths = wavelengths
        self._unattended = unattended
        self._laid = laid
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
        if answer in ("read", "again") and question.place:
            self._laid(question.place)
        return answer

    def _unattended_answer(self, question: Question) -> Answer:
        if question.kind in ("patch", "ready", "end"):
            return question.answers[0]
        if question.kind == "tile":
            return "read"
        if "keep" in question.answers and question.place not in _PLACES:
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
        keys = {_KEYS[answer][0][0].lower(): answer for answer in question.answers}
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
        line.append(_remark(shown))
        self._console.print(line, soft_wrap=True)

    def tell(self, words: str) -> None:
        """Say what goes on."""
        for place, name in _PLACES.items():
            words = words.replace(place, name)
        self._console.print(Text(words), soft_wrap=True)

    def _plain(self, question: Question) -> Text:
        return Text(" ".join([*_request(question), f"[{_keys_line(question)}]"]))

    def _panel(self, question: Question) -> Panel:
        lines = [Text(line) for line in _request(question)]
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


def _remark(shown: Shown) -> str:
    """What there is to say about a reading: words before figures."""
    said = shown.reading.said
    if VOID in said:
        return f"doesn't count: {said[VOID]}"
    if shown.reading.is_tile:
        if "drift" in said:
            return f"changed by {said['drift']:.4f} since it was calibrated"
        if shown.reading.place not in _PLACES:
            return ""
        return "calibrated on it" if said["calibrated"] else "as it was before"
    if shown.apart is None:
        return "" if np.isnan(shown.colour).any() else colour_words(shown.colour)
    return f"repeats: {in_words(shown.apart)} ({shown.apart:.2f})"


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
    words = _KEYS[usual][1]
    if question.kind == "ready":
        words = "all so, begin"
    return " | ".join([f"Enter: {words}"] + [f"{_KEYS[a][0]}: {_KEYS[a][1]}" for a in others])


def _request(question: Question) -> list[str]:
    """What to do, in lines."""
    if question.kind == "ready":
        return ["Before the first reading:", *(f"- {w}" for w in question.words.splitlines())]
    if question.kind == "tile":
        why = f" ({question.words})" if question.words else ""
        return [f"Lay the instrument on {place_words(question.place)}{why}."]
    if question.kind == "patch":
        if question.repeat > 1:
            how = f"Lift it and set it down again, a little aside: {place_words(question.place)}"
        else:
            how = f"Set it on {place_words(question.place)}"
        of = f", reading {question.repeat} of {question.repeats}" if question.repeats > 1 else ""
        return [f"{how}{of}.", *([f"It lies {question.move} from here."] if question.move else [])]
    about = f"{place_words(question.place)}: " if question.place else ""
    return [f"{about}{question.words}".rstrip(".") + "."]
