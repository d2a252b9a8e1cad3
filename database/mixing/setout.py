"""Which tubes to set out for a picture: the fewest that mix all its colours, and every heap."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from .measures import area_grams, by_volume, density
from .order import Order, order_of
from .palette import Ints, Palette
from .recipes import Recipe, recipes_of_many
from .target import Target
from .tubes.fewest import Fewest, fewest_tubes

if TYPE_CHECKING:
    from .photo import Spot

Bools = NDArray[np.bool_]

WITHIN = 2.0
"""CIEDE2000 that a mix may be off: seen side by side only."""
LEAST_ML = 2.0
"""Of wet paint: a smaller heap can't be mixed (common practice, no source)."""
BATCH_ML = 60.0
"""Of wet paint, shared among the colours where nothing else is said."""


@dataclass(frozen=True)
class Dab:
    """One colour to lay out: a square on the page.

    Attributes
    ----------
    share : float
        Of the picture; alike for all where there is none.
    at : (x, y) or None
        Where in the picture it is seen best, px.
    recipe : Recipe
        From the tubes set out.
    order : Order
        In which its paints go in.
    ml : float
        Of wet paint to make.
    grams : dict of nickname to grams
        Of each tube in it.
    reached : bool
        Whether any tubes on hand come within what was asked; where none do, this comes within that
        much of what they all come to.
    """

    target: Target
    share: float
    at: Spot | None
    recipe: Recipe
    order: Order
    ml: float
    grams: dict[str, float]
    reached: bool


@dataclass(frozen=True)
class Fewer:
    """What one tube fewer would cost.

    Attributes
    ----------
    tubes : tuple of str
        The best set of one tube less.
    left_out, taken_in : tuple of str
        What it lacks of the tubes set out, and what it has instead.
    lab : (T, 3) array
        What it makes of each colour, in the order of the dabs; to show beside theirs.
    difference : (T,) array
        CIEDE2000 of that from each target.
    lost : (T,) bool array
        Colours that it no longer mixes as near as was asked of the tubes set out.
    """

    tubes: tuple[str, ...]
    left_out: tuple[str, ...]
    taken_in: tuple[str, ...]
    lab: Array
    difference: Array
    lost: Bools


@dataclass(frozen=True)
class SetOut:
    """What to set out for a picture, or for several colours.

    Attributes
    ----------
    tubes : tuple of str
        The fewest that mix every colour within what was asked, those most used first. Of equally
        few, those that come nearest.
    ml : dict of nickname to ml
        Of each tube, wet.
    dabs : tuple of Dab
        Those that cover most of the picture first.
    within : float
        CIEDE2000 that was asked for.
    fewer : Fewer or None
        None where one tube is enough.
    searched : int
        Number of sets of tubes that were compared.
    proven : bool
        Whether every smaller set was looked at; False only for more tubes than can be.
    """

    tubes: tuple[str, ...]
    ml: dict[str, float]
    dabs: tuple[Dab, ...]
    within: float
    fewer: Fewer | None
    searched: int
    proven: bool

    @property
    def unreached(self) -> tuple[Dab, ...]:
        """Colours that no tubes on hand mix within what was asked."""
        return tuple(dab for dab in self.dabs if not dab.reached)


def set_out(
    palette: Palette,
    targets: Sequence[Target],
    shares: Sequence[float] | None = None,
    places: Sequence[Spot] | None = None,
    within: float = WITHIN,
    most: int = 4,
    must: Sequence[str] = (),
    ml: float = BATCH_ML,
    area: str | None = None,
    coats: int = 2,
    names: Mapping[str, str] | None = None,
) -> SetOut:
    """Find the fewest tubes that mix all of several colours, and say how to mix each.

    Parameters
    ----------
    palette : Palette
        The tubes that may be used.
    shares : sequence of float, optional
        How much of the picture each covers; alike by default.
    places : sequence of (x, y), optional
        Where each is seen.
    within : float
        CIEDE2000 that a mix may be off its target.
    most : int
        Tubes in one mix.
    must : sequence of str
        Nicknames that are set out in any case.
    ml : float
        Wet paint to make in all; no colour gets less than `LEAST_ML`.
    area : str, optional
        Size of the picture instead, such as ``40x50cm``; and `coats` of it.
    names : mapping of nickname to name, optional
        For the words.

    Raises
    ------
    InputError
        Without targets, or for a size that is none.
    """
    if not targets:
        raise InputError(None, None, "no colours to mix", "name a picture, or some colours")
    wanted = np.array([t.lab for t in targets])
    found = fewest_tubes(palette, wanted, within, most, must)
    few, view = palette.coefficients.select(found.chosen.tubes), palette.view
    share = np.ones(len(targets)) if shares is None else np.asarray(shares, dtype=float)
    share = share / share.sum()
    dabs = []
    limits = found.limit.tolist()
    each = recipes_of_many(few, targets, most, ways=1, names=names, within=limits, view=view)
    for i, (target, limit, one) in enumerate(zip(targets, limits, each, strict=True)):
        recipe = one.recipes[0]
        wet = density(few, recipe.parts)
        made = ml if area is None else area_grams(few, recipe.parts, area, coats) / wet
        made = max(float(share[i]) * made, LEAST_ML)
        dabs.append(
            Dab(
                target,
                float(share[i]),
                places[i] if places else None,
                recipe,
                order_of(Palette(few, view), recipe.parts),
                made,
                {p: made * wet * part for p, part in recipe.parts.items()},
                limit <= within,
            )
        )
    order = np.argsort(-share, kind="stable")
    taken = _of_each_tube(few, dabs)
    return SetOut(
        tuple(taken),
        taken,
        tuple(dabs[i] for i in order),
        within,
        _fewer(palette, found, wanted, order),
        found.searched,
        found.proven,
    )


def _of_each_tube(few: Coefficients, dabs: Sequence[Dab]) -> dict[str, float]:
    """Millilitres of each tube in all the heaps, most first."""
    total = {paint: 0.0 for paint in few.paints}
    for dab in dabs:
        for paint, ml in by_volume(few, dab.grams).items():
            total[paint] += ml
    return dict(sorted(total.items(), key=lambda item: -item[1]))


def _fewer(palette: Palette, found: Fewest, wanted: Array, order: Ints) -> Fewer | None:
    """What the best set of one tube less makes of every colour."""
    if found.fewer is None:
        return None
    made = palette.lab(found.fewer.shares)
    off = ciede2000(made, wanted)
    ours, theirs = set(found.chosen.tubes), set(found.fewer.tubes)
    return Fewer(
        found.fewer.tubes,
        tuple(p for p in found.chosen.tubes if p not in theirs),
        tuple(p for p in found.fewer.tubes if p not in ours),
        made[order],
        off[order],
        (off > found.limit + 0.01)[order],
    )
