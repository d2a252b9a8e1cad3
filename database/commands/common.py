"""What the commands share: options, opening the studio, and saying the result."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .remedies import in_terminal

if TYPE_CHECKING:
    from ...calibrate.optics.surface import Gloss
    from ..easel.habits import Habits
    from ..store.store import Store

JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, for other programs.")]
StudioOption = Annotated[
    str | None,
    typer.Option(
        "--studio", metavar="DIR", help="Folder of the studio; without it, the one that you are in."
    ),
]


class Model(StrEnum):
    """The models that paints are fitted by."""

    TWO_FLUX = "two-flux"
    TRANSPORT = "transport"


ModelOption = Annotated[
    Model | None,
    typer.Option(
        help="The two-flux (Kubelka-Munk) model, or transport: the radiative-transfer model. Else "
        "the one that mixes are calculated by.",
    ),
]


def number(least: float = -math.inf, most: float = math.inf) -> Callable[[str], float]:
    """Parser of an option's figure, its decimals after a point or a comma."""

    def parse(text: str) -> float:
        try:
            # A default comes as the number it is.
            value = float(str(text).strip().replace(",", "."))
        except ValueError:
            raise typer.BadParameter(f"expected a figure such as 2.72, got {text!r}") from None
        if not least <= value <= most:
            bounds = f"{least:g} or more" if most == math.inf else f"{least:g} to {most:g}"
            raise typer.BadParameter(f"expected {bounds}, got {value:g}")
        return value

    return parse


ScaleOption = Annotated[
    float | None,
    typer.Option(
        parser=number(0.001, 1), metavar="G", help="Smallest step of your scale, g; remembered."
    ),
]
MeasureOption = Annotated[
    str | None,
    typer.Option(
        help="What you measure with: grams, syringe, spoons, lengths or parts; remembered."
    ),
]
FinishOption = Annotated[
    str | None,
    typer.Option(
        help="Finish under which the eye sees it: gloss, satin or matt; remembered. Before one is "
        "named, as your cards dried. Readings are matched as read, unless you name one."
    ),
]
LightOption = Annotated[
    str | None,
    typer.Option(
        help="Light that colours are matched and shown under: D50 (warm daylight), D65 (daylight), "
        "A (lamplight) or LED-B3 (LED light); remembered."
    ),
]


def worked(example: str) -> str:
    """Return the end of a help text: one worked example, its lines left as they are."""
    return f"\b\nExample:\n  {example}"


def open_store(studio: str | None, create: bool = False) -> Store:
    """Open the studio that the user means; heavy imports wait until here."""
    from ..store.store import Store

    return Store.open(studio, create)


def usual(
    store: Store,
    scale: float | None = None,
    measure: str | None = None,
    finish: str | None = None,
    light: str | None = None,
) -> Habits:
    """Remember what is given, and return how the painter works."""
    from ..easel.habits import remember

    return remember(store, scale, measure, finish, light)


def check_finish(finish: str | None) -> Gloss | None:
    """Return the finish named.

    Raises
    ------
    InputError
        Where there is no such finish.
    """
    from ...calibrate.optics.surface import GLOSSES
    from ..easel.habits import gloss_of

    found = gloss_of(finish)
    if finish is not None and found is None:
        raise InputError("--finish", finish, f"expected {', '.join(GLOSSES)}", "choose one")
    return found


@contextmanager
def working(what: str, quiet: bool = False) -> Iterator[Callable[[str], None]]:
    """Show that something goes on while it does; the callable says how far it is."""
    from rich.console import Console

    console = Console(stderr=True, quiet=quiet)
    with console.status(f"{what} ...") as status:
        yield lambda words: status.update(f"{what}: {words} ...")


def say(result: Any, as_json: bool, show: Callable[[], None]) -> None:
    """Print a result as JSON, or let `show` print it for people."""
    if as_json:
        typer.echo(json.dumps(result, indent=1, ensure_ascii=False, default=in_terminal))
    else:
        show()


_WIDEST = 10_000
"""Letters in a line that goes to no terminal: no cell of ours is broken there."""


def print_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a plain table, as wide as it needs where no terminal bounds it."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console()
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column)
    for row in rows:
        # What the user typed is text, never markup.
        table.add_row(*(Text(cell) for cell in row))
    if not console.is_terminal:
        console.width = _WIDEST
        console.width = console.measure(table).maximum
    console.print(table)
