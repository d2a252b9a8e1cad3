"""Which drawdowns would tell most: a ladder before painting, one more step after a fit.

No reading is needed for that. The criterion is A-optimal in what a painter sees: the root mean
square CIEDE2000 by which the masstone and the tints of a paint, drawn down over black and over
white, would be mispredicted (see `tintladder.calibrate.fit.planning.information` for what it
counts). The gain in log K and log S (D-optimal: by how much the log determinant of their
covariance falls) stands beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np
import pandas as pd

from ...cards.card import SUBSTRATES, Drawdown
from ...cards.readings import CardReadings
from ...cards.shade import SHARES
from ...cards.weighing_out import Step, weighed
from ...errors import InputError
from ...optics.colour import in_words
from ...optics.surface import Gloss
from ..problem.result import JointFit
from ..problem.settings import FitSettings
from ..problem.threads import one_thread
from ..problem.tube import Tube
from .guess import Guess
from .information import Expected, Scene, expected
from .least_paint import leanest
from .plan import LadderPlan

RATIOS = (0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)
"""White to colour by mass that a step may have."""
MOST_STEPS = 9
USUAL_STEPS = 6
WORTH_IT = 0.05
"""Fall of the expected difference below which one more drawdown is hardly worth it (our choice)."""


@dataclass(frozen=True)
class ProposedLadder:
    """A proposed ladder.

    Attributes
    ----------
    drawdowns : tuple of Drawdown
        Ready for a card, from the masstone to the whitest.
    grams : mapping of nickname to g
        Tube paint that it takes.
    shade : ShadeStep or None
        A shade step beside it, where there is a black.
    """

    drawdowns: tuple[Drawdown, ...]
    expected: Expected
    grams: Mapping[str, float]
    words: str
    shade: ShadeStep | None = None


@dataclass(frozen=True)
class ShadeStep:
    """The shade that would help most beside a ladder.

    Attributes
    ----------
    drawdowns : tuple of Drawdown
        The black let down, which isn't painted, and the shade.
    now, then : Expected
        With the ladder alone, and with the shade too.
    """

    drawdowns: tuple[Drawdown, ...]
    now: Expected
    then: Expected
    words: str


@dataclass(frozen=True)
class OneMore:
    """The one more drawdown that would help most.

    Attributes
    ----------
    drawdown : Drawdown
        Ready for a card.
    before : tuple of Drawdown
        What is mixed first and not painted: the black let down for a shade.
    table : DataFrame
        A row for each drawdown considered, the best first: step, ratio (NaN for a shade), grams (of
        colour), de00
        (expected with it), reduction (of the expected CIEDE2000, relative), bits (gain in log K
        and log S).
    """

    drawdown: Drawdown
    before: tuple[Drawdown, ...]
    now: Expected
    then: Expected
    table: pd.DataFrame
    words: str


def choose(scenes: Sequence[Scene], fixed: int, count: int) -> tuple[int, ...]:
    """Pick planned drawdowns: of all sets of `count` that hold the first `fixed`, the best.

    Parameters
    ----------
    scenes : sequence of Scene
        Guesses of what the paint may be.
    fixed : int
        How many are settled.
    count : int
        How many are wanted.

    Returns
    -------
    tuple of int
    """
    every = range(len(scenes[0].each))
    rest = combinations(every[fixed:], count - fixed)
    sets = np.array([(*every[:fixed], *more) for more in rest])
    value = np.mean([s.square(sets).mean(axis=1) for s in scenes], axis=0)
    return tuple(int(i) for i in sets[np.argmin(value)])


def plan_ladder(
    paint: Guess,
    white: Guess,
    *,
    steps: int | None = None,
    wanted_de00: float | None = None,
    known: Sequence[CardReadings] = (),
    gap_um: float | None = 300.0,
    balance_g: float = 0.01,
    gloss: Gloss = "gloss",
    settings: FitSettings | None = None,
    black: Guess | None = None,
) -> ProposedLadder:
    """Propose a ladder before anything is painted.

    Parameters
    ----------
    paint, white : Guess
        The paint may be one of several; the plan serves them on average.
    steps : int, optional
        So many drawdowns of the paint, the best that can be had of them; six by default.
    wanted_de00 : float, optional
        Or: an expected CIEDE2000 (see `Expected`), to be reached with the least paint.
    known : sequence of CardReadings
        Cards that will be fitted together with this one: the white's own. Without any, white's
        masstone is planned too, beside the steps asked for.
    gap_um : float or None
        The applicator's gap. None: no applicator, every step is painted until the black no longer
        shows; K and S will be relative to the white.
    balance_g : float
        Step of the balance.
    gloss : {"gloss", "satin", "matt"}
        How the paint dries.
    settings : FitSettings, optional
    black : Guess, optional
        A black that is known: with it a shade step is offered beside the ladder.

    Returns
    -------
    ProposedLadder

    Raises
    ------
    InputError
        For a number of steps that can't be, or an uncertainty that no ladder reaches.
    """
    if steps is not None and not 2 <= steps <= MOST_STEPS:
        raise InputError(
            None, "steps", f"expected 2 to {MOST_STEPS}, got {steps}", f"ask for {USUAL_STEPS}"
        )
    ours = _of(known, paint.tube, white.tube)
    plan = LadderPlan(paint, white, ours, gap_um, balance_g, gloss, settings or FitSettings())
    fixed = [0.0] if ours else [0.0, np.inf]
    ratios = [*fixed, *(ratio for ratio in RATIOS if ratio not in fixed)]
    every = [Step(ratio, gap_um=gap_um) for ratio in ratios]
    # The same order of adding gives the same plan, whatever the machine.
    with one_thread():
        if wanted_de00 is None:
            scenes = plan.scenes(plan.apart(every))
            count = (steps or USUAL_STEPS) + len(fixed) - 1
            picked = [every[i] for i in choose(scenes, len(fixed), count)]
        else:
            picked = leanest(plan, every, len(fixed), MOST_STEPS, wanted_de00)
        drawdowns = plan.weigh(picked)
        found = plan.expect(drawdowns)
        shade = None if black is None else _shade_step(replace(plan, black=black), drawdowns)
    grams = weighed(drawdowns)
    words = _ladder_words(drawdowns, found, grams, plan)
    return ProposedLadder(drawdowns, found, grams, words, shade)


def _shade_step(plan: LadderPlan, drawdowns: Sequence[Drawdown]) -> ShadeStep | None:
    """The shade that would help most beside a ladder; None where none can be weighed."""
    shades = _shades(plan)
    if not shades:
        return None
    own = len(drawdowns)
    scenes = plan.scenes([*drawdowns, *chain.from_iterable(_apart(shades))])
    now = expected(scenes, range(own))
    each = [expected(scenes, [*range(own), own + i]) for i in range(len(shades))]
    best = min(range(len(shades)), key=lambda i: each[i].de00)
    words = _shade_words(plan, shades[best], now, each[best])
    return ShadeStep(shades[best], now, each[best], words)


def _shades(plan: LadderPlan) -> list[tuple[Drawdown, ...]]:
    """Shades of every share that the balance can weigh, each after the black let down for it."""
    found = []
    for share in SHARES if plan.black is not None else ():
        with suppress(InputError):
            found.append(plan.shade(share))
    return found


def _apart(shades: Sequence[tuple[Drawdown, ...]]) -> Iterator[tuple[Drawdown, ...]]:
    """The same, with names of their own for what is let down."""
    for i, (down, shade) in enumerate(shades):
        name = f"{i} {down.step}"
        yield replace(down, step=name), replace(shade, taken_from=name)


def _of(
    known: Sequence[CardReadings], paint: Tube, white: Tube, black: Guess | None = None
) -> tuple[CardReadings, ...]:
    """The cards that hold these two paints and no other, but the black in the paint's own shades.

    The black's ladder isn't counted: the black is taken as known.
    """
    two = {paint.paint, white.paint}
    three = two if black is None else two | {black.tube.paint}
    return tuple(
        r
        for r in known
        if r.card.purpose == "fit"
        and set(r.card.paints) <= (three if paint.paint in r.card.paints else two)
    )


def next_drawdown(
    paint: str,
    white: str,
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    fit: JointFit,
    *,
    gap_um: float | None = 300.0,
    balance_g: float = 0.01,
    black: Guess | None = None,
) -> OneMore:
    """Propose the one more drawdown that would help a fitted paint most.

    Parameters
    ----------
    paint, white : str
        Nicknames; both fitted.
    readings : sequence of CardReadings
        Those that were fitted. What cards of these two paints alone have told is counted; that
        other paints' ladders told of the white as well is not.
    tubes : mapping of nickname to Tube
    fit : JointFit
    gap_um, balance_g, black
        As for `plan_ladder`; shades count among the drawdowns considered.

    Returns
    -------
    OneMore

    Raises
    ------
    InputError
        For a paint that wasn't fitted, or of which there is no card of its own.
    """
    for name in (paint, white):
        if name not in fit.coefficients.paints:
            raise InputError(None, f"paint {name}", "expected a fitted paint", "fit it first")
    ours = _of(readings, tubes[paint], tubes[white], black)
    if not any(paint in r.card.paints for r in ours):
        raise InputError(
            None,
            f"paint {paint}",
            f"expected a card of {paint} and {white} alone",
            "plan a ladder instead",
        )
    found = fit.coefficients
    guesses = [Guess.of_fit(tubes[p], found, p) for p in (paint, white)]
    table = fit.nuisances
    values = dict(zip(table["name"], table["value"] / table["prior_sd"], strict=True))
    settings = FitSettings(**fit.settings)
    dries = Counter(d.surface for r in ours for d in r.card.drawdowns if d.paint == paint)
    gloss = dries.most_common(1)[0][0] if dries else "gloss"
    plan = LadderPlan(
        guesses[0], guesses[1], ours, gap_um, balance_g, gloss, settings, values, black
    )
    steps = [Step(ratio, gap_um=gap_um) for ratio in (*RATIOS, np.inf)]
    with one_thread():
        shades = _shades(plan)
        scenes = plan.scenes([*plan.apart(steps), *chain.from_iterable(_apart(shades))])
        now = expected(scenes, [])
        each = [expected(scenes, [i]) for i in range(len(steps) + len(shades))]
    made = [*(plan.weigh([step]) for step in steps), *shades]
    drawdowns = [some[-1] for some in made]
    ranked = pd.DataFrame(
        {
            "step": [d.step for d in drawdowns],
            "ratio": [*(step.ratio for step in steps), *(np.nan for _ in shades)],
            "grams": [d.masses.get(paint, 0.0) for d in drawdowns],
            "de00": [e.de00 for e in each],
            "reduction": [1 - e.de00 / now.de00 for e in each],
            "bits": [now.bits - e.bits for e in each],
        }
    ).sort_values("de00", kind="stable")
    best = int(ranked.index[0])
    words = _one_more_words(plan, made[best], now, each[best])
    table = ranked.reset_index(drop=True)
    return OneMore(drawdowns[best], made[best][:-1], now, each[best], table, words)


def _mix_words(d: Drawdown) -> str:
    parts = [] if d.taken_from is None else [f"{d.taken_g:g} g of step {d.taken_from}"]
    parts += [f"{grams:g} g {paint}" for paint, grams in d.masses.items()]
    over = "" if d.over == SUBSTRATES else f", over {' and '.join(d.over)} alone"
    return f"{d.step}: {' + '.join(parts)}{over if d.over else ', mixed and not painted'}"


def _ladder_words(
    drawdowns: Sequence[Drawdown], found: Expected, grams: Mapping[str, float], plan: LadderPlan
) -> str:
    paint, white = plan.paint.tube.paint, plan.white.tube.paint
    how = "painted until the black no longer shows"
    if plan.gap_um is not None:
        how = f"drawn down at {plan.gap_um:g} µm"
    lines = [
        f"Ladder of {paint} in {white}, white to colour, {how}:",
        *(f"  {_mix_words(d)}" for d in drawdowns),
        f"It takes {' and '.join(f'{g:.3g} g {p}' for p, g in grams.items())}.",
        "Its masstone and tints should then be predicted to within about CIEDE2000 "
        f"{found.de00:.1f} ({in_words(found.de00)}).",
    ]
    return "\n".join(lines)


def _one_more_words(
    plan: LadderPlan, made: Sequence[Drawdown], now: Expected, then: Expected
) -> str:
    paint, fall = plan.paint.tube.paint, 1 - then.de00 / now.de00
    lead = (
        f"No one drawdown tells much more of {paint}; the best"
        if fall < WORTH_IT
        else f"One more drawdown of {paint}"
    )
    what = "masstone and tints" if plan.black is None else "masstone, tints and shades"
    return (
        f"{lead} is {_made_words(made)}. The CIEDE2000 to expect of its {what} falls from "
        f"{now.de00:.2f} to {then.de00:.2f} ({100 * fall:.0f} % less)."
    )


def _made_words(made: Sequence[Drawdown]) -> str:
    """The drawdown, and what is let down for it first."""
    *first, last = (_mix_words(d) for d in made)
    return last + "".join(f" (first {words})" for words in first)


def _shade_words(plan: LadderPlan, made: Sequence[Drawdown], now: Expected, then: Expected) -> str:
    assert plan.black is not None
    paint, black = plan.paint.tube.paint, plan.black.tube.paint
    fall = 1 - then.de00 / now.de00
    lead = f"A shade step shows how {black} acts on {paint}. The best is"
    if fall < WORTH_IT:
        lead = f"A shade step would show little more of how {black} acts on {paint}; the best is"
    return (
        f"{lead} {_made_words(made)}. The CIEDE2000 to expect of its shades falls from "
        f"{now.shades:.1f} to {then.shades:.1f}, and of masstone, tints and shades together from "
        f"{now.de00:.1f} to {then.de00:.1f}."
    )
