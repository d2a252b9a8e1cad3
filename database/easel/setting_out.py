"""What to set out for a photograph or for several colours, from what a studio holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ...calibrate.cards.layout import layout_names, read_layout
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.surface import Gloss
from ..mixing.photo import Photo, Spot, parse_spot, read_photo, trust
from ..mixing.photo_colours import main_colours
from ..mixing.setout import BATCH_ML, WITHIN, SetOut, set_out
from ..mixing.target import Target
from ..mixing.viewing import AS_SEEN, Viewing
from .on_hand import usable

if TYPE_CHECKING:
    from ..store.store import Store


@dataclass(frozen=True)
class Wanted:
    """Colours that are to be mixed.

    Attributes
    ----------
    targets : tuple of Target
    name : str
        What they are of, in a word or two.
    shares, places : tuple or None
        How much of a photograph each covers, and where it is seen best.
    remark : str
        How far a photograph can be trusted.
    """

    targets: tuple[Target, ...]
    name: str
    shares: tuple[float, ...] | None = None
    places: tuple[Spot, ...] | None = None
    remark: str = ""

    def viewing(self, finish: Gloss | None) -> Viewing:
        """Return how all of them are looked at: under a named finish, else as each is meant.

        Where some are meant as the eye sees them and others as an instrument reads them, the eye
        it is: what was read tells what is seen, and not the other way round.
        """
        if finish:
            return Viewing(finish)
        each = {target.viewing for target in self.targets}
        return each.pop() if len(each) == 1 else AS_SEEN


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


def wanted_of(photo: Photo, name: str) -> Wanted:
    """Return the main colours of a photograph."""
    main = main_colours(photo)
    return Wanted(
        tuple(colour.target(photo) for colour in main),
        name,
        tuple(colour.share for colour in main),
        tuple(colour.at for colour in main),
        trust(photo),
    )


def wanted_each(targets: Sequence[Target]) -> Wanted:
    """Return colours that count alike."""
    return Wanted(tuple(targets), f"{len(targets)} colours" if len(targets) > 1 else "one colour")


@dataclass(frozen=True)
class Choice:
    """Which tubes may be set out, and how mixes are looked at.

    Attributes
    ----------
    must, without : sequence of str
        Tubes set out anyway and left out, by nickname or part of a name.
    finish : {"gloss", "satin", "matt"} or None
        None: as the colours are meant.
    """

    must: Sequence[str] = ()
    without: Sequence[str] = ()
    finish: Gloss | None = None


ANY = Choice()


def set_out_for(
    store: Store,
    wanted: Wanted,
    choice: Choice = ANY,
    within: float = WITHIN,
    most: int = 4,
    ml: float = BATCH_ML,
    area: str | None = None,
    coats: int = 2,
) -> SetOut:
    """Find the fewest tubes on hand that mix all colours wanted; the rest as for `set_out`."""
    coefficients, targets, must = tubes_for(store, wanted, choice)
    names = {paint.nickname: paint.name for paint in store.paints.all()}
    return set_out(
        coefficients, targets, wanted.shares, wanted.places, within, most, must, ml, area,
        coats, names,
    )  # fmt: skip


def tubes_for(
    store: Store, wanted: Wanted, choice: Choice
) -> tuple[Coefficients, list[Target], list[str]]:
    """Return the tubes that may be set out and the colours, as they are looked at.

    And nicknames of the tubes that must be set out.
    """
    must, without = (
        [store.paints.find(text).nickname for text in texts]
        for texts in (choice.must, choice.without)
    )
    read, viewing = usable(store, must, without), wanted.viewing(choice.finish)
    targets = [target.under(viewing, read.surface) for target in wanted.targets]
    return viewing.of(read), targets, must
