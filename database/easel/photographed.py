"""A photograph opened for a studio: its reference cards, and the colours that are wanted of it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...calibrate.cards.layout import layout_names, read_layout
from ..mixing.photo import Photo, parse_spot, read_photo, spot, trust
from ..mixing.photo_colours import CardPiece, main_colours, reference_cards
from .habits import habits
from .setting_out import CardSeen, WantedColours

if TYPE_CHECKING:
    from ..store.store import Store

_LIGHTNESS = {"white": (62, 101), "grey": (32, 62), "black": (0, 32)}
"""L* of a bare white card, a grey of 18 % and a bare black in a photograph that nobody evened, with
room for what its exposure leaves open (our own bounds)."""


def cards_in(photo: Photo) -> tuple[CardSeen, ...]:
    """Find what looks like reference cards and wasn't said to be, the lightest first."""
    return _unsaid(photo, reference_cards(photo))


def proposed_neutrals(photo: Photo) -> dict[str, CardSeen]:
    """Say which of them may be the white, the grey and the black, by how light they are."""
    found: dict[str, CardSeen] = {}
    for card in cards_in(photo):
        for name, (least, most) in _LIGHTNESS.items():
            if least <= card.lab[0] <= most:
                found.setdefault(name, card)
    return found


def _unsaid(photo: Photo, cards: Sequence[CardPiece]) -> tuple[CardSeen, ...]:
    found = [card.at for card in cards if not photo.aside[int(card.at[1]), int(card.at[0])]]
    return tuple(CardSeen(at, spot(photo, at).lab) for at in found)


def open_photo(
    file: Path | str, grey: str | None = None, white: str | None = None, black: str | None = None
) -> Photo:
    """Open a photograph, evened by the spots given (``X,Y``), or by a printed card in it.

    Raises
    ------
    InputError
        Where it is no picture, or a spot is none of it.
    """
    spots = {
        name: None if text is None else parse_spot(text, name)
        for name, text in (("grey", grey), ("white", white), ("black", black))
    }
    layouts = [read_layout(name) for name in layout_names()]
    return read_photo(file, **spots, layouts={layout.number: layout for layout in layouts})


def wanted_of(store: Store, photo: Photo, name: str) -> WantedColours:
    """Return the main colours of a photograph; what looks like a reference card is none."""
    cards = reference_cards(photo)
    main, meant = main_colours(photo, cards=cards), habits(store).meant
    return WantedColours(
        tuple(meant(colour.target(photo)) for colour in main),
        name,
        tuple(colour.share for colour in main),
        tuple(colour.at for colour in main),
        trust(photo),
        _unsaid(photo, cards),
    )
