"""The wall of a studio's tubes: what it rests on, and what it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from ...calibrate.errors import InputError
from ...calibrate.fit.judging.hiding import PAINT_VIEW
from ...calibrate.fit.judging.own_films import Anchor, anchor, own_films
from ...calibrate.optics.coefficients import ABSOLUTE
from ..common.remedies import StudioDo
from ..mixing.gamut import Gamut, gamut
from ..mixing.made import Made
from ..store.in_use import whites_of
from .basis import Basis, Manner, on_hand
from .habits import habits
from .wall import Cell, Row, matrix, rows, triangle, widest

if TYPE_CHECKING:
    from ..store.store import Store


@dataclass(frozen=True)
class Wall:
    """Some tubes as a wall shows them.

    Attributes
    ----------
    basis : Basis
        Of these and their whites.
    paints : tuple of str
        Nicknames.
    whites : mapping of nickname to nickname
    anchors : mapping of nickname to Anchor
        What paints' own films say of thickness.
    """

    basis: Basis
    paints: tuple[str, ...]
    whites: Mapping[str, str]
    anchors: Mapping[str, Anchor]

    @cached_property
    def rows(self) -> list[Row]:
        """The tubes, the strongest first."""
        viewing = self.basis.manner.viewing
        return rows(self.basis.read, self.whites, self.paints, viewing, self.anchors)

    @cached_property
    def coloured(self) -> list[Row]:
        """The tubes that have a tint."""
        return [row for row in self.rows if row.white is not None]

    @cached_property
    def gamut(self) -> Gamut:
        """What these tubes and their whites mix."""
        return gamut(self.basis.palette)

    @cached_property
    def pairs(self) -> list[Cell]:
        """Every pair, whites aside."""
        return matrix(self.basis.palette, self.paired)

    @property
    def paired(self) -> list[str]:
        """The tubes that are paired, in the order of the wall."""
        return [row.paint for row in self.rows if row.paint != self.basis.palette.white]

    @cached_property
    def three(self) -> tuple[str, str, str] | None:
        """The tubes of the triangle: those named, were they three, else those furthest apart."""
        if len(self.paired) == 3:
            one, two, other = self.paired
            return one, two, other
        return widest(self.coloured)

    def triangle(self, paints: Sequence[str]) -> list[tuple[tuple[int, int, int], Made]]:
        """Three tubes in even steps of strength."""
        return triangle(self.basis.palette.select(list(paints)), paints)


def three_of(paints: Sequence[str]) -> tuple[str, str, str]:
    """Return the tubes of a triangle.

    Raises
    ------
    InputError
        Where they aren't three.
    """
    if len(paints) != 3:
        said = ", ".join(paints) or None
        raise InputError(None, said, "a triangle is of three tubes", "name three")
    one, two, other = paints
    return one, two, other


def wall_of(store: Store, paints: Sequence[str] = ()) -> Wall:
    """Gather the wall of some tubes, by nickname; default: of all on hand that have a fit.

    Raises
    ------
    InputError
        Where none has a fit.
    """
    with store.snapshot() as session:
        ladders = whites_of(session, store.fits.current())
        basis = on_hand(store, Manner(habits(store).seen))
        wanted = list(paints) or list(basis.read.paints)
        whites = [ladders[p] for p in wanted if p in ladders]
        needed = list(dict.fromkeys([*wanted, *whites]))
        basis = on_hand(store, Manner(habits(store).seen), needed).of(needed)
        if not wanted:
            raise InputError(None, None, "no tube on hand has a fit", StudioDo.FIT())
        anchors = {}
        if basis.read.scale == ABSOLUTE:
            readings = store.readings.all()
            for paint in wanted:
                films = own_films(basis.read, paint, readings, PAINT_VIEW)
                own = anchor(films, basis.read.model)
                if own is not None:
                    anchors[paint] = own
    return Wall(basis, tuple(wanted), ladders, anchors)
