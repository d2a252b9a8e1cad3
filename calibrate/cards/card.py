"""Drawdown cards: what was weighed, mixed and drawn down, over what and how thick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from ..optics.surface import Gloss

SUBSTRATES = ("black", "white")
BARE = "bare"


@dataclass(frozen=True)
class Drawdown:
    """One mix, drawn down once over the card's substrates.

    A fresh step has `masses`; a step taken from another has `taken_from`, `taken_g` and what was
    added to it in `masses`.

    Attributes
    ----------
    step : str
        Unique on its card; its patches are read as ``STEP/black`` and ``STEP/white``.
    paint : str or None
        Nickname of the paint whose ladder this step belongs to; None for a free mixture.
    masses : mapping of paint nickname to g
        As weighed.
    taken_from : str or None
        The step it was taken from.
    taken_g : float or None
        Grams taken of it.
    white : str or None
        Nickname of the white of this ladder.
    lots : mapping of paint nickname to lot
        The lot of each paint, where it was said.
    over : tuple of {"black", "white"}
        The substrates it was drawn over; none: it was mixed for other steps and not painted.
    opaque : bool
        Painted until the black no longer shows.
    gap_um : float or None
        Gap of the applicator, µm wet.
    thickness_um : float or None
        Dry film thickness, µm, if it was measured.
    surface : {"gloss", "satin", "matt"}

    Examples
    --------
    One part of a blue let down with four of white, drawn down with a gap of 300 µm:

    >>> Drawdown("4:1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0}, white="WHITE", gap_um=300).over
    ('black', 'white')
    """

    step: str
    paint: str | None
    masses: Mapping[str, float]
    taken_from: str | None = None
    taken_g: float | None = None
    white: str | None = None
    lots: Mapping[str, str] = field(default_factory=dict)
    over: tuple[str, ...] = SUBSTRATES
    opaque: bool = False
    gap_um: float | None = None
    thickness_um: float | None = None
    surface: Gloss = "gloss"
    coats: int = 1
    hours_dried: float | None = None


@dataclass(frozen=True)
class Card:
    """A card as painted.

    Attributes
    ----------
    file : str
        Where it was read from, for messages.
    layout : str or None
        A layout of ``tintladder.charts``, or the path of one's own (``.toml``).
    date : str or None
        ISO 8601.
    balance_g : float
        What one weighing is sure to (standard error); a balance's last digit is on the safe side.
    sealed : bool
        Whether the bare substrates were sealed, so that their readings hold under the film.
    purpose : {"fit", "check", "learn"}
        A check card holds mixtures that judge a fit which hasn't seen them. No card file says
        "learn": it is a check card that a fit was asked to learn from.

    Examples
    --------
    >>> step = Drawdown("4:1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0}, white="WHITE", gap_um=300)
    >>> Card("blue", "", (step,)).patches
    ('bare/black', 'bare/white', '4:1/black', '4:1/white')
    """

    name: str
    file: str
    drawdowns: tuple[Drawdown, ...]
    purpose: Literal["fit", "check", "learn"] = "fit"
    layout: str | None = None
    date: str | None = None
    balance_g: float = 0.01
    sealed: bool = True
    note: str = ""

    @property
    def patches(self) -> tuple[str, ...]:
        """Labels of every patch that may be read: the bare substrates, then each drawdown.

        Examples
        --------
        >>> step = Drawdown("1", "BLUE", {"BLUE": 2.0}, over=("white",), gap_um=300)
        >>> Card("blue", "", (step,)).patches[-1]
        '1/white'
        """
        bare = tuple(f"{BARE}/{substrate}" for substrate in SUBSTRATES)
        return bare + tuple(f"{d.step}/{over}" for d in self.drawdowns for over in d.over)

    @property
    def paints(self) -> tuple[str, ...]:
        """Nicknames of every paint weighed for the card, in order of appearance.

        Examples
        --------
        >>> step = Drawdown("4:1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0}, white="WHITE", gap_um=300)
        >>> Card("blue", "", (step,)).paints
        ('BLUE', 'WHITE')
        """
        return tuple(dict.fromkeys(p for d in self.drawdowns for p in d.masses))

    def held(self, step: str) -> set[str]:
        """Every paint in a step, also through the steps it was taken from; none if bare.

        Examples
        --------
        >>> first = Drawdown("1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0}, gap_um=300)
        >>> second = Drawdown("2", "BLUE", {"BUFF": 6.0}, taken_from="1", taken_g=2.0, gap_um=300)
        >>> sorted(Card("blue", "", (first, second)).held("2"))
        ['BLUE', 'BUFF', 'WHITE']
        """
        steps = {drawdown.step: drawdown for drawdown in self.drawdowns}
        found: set[str] = set()
        while step in steps:
            found |= set(steps[step].masses)
            step = steps[step].taken_from or ""
        return found
