"""Options that the studio remembers: what is given once holds until something else is given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import number

if TYPE_CHECKING:
    from ..easel.habits import Habits
    from ..store.store import Store

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


def usual(
    store: Store,
    scale: float | None = None,
    measure: str | None = None,
    finish: str | None = None,
) -> Habits:
    """Remember what is given, and return how the painter works."""
    from ..easel.habits import remember

    return remember(store, scale, measure, finish)
