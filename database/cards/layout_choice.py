"""Which layout a card is printed by: of a kind, on a page, in its newest edition."""

from __future__ import annotations

from pathlib import Path

from ...calibrate.cards.layout import (
    Layout,
    layout_faults,
    layout_text,
    newest_layouts,
    read_layout,
)
from ...calibrate.cards.printed_card import print_card
from ...calibrate.cards.strokes import tool_faults
from ...calibrate.errors import Field, InputError
from ..common.words import either

PAGES = ("a4", "a5", "letter", "half-letter")


def layout_to_print(layout: str | None, page: str | None, tubes: int) -> tuple[str, Layout]:
    """The layout meant by a kind of card and a page, and its name or path.

    Parameters
    ----------
    layout : str or None
        A layout, a path, or what layouts of one kind begin with; None: by the tubes.
    page : str or None
        One of `PAGES`.
    tubes : int
        How many ladders are to be painted.

    Raises
    ------
    InputError
        For a page that there isn't, or on which there is no such layout, and for a layout of one's
        own that can't be printed, painted or read.
    """
    name = choose_layout(layout, page, tubes)
    found = read_layout(name)
    for fault in tool_faults(found, layout_text(name)[1]):
        raise fault
    return name, found


def faults_to_print(layout: str) -> list[InputError]:
    """Everything that keeps a layout from being printed, painted or read.

    Parameters
    ----------
    layout : str
        Name, or path of a file of one's own.

    Returns
    -------
    list of InputError
        Of one that is sound but for its words, the first of those that don't fit.
    """
    found = layout_faults(*layout_text(layout))
    if not found:
        try:
            print_card(read_layout(layout))
        except InputError as error:
            found.append(error)
    return found


def choose_layout(layout: str | None, page: str | None, tubes: int) -> str:
    """Return the name or path of the layout meant by a kind of card and a page.

    Raises
    ------
    InputError
        For a page that there isn't, or on which there is no such layout.
    """
    if page is not None and page not in PAGES:
        raise InputError(
            None, Field("page"), f"there is no page {page}", f"use one of {either(PAGES)}"
        )
    if layout is not None and layout.endswith(".toml"):
        return str(Path(layout).expanduser().absolute())
    newest = newest_layouts()
    if layout in newest or layout in newest.values():
        return newest.get(str(layout), str(layout))
    kind = layout or ("quick" if tubes <= 1 else "six-tube")
    on = [size for size in PAGES if f"{kind}-{size}" in newest]
    if not on:
        kinds = sorted({_kind(name) for name in newest})
        raise InputError(
            None,
            Field("layout"),
            f"there is no layout {kind}",
            f"use {either(kinds)}, or a .toml file",
        )
    if page is not None and page not in on:
        raise InputError(
            None,
            Field("page"),
            f"there is no {kind} layout on {page}",
            f"it is there on {either(on)}",
        )
    return newest[f"{kind}-{page or on[0]}"]


def _kind(layout: str) -> str:
    """What a layout is apart from its page: ``quick`` of ``quick-half-letter``."""
    pages = (page for page in sorted(PAGES, key=len, reverse=True) if layout.endswith(f"-{page}"))
    return layout.removesuffix(f"-{next(pages, '')}")
