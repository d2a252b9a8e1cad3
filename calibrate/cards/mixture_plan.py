"""Plans a card of mixtures that no fit will see: which tell most, and what is weighed for them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from ..errors import CalibrateDo, Field, InputError
from .card import Card, Drawdown
from .card_plan import CardPlan, lots_of, step_on
from .label_strength import STRENGTHS, Strength, tint_ratios
from .layout import Layout
from .measure import CardMeasure
from .sureness import LARGEST_ERROR, NEAR, by_volume, fraction_errors
from .weighing_out import WET_DENSITY

MOST_G = 8.0
"""About what a chosen mixture may weigh where a coarse scale asks for more than the card (our
choice)."""
_MOST_SAID_G = 30.0
"""The same of a mixture whose parts the painter named: half a tube (our choice)."""
_LEAN = 3.0
"""By how much a paint leads in a mixture that isn't even (our choice)."""
_MOST = 400

Pair = frozenset[str]


@dataclass(frozen=True)
class Mixture:
    """A mixture to be painted.

    Attributes
    ----------
    parts : mapping of nickname to float
        By weight.
    said : bool
        Whether the painter named it: then its parts are kept to. Of one that was chosen, a paint
        that can't be weighed so small takes a larger part.
    """

    parts: Mapping[str, float]
    said: bool = False


def choose_mixtures(
    strengths: Mapping[str, Strength],
    white: str,
    count: int,
    tried: Iterable[Collection[str]] = (),
) -> tuple[Mixture, ...]:
    """Choose the mixtures that tell most of how paints mix.

    Parameters
    ----------
    strengths : mapping of nickname to {"weak", "ordinary", "strong"}
        Of the colours to choose from.
    white : str
        Nickname.
    count : int
        How many there is room for.
    tried : iterable of collections of nicknames
        What earlier cards mix.

    Returns
    -------
    tuple of Mixture
        Maybe fewer: no mixture comes twice.

    Notes
    -----
    Ladders have shown how each colour lies with white. What they can't show is how colours lie with
    one another, so a mixture counts for the pairs of colours in it: those come first that were
    mixed least, then paints that were used least, then a strong colour with a weak one, which a
    wrong share spoils most. In turn two colours let down with white, three so, and two alone, whose
    dark mixes a model predicts worst. Each paint has so much of it as brings it to about the same
    strength; once every set of paints was had so, each of them leads in turn. The same tubes give
    the same mixtures.

    Raises
    ------
    InputError
        Where there are fewer than two colours.
    """
    if len(strengths) < 2:
        raise InputError(
            None,
            Field("mixtures"),
            f"expected two colours or more besides {white}, got {', '.join(strengths) or 'none'}",
            CalibrateDo.MORE_TUBES(),
        )
    part = {paint: 1 / tint_ratios(strength, 4)[1] for paint, strength in strengths.items()}
    pairs = Counter(pair for mixed in tried for pair in _pairs(set(mixed) & set(strengths)))
    used = Counter[str]()
    had = set[tuple[int, tuple[str, ...], int]]()
    found: list[Mixture] = []

    def cost(paints: tuple[str, ...]) -> tuple[float, float, int]:
        levels = [STRENGTHS.index(strengths[paint]) for paint in paints]
        between = _pairs(paints)
        return (
            sum(pairs[pair] for pair in between) / len(between),
            sum(used[paint] for paint in paints) / len(paints),
            min(levels) - max(levels),
        )

    kinds = ((2, True), (3, True), (2, False))
    for number in range(count):
        for kind in (*range(number % 3, 3), *range(number % 3)):
            size, let_down = kinds[kind]
            sets = list(combinations(strengths, size))
            # 0 is the even one, then each paint leads.
            for leads in range(size + 1):
                left = [paints for paints in sets if (kind, paints, leads) not in had]
                if left:
                    break
            else:
                continue
            paints = min(left, key=cost)
            had.add((kind, paints, leads))
            pairs.update(_pairs(paints))
            used.update(paints)
            share = {
                paint: part[paint] * (_LEAN if i == leads else 1.0)
                for i, paint in enumerate(paints, 1)
            }
            whole = sum(share[paint] / part[paint] for paint in paints)
            parts = {paint: each / whole for paint, each in share.items()}
            found.append(Mixture(({white: 1.0} if let_down else {}) | parts))
            break
    return tuple(found)


