"""What a sitting asks of whoever sits at the instrument, and what it shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..optics.spectra import Array
from .progress import RawReading

Kind = Literal["ready", "tile", "patch", "doubt", "fault", "lost", "end"]
Answer = Literal["read", "keep", "again", "skip", "back", "stop", "wet", "finish"]


@dataclass(frozen=True)
class Question:
    """Something to do or to decide.

    Attributes
    ----------
    kind : str
        ``ready``: before the first reading; ``tile``: lay the instrument on a tile or the trap;
        ``patch``: on a patch; ``doubt``: a reading looks wrong; ``fault``: the instrument failed;
        ``lost``: its port is gone; ``end``: patches were skipped.
    place : str
        What it is about: a patch or a tile; empty where it is about neither.
    words : str
        Why it is asked, or what went wrong.
    answers : tuple of str
        Those that make sense; the first is the usual one.
    move : str
        How to move the instrument there; empty where that isn't known.
    repeat, repeats : int
        Which reading of the place comes next, of how many.
    done, patches : int
        Patches read or skipped so far, of how many.
    """

    kind: Kind
    place: str
    words: str
    answers: tuple[Answer, ...]
    move: str = ""
    repeat: int = 1
    repeats: int = 1
    done: int = 0
    patches: int = 0


@dataclass(frozen=True)
class Shown:
    """A reading to be shown; it is kept already.

    Attributes
    ----------
    colour : (3,) array
        CIELAB, D50/2°; NaN where values are missing.
    apart : float or None
        Largest CIEDE2000 of the place's readings from their mean; None for a first reading.
    """

    reading: RawReading
    colour: Array
    apart: float | None
