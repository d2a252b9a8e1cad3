"""What the tubes can make, and which one more would help: a request, and its answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.optics.surface import Gloss
from ..mixing.gamut import Gamut, Widening, gamut, one_more
from ..mixing.medium import MEDIUM
from ..mixing.palette import Palette
from ..mixing.recipes import Answer, recipes
from ..mixing.target import Target
from .basis import Basis, Manner, on_hand
from .habits import habits

if TYPE_CHECKING:
    from ..store.store import Store


@dataclass(frozen=True)
class ReachRequest:
    """What is asked for: how near the tubes come to a colour, or all that they can make.

    Attributes
    ----------
    target : Target or None
        None: all that they can make.
    without : tuple of str
        Nicknames of tubes on hand that aren't used.
    laid_out : tuple of str or None
        Nicknames of the tubes on hand that are used; None: all.
    finish : {"gloss", "satin", "matt"} or None
        None: the colour is matched as it is meant; without one, as the eye sees paint here.
    most : int
        Tubes in a mix, at most.
    """

    target: Target | None = None
    without: tuple[str, ...] = ()
    laid_out: tuple[str, ...] | None = None
    finish: Gloss | None = None
    most: int = 4


@dataclass(frozen=True)
class Reach:
    """What the tubes can make.

    Attributes
    ----------
    nearest : Answer or None
        Of a colour the nearest mix.
    further : tuple of Widening
        Each fitted tube that isn't used, as one more, best first.
    """

    basis: Basis
    gamut: Gamut
    nearest: Answer | None
    further: tuple[Widening, ...]


@dataclass(frozen=True)
class ReachQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it.

    Attributes
    ----------
    whole : Palette
        Every fitted tube, as it is looked at.
    fits : tuple of (nickname, int)
        The number of each one's fit.
    target : Target or None
        As it is compared.
    """

    basis: Basis
    whole: Palette
    fits: tuple[tuple[str, int], ...]
    target: Target | None
    most: int

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        colour = self.target and (self.target.said, tuple(self.target.lab), self.target.viewing)
        return (
            "reach",
            self.basis.key,
            self.fits,
            self.whole.coefficients.model,
            self.whole.coefficients.share,
            colour,
            self.most,
        )

    def answer(self) -> Reach:
        """Search.

        Raises
        ------
        InputError
            As `recipes`.
        """
        basis, target = self.basis, self.target
        nearest = None
        if target is not None:
            used = basis.palette.coefficients
            nearest = recipes(used, target, self.most, names=basis.names, view=basis.view)
        further = one_more(
            self.whole, basis.read.paints, None if target is None else target.lab, self.most
        )
        return Reach(basis, gamut(basis.palette), nearest, tuple(further))


def reach_question(store: Store, request: ReachRequest) -> ReachQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`.
    """
    target = request.target
    if target is None:
        manner = Manner(habits(store).seen.under(request.finish))
    else:
        manner = Manner.matching(target, request.finish)
    with store.snapshot():
        laid_out = request.laid_out
        basis = on_hand(store, manner, (), (*request.without, MEDIUM), laid_out)
        whole = store.fits.coefficients()
        fits = tuple(sorted(store.fits.current(whole.model).items()))
    if target is not None:
        target = target.under(manner.viewing, basis.read.surface)
    palette = Palette(manner.viewing.of(whole), basis.view)
    return ReachQuestion(basis, palette, fits, target, request.most)