def _pairs(paints: Collection[str]) -> list[Pair]:
    return [frozenset(pair) for pair in combinations(sorted(paints), 2)]


def check_layout(layout: Layout) -> None:
    """Refuse a layout that is for ladders.

    Raises
    ------
    InputError
        Where it is.
    """
    if layout.tubes:
        raise InputError(
            None, f"layout {layout.name}", "it is for ladders, not for mixtures", "take another"
        )


def plan_mixtures(
    name: str,
    layout: Layout,
    mixtures: Sequence[Mixture],
    measure: CardMeasure,
    *,
    densities: Mapping[str, float],
    lots: Mapping[str, str],
    gap_um: float = 300.0,
    layout_name: str | None = None,
) -> CardPlan:
    """Plan a card that judges fits; parameters as `tintladder.calibrate.cards.card_plan.plan_card`.

    Parameters
    ----------
    name : str
        Of the card.
    layout : Layout
    mixtures : sequence of Mixture
    measure : CardMeasure
    densities : mapping of nickname to g/ml
    lots : mapping of nickname to lot
    gap_um : float
        Of the applicator, µm; none where brushed.
    layout_name : str, optional
        As the card names it.

    Returns
    -------
    CardPlan

    Raises
    ------
    InputError
        Where the layout is for ladders or has no room, or no amount is sure enough.
    """
    check_layout(layout)
    if len(mixtures) > layout.steps:
        raise InputError(
            None,
            f"layout {layout.name}",
            f"it has room for {layout.steps} mixtures, got {len(mixtures)}",
            "print more cards, or leave some out",
        )
    gap = None if layout.method == "brush" else gap_um
    drawdowns = list[Drawdown]()
    for mixture in mixtures:
        number = len(drawdowns) + 1
        step = step_on(layout, number, 1.0, gap)
        d = Drawdown(f"mix {number}", None, {}, **step.film)
        d = _weighed(d, mixture, step.grams, measure, densities)
        if not mixture.said and d.masses in [before.masses for before in drawdowns]:
            continue  # too coarsely measured, two that were chosen come out as one
        drawdowns.append(replace(d, lots=lots_of(d, lots)))
    card = Card(
        name=name,
        file=f"{name}.toml",
        drawdowns=tuple(drawdowns),
        purpose="check",
        layout=layout_name or layout.name,
        balance_g=round(measure.error_g(WET_DENSITY), 4),
    )
    return CardPlan(card, fraction_errors(card, measure, densities), measure, densities)


def _weighed(
    d: Drawdown,
    mixture: Mixture,
    grams: float,
    measure: CardMeasure,
    densities: Mapping[str, float],
) -> Drawdown:
    """Weigh a mixture out with the least paint that keeps every share sure enough."""
    unit = measure.step * (1.0 if measure.unit_ml is None else measure.unit_ml * WET_DENSITY)
    whole = sum(mixture.parts.values())
    share = {paint: part / whole for paint, part in mixture.parts.items() if part > 0}
    most = _MOST_SAID_G if mixture.said else MOST_G
    for least in range(1, _MOST):
        total = max(grams, min(most, least * unit / min(share.values())))
        counts = {paint: max(least, round(total * s / unit)) for paint, s in share.items()}
        made = sum(counts.values())
        if made * unit > max(_MOST_SAID_G, grams):
            break
        kept = all(abs(counts[p] / made - s) <= NEAR * s for p, s in share.items())
        if mixture.said and not kept:
            continue
        masses = {paint: round(count * unit, 6) for paint, count in counts.items()}
        found = replace(d, masses=masses)
        if measure.unit_ml is not None:
            (found,) = by_volume((found,), densities)
        errors = fraction_errors(Card("", "", (found,)), measure, densities)
        if round(max(errors.values()), 3) < LARGEST_ERROR:  # as the sheet says it
            return found
    said = ", ".join(f"{paint}={part:g}" for paint, part in mixture.parts.items())
    raise InputError(
        None,
        f"{d.step} ({said})",
        f"{measure.name} can't keep every share of it to {LARGEST_ERROR:.0%} in {_MOST_SAID_G:g} g",
        "take a finer one, or more of the smallest part",
    )
