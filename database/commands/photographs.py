"""What commands that look at a photograph share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError

if TYPE_CHECKING:
    from ..photo import Photo

GreyOption = Annotated[
    str | None,
    typer.Option(metavar="X,Y", help="Where a photographer's grey card (18 %) is seen, px."),
]
WhiteOption = Annotated[
    str | None, typer.Option(metavar="X,Y", help="Where a card's bare white is seen.")
]
BlackOption = Annotated[
    str | None, typer.Option(metavar="X,Y", help="Where a card's bare black is seen.")
]
_PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic")


def is_picture(text: str) -> bool:
    """Whether what was typed names a picture."""
    return Path(text).suffix.casefold() in _PICTURES


def open_photo(file: Path | str, grey: str | None, white: str | None, black: str | None) -> Photo:
    """Open a photograph, evened by the spots given, or by a printed card in it."""
    from ...calibrate.cards.layout import layout_names, read_layout
    from ..photo import parse_spot, read_photo

    spots = {
        name: None if text is None else parse_spot(text, f"--{name}")
        for name, text in (("grey", grey), ("white", white), ("black", black))
    }
    layouts = [read_layout(name) for name in layout_names()]
    return read_photo(file, **spots, layouts={layout.number: layout for layout in layouts})


def no_photo(**given: str | None) -> None:
    """Refuse options that only a photograph has.

    Raises
    ------
    InputError
        Naming the first.
    """
    for name, text in given.items():
        if text is not None:
            raise InputError(
                f"--{name}", text, "is a spot of a photograph, and none is given",
                "give the photograph's file",
            )  # fmt: skip
