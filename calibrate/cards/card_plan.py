"""Plans a card: which tint goes where on a layout, and what is weighed for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import Field, InputError
from .card import SUBSTRATES, Card, Drawdown
from .label_strength import Strength, tint_ratios
from .layout import Layout
from .measure import CardMeasure
from .shade import Shade, weigh_shades
from .strokes import stroke
from .sureness import LARGEST_ERROR, NEAR, by_volume, fraction_errors
from .weighing import composition
from .weighing_out import WET_DENSITY, Step, weigh_out

BEYOND = 1.5
"""A brush covers this many times the area of the patch that is read (our choice)."""
_MOST = 400


@dataclass(frozen=True)
class LadderToPaint:
    """A tube whose ladder is to be painted.

    Attributes
    ----------
    paint : str
        Nickname.
    strength : {"weak", "ordinary", "strong"}
    ratios : tuple of float
        White to colour of its tints; none: as is usual for the strength.
    """

    paint: str
    strength: Strength
    ratios: tuple[float, ...] = ()


@dataclass(frozen=True)
class CardPlan:
    """A card as it is to be painted.

    Attributes
    ----------
    errors : mapping of step to float
        Standard error of the step's fraction of colour, relative to it; see `fraction_errors`.
    densities : mapping of nickname to g/ml
    """

    card: Card
    errors: Mapping[str, float]
    measure: CardMeasure
    densities: Mapping[str, float]

    def density(self, paints: Mapping[str, float]) -> float:
        """Density of a mix weighed in grams, g/ml."""
        volume = sum(g / self.densities.get(p, WET_DENSITY) for p, g in paints.items())
        return sum(paints.values()) / volume


def plan_card(
    name: str,
    layout: Layout,
    ladders: Sequence[LadderToPaint],
    white: str,
    measure: CardMeasure,
    *,
    densities: Mapping[str, float],
    lots: Mapping[str, str],
    with_white: bool,
    shade: Shade | None = None,
    gap_um: float = 300.0,
    layout_name: str | None = None,
) -> CardPlan:
    """Plan the ladders of a card.

    Parameters
    ----------
    name : str
    layout : Layout
    ladders : sequence of LadderToPaint
        As many as the layout takes, or fewer.
    white : str
        Nickname.
    measure : CardMeasure
    densities : mapping of nickname to g/ml
        Where known.
    lots : mapping of nickname to lot
    with_white : bool
        Also paint the white alone, which no other card tells of.
    shade : Shade, optional
        A shade of each ladder's paint too, but of the black itself: a tint gives way to it.
    gap_um : float
        Of the applicator, for a layout that is drawn down.
    layout_name : str, optional
        Name or path that the card keeps of the layout; else its own name.

    Returns
    -------
    CardPlan

    Raises
    ------
    InputError
        Where the layout has no room, or no amount is sure enough.
    """
    if not layout.tubes:
        raise InputError(
            None, f"layout {layout.name}", "it is for mixtures, not for ladders", "take another"
        )
    if len(ladders) > layout.tubes:
        raise InputError(
            None,
            f"layout {layout.name}",
            f"it takes {layout.tubes} tube{'s' * (layout.tubes > 1)}, got {len(ladders)}",
            "print more cards, or take a six-tube layout",
        )
    if with_white and layout.white_step is None:
        raise InputError(
            None,
            f"layout {layout.name}",
            f"it has no step for {white} alone, and no card tells of it yet",
            f"print a card of {white} first",
        )
    gap = None if layout.method == "brush" else gap_um
    drawdowns: list[Drawdown] = []
    shades: dict[str, Step] = {}
    for ladder in ladders:
        tints = layout.steps_each - 1
        if shade is not None and shade.black != ladder.paint:
            shades[ladder.paint] = step_on(layout, layout.steps_each, 0.0, gap)
            tints -= 1
        if len(ladder.ratios) > tints:
            beside = " beside a shade" if shades else ""
            raise InputError(
                None,
                f"layout {layout.name}",
                f"it has room for {tints} tints of a tube{beside}, got {len(ladder.ratios)}",
                "leave some out, or take another layout",
            )
        ratios = (0.0, *(ladder.ratios or tint_ratios(ladder.strength, tints)))
        steps = [step_on(layout, 1 + i, ratio, gap) for i, ratio in enumerate(ratios)]
        lead = f"{ladder.paint} " if layout.tubes > 1 else ""
        found = _weighed(ladder.paint, white, steps, measure, densities)
        drawdowns += [
            replace(d, step=lead + d.step, taken_from=d.taken_from and lead + d.taken_from)
            for d in found
        ]
    if shade is not None and shades:
        drawdowns += weigh_shades(shades, white, shade, measure, densities)
    if with_white:
        step = step_on(layout, layout.white_step or 0, np.inf, gap)
        drawdowns += _weighed(white, white, [step], measure, densities)
    card = Card(
        name=name,
        file=f"{name}.toml",
        drawdowns=tuple(replace(d, lots=lots_of(d, lots)) for d in drawdowns),
        layout=layout_name or layout.name,
        balance_g=round(measure.error_g(WET_DENSITY), 4),
    )
    return CardPlan(card, fraction_errors(card, measure, densities), measure, densities)


def lots_of(d: Drawdown, lots: Mapping[str, str]) -> dict[str, str]:
    """The lot of every paint that a drawdown holds, where it is known.

    Parameters
    ----------
    d : Drawdown
        Drawdown.
    lots : mapping of nickname to lot

    Returns
    -------
    mapping of nickname to lot
    """
    names = dict.fromkeys(name for name in (d.paint, d.white, *d.masses) if name)
    return {name: lots[name] for name in names if lots.get(name)}


def step_on(layout: Layout, number: int, ratio: float, gap_um: float | None) -> Step:
    """A step as wanted, as large as its place on a layout asks.

    Parameters
    ----------
    layout : Layout
    number : int
        Place on the layout, from 1.
    ratio : float
        White to colour.
    gap_um : float or None
        Of the applicator, µm; none where brushed.

    Returns
    -------
    Step
    """
    boxes = [box for over in SUBSTRATES for box in layout.boxes(number, over)]
    area = BEYOND * sum(box.width_mm * box.height_mm for box in boxes)
    if gap_um is not None:
        film = stroke(layout, number)
        area = film.width_mm * film.height_mm
    return Step(ratio, gap_um=gap_um, area_cm2=area / len(SUBSTRATES) / 100)


def _weighed(
    paint: str,
    white: str,
    steps: Sequence[Step],
    measure: CardMeasure,
    densities: Mapping[str, float],
) -> tuple[Drawdown, ...]:
    """Weigh steps out with the least paint that keeps every fraction sure enough."""
    unit_g = measure.step * (1.0 if measure.unit_ml is None else measure.unit_ml * WET_DENSITY)
    for least in range(1, _MOST):
        found = weigh_out(paint, white, steps, unit_g, least)
        if not _as_called(found, paint, white, steps):
            continue
        if measure.unit_ml is not None:
            found = by_volume(found, densities)
        errors = fraction_errors(Card("", "", found), measure, densities)
        if round(max(errors.values()), 3) < LARGEST_ERROR:  # as the sheet says it
            return found
    raise InputError(
        None,
        Field("scale"),
        f"{measure.name} can't keep every step of {paint} to {LARGEST_ERROR:.0%}",
        "take a finer one",
    )


def _as_called(
    drawdowns: Sequence[Drawdown], paint: str, white: str, steps: Sequence[Step]
) -> bool:
    """Whether rounding left each ratio near what it is called, and something of everything."""
    if paint == white:
        return True
    if any(grams <= 0 for d in drawdowns for grams in d.masses.values()):
        return False
    made = composition(Card("", "", tuple(drawdowns)))
    colour = made.fractions[:, made.paints.index(paint)]
    wanted = np.array(sorted(step.ratio for step in steps))
    return bool((np.abs((1 - colour) / colour - wanted) <= NEAR * wanted + 1e-9).all())


def seats(layout: Layout, card: Card) -> dict[str, int]:
    """Say at which step of a layout each drawdown of a card is painted.

    The ladders stand in the order in which their paints first come on the card, each from its first
    step on; a drawdown of white alone stands at the layout's step for it, if there is one. On a
    layout of mixtures drawdowns stand in their order. What is mixed and not painted has no place.

    Parameters
    ----------
    layout : Layout
    card : Card

    Returns
    -------
    mapping of step to place, from 1

    Raises
    ------
    InputError
        Where the card has more drawdowns than the layout has room for.
    """
    found: dict[str, int] = {}
    used: dict[str | None, int] = {}
    for d in card.drawdowns:
        if not d.over:
            continue
        alone = d.white is not None and d.paint == d.white and layout.white_step is not None
        if not layout.tubes:
            seat, room = len(found) + 1, layout.steps
        elif alone and layout.white_step not in found.values():
            seat, room = layout.white_step or 0, layout.steps
        else:
            used[d.paint] = used.get(d.paint, 0) + 1
            tube = list(used).index(d.paint)
            seat = tube * layout.steps_each + used[d.paint]
            room = min(tube + 1, layout.tubes) * layout.steps_each
        if seat > room:
            raise InputError(
                card.file,
                f"step {d.step}",
                f"layout {layout.name} has no room left for it",
                "take a layout with more steps, or leave steps out",
            )
        found[d.step] = seat
    return found
