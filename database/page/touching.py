"""Spots of a photograph, said by touching it on the page."""

from __future__ import annotations

from ..mixing.photo import Photo
from .asked import Asked
from .worksheet import SHOWN, shown_size

SPOTS = {
    "at": "the colour you want", "grey": "a grey card (18 %)", "white": "a card's bare white",
    "black": "a card's bare black",
}  # fmt: skip
"""What can be touched, in words."""


def touched(asked: Asked, photo: Photo) -> dict[str, str]:
    """Return what was touched and where, in the photograph's own px.

    Raises
    ------
    InputError
        Where it is nothing that can be, or lies outside.
    """
    key = asked.one_of("touch", list(SPOTS)) or "at"
    scale = max(photo.size) / max(shown_size(photo))
    x, y = (asked.number(f"spot.{axis}", 0, 0, SHOWN) for axis in "xy")
    return {key: f"{round(x * scale)},{round(y * scale)}"}
