"""What commands that look at a photograph share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError

if TYPE_CHECKING:
    from ..easel.setting_out import WantedColours
    from ..mixing.target import Target
    from ..store.store import Store

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
) -> WantedColours:
    """What is to be mixed: the main colours of one photograph, or each colour as it is said."""
    from ..easel.asked_colour import parse_targets
    from ..easel.setting_out import wanted_each

    if len(colours) == 1 and is_picture(colours[0]):
        return _in_picture(store, colours[0], grey, white, black)
    no_photo(grey=grey, white=white, black=black)
    return wanted_each([each for text in colours for each in parse_targets(text, store)])


def wanted_of_all(store: Store, colours: list[str]) -> WantedColours:
    """What is to be mixed: the main colours of each photograph, and each colour as it is said."""
    from ..easel.asked_colour import parse_targets
    from ..easel.setting_out import wanted_each

    targets: list[Target] = []
    for text in colours:
        if is_picture(text):
            targets += _in_picture(store, text).targets
        else:
            targets += parse_targets(text, store)
    return wanted_each(targets)


def _in_picture(
    store: Store,
    file: str,
    grey: str | None = None,
    white: str | None = None,
    black: str | None = None,
) -> WantedColours:
    # Loaded for a photograph alone: it brings all that reads pictures.
    from ..easel.photographed import open_photo, wanted_of

    return wanted_of(store, open_photo(file, grey, white, black), Path(file).stem)


def target_in_photo(
    store: Store,
    photo: Path,
    at: str | None,
    grey: str | None,
    white: str | None,
    black: str | None,
) -> Target:
    """Make a target of a spot of a photograph.

    Raises
    ------
    InputError
        Where no spot is given, or it lies outside.
    """
    from ..easel.habits import habits
    from ..easel.photographed import open_photo
    from ..mixing.photo import parse_spot, spot

    if at is None:
        raise InputError(
            str(photo), "--at", "expected the spot to match, in px across and down",
            "give it: --at 120,80",
        )  # fmt: skip
    seen = spot(open_photo(photo, grey, white, black), parse_spot(at, "at"))
    return habits(store).meant(seen)
