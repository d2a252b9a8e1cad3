"""What commands that look at a photograph share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError

if TYPE_CHECKING:
    from ..photo import Photo, Spot
    from ..recipe_target import Target
    from ..store import Store

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


def wanted_colours(
    store: Store, colours: list[str], grey: str | None, white: str | None, black: str | None
) -> tuple[list[Target], list[float] | None, list[Spot] | None, str]:
    """What is to be mixed: the main colours of one photograph, or each colour as it is said.

    Returns
    -------
    targets : list of Target
    shares, places : list or None
        How much of a photograph each covers, and where it is seen best.
    remark : str
        How far a photograph can be trusted.
    """
    from ..recipe_target import parse_target

    if len(colours) == 1 and is_picture(colours[0]):
        from ..photo import trust
        from ..photo_colours import main_colours

        photo = open_photo(colours[0], grey, white, black)
        main = main_colours(photo)
        targets = [colour.target(photo) for colour in main]
        return targets, [c.share for c in main], [c.at for c in main], trust(photo)
    no_photo(grey=grey, white=white, black=black)
    return [parse_target(text, store) for text in colours], None, None, ""


def target_in_photo(
    photo: Path, at: str | None, grey: str | None, white: str | None, black: str | None
) -> Target:
    """Make a target of a spot of a photograph.

    Raises
    ------
    InputError
        Where no spot is given, or it lies outside.
    """
    from ..photo import parse_spot, spot

    if at is None:
        raise InputError(
            str(photo), "--at", "expected the spot to match, in px across and down",
            "give it: --at 120,80",
        )  # fmt: skip
    return spot(open_photo(photo, grey, white, black), parse_spot(at, "--at"))
