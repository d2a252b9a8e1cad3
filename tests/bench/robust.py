"""One wrong step of a ladder: is it named, and is a sound ladder left in peace?

A trial is one ladder with its white: of the virtual lab's paints with the demo's errors, or made
with the fit's own model. One thing is wrong with it: two steps next to each other swapped, any two
swapped, a step mixed with the wrong fraction, or a bubble or glare in one patch. What a reading
can't tell isn't counted: the error must move a patch by at least three combined standard
uncertainties, of reading, model, thickness and weighing together, RMS over wavelengths.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.cards.card import SUBSTRATES, Card
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints, with_noise
from tintladder.calibrate.fit.minimise import minimise
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.start import starting_values
from tintladder.calibrate.fit.problem.tube import Tube

from tests import synthetic
from tests.lab import plan
from tests.lab.drawdown import Lab
from tests.lab.paints import WHITE

from .harness import benchmark

World = Literal["lab", "model"]
KINDS = ("adjacent swap", "any swap", "wrong fraction", "bubble")
TRIALS = 400
TWO_FLUX = FitSettings()
SEVEN = (1, 2, 4, 8, 16, 32)
"""White to colour, after the masstone."""
TELLING = 3.0
"""Combined uncertainties that an error must move a patch by to count."""


@dataclass(frozen=True)
class Trial:
    """A ladder, sound and with one thing wrong.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    white, sound, wrong : CardReadings
    tubes : mapping of nickname to Tube
    steps : tuple of str
        The wrong step, or the two that are swapped.
    patches : tuple of str
        Labels of what reads wrong.
    """

    kind: str
    white: CardReadings
    sound: CardReadings
    wrong: CardReadings
    tubes: Mapping[str, Tube]
    steps: tuple[str, ...]
    patches: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """How a trial went.

    Attributes
    ----------
    kind : str
    moved : float
        How far the error moves a patch, in combined standard uncertainties.
    named : bool
        Whether it is named as what it is, and nothing else is.
    what : str
        What was done, and what the fit said of it.
    """

    kind: str
    moved: float
    named: bool
    what: str


def trial(world: World, number: int) -> Trial:
    """Paint, read and spoil a ladder."""
    rng = np.random.default_rng([number, len(world)])
    kind = KINDS[number % len(KINDS)]
    lab = Lab()
    cards = {c.paints[0]: c for c in plan.ladders()}
    if world == "model":
        cards = {p: synthetic.ladder(p, SEVEN) for p in synthetic.KS}
    white = cards.pop(WHITE if world == "lab" else synthetic.WHITE)
    card = list(cards.values())[(number // len(KINDS)) % len(cards)]

    def read(*wanted: Card) -> list[CardReadings]:
        if world == "lab":
            return lab.read(wanted, number)
        return [synthetic.read(c, seed=100 * number + i) for i, c in enumerate(wanted)]

    of_white, sound = read(white, card)
    names = [d.step for d in card.drawdowns]
    values = sound.spectra.values.copy()
    if kind.endswith("swap"):
        i = int(rng.integers(len(names) - 1))
        j = i + 1
        if kind == "any swap":
            i, j = sorted(int(x) for x in rng.choice(len(names), 2, replace=False))
        steps = (names[i], names[j])
        patches = tuple(f"{step}/{over}" for step in steps for over in SUBSTRATES)
        for over in SUBSTRATES:
            one, other = (sound.rows(f"{step}/{over}") for step in steps)
            values[one], values[other] = sound.spectra.values[other], sound.spectra.values[one]
    elif kind == "wrong fraction":
        steps = (names[int(rng.integers(1, len(names)))],)
        patches = tuple(f"{steps[0]}/{over}" for over in SUBSTRATES)
        factor = float(np.exp(rng.choice([-1, 1]) * rng.uniform(np.log(1.15), np.log(3.0))))
        mixed = tuple(
            _off(d, card.paints[0], factor) if d.step == steps[0] else d for d in card.drawdowns
        )
        # The same hand, balance and applicator: all errors but this one stay. Steps taken from the
        # wrong one are as they were: it went wrong in the part that was drawn down.
        other = read(white, replace(card, drawdowns=mixed))[1]
        for label in patches:
            values[sound.rows(label)] = other.read(label)
    else:
        steps = (names[int(rng.integers(len(names)))],)
        over = str(rng.choice(SUBSTRATES))
        patches = (f"{steps[0]}/{over}",)
        at = sound.rows(patches[0])
        if rng.random() < 0.5:
            share = rng.uniform(0.05, 0.5)
            values[at] += share * (sound.read(f"bare/{over}").mean(axis=0) - values[at])
        else:
            values[at] += rng.uniform(0.005, 0.05)
    wrong = replace(sound, spectra=replace(sound.spectra, values=values))
    tubes = lab.tubes if world == "lab" else synthetic.TUBES
    return Trial(kind, of_white, sound, wrong, tubes, steps, patches)


def _off(drawdown, paint: str, factor: float):  # type: ignore[no-untyped-def]
    """The same drawdown with another amount of colour than was written down."""
    if drawdown.taken_from is not None:
        return replace(drawdown, taken_g=drawdown.taken_g * factor)
    masses = {p: g * (factor if p == paint else 1.0) for p, g in drawdown.masses.items()}
    return replace(drawdown, masses=masses)


def moved(each: Trial, settings: FitSettings) -> float:
    """How far the error moves the patch it moves most, in combined standard uncertainties."""
    readings = [each.white, each.sound]
    settings = with_noise(settings, readings)
    problem = build(readings, each.tubes, settings)
    solution, weight, _ = minimise(problem, starting_values(problem), settings)
    variance = 1 / weight
    for block, _, _ in solution.blocks:
        slopes = block.predict(
            solution.theta[block.paints, 0],
            solution.theta[block.paints, 1],
            solution.nu[block.scalars],
        )[2]
        by_hand = [
            m
            for m, i in enumerate(block.scalars)
            if problem.nuisances[i].kind in ("two fluxes", "thickness", "weighing")
        ]
        variance[block.rows] += (slopes[:, by_hand] ** 2).sum(axis=1)
    found = []
    for n, patch in enumerate(problem.patches):
        if patch.card == each.sound.card.name and patch.label in each.patches:
            shift = (each.wrong.read(patch.label) - each.sound.read(patch.label)).mean(axis=0)
            found.append(float(np.sqrt(np.mean(shift**2 / variance[n]))))
    return max(found)


def accused(fit: JointFit) -> set[tuple[str, str, str]]:
    """Card, patch and flag of all that was set aside."""
    tables = [p.patches[p.patches["weight"] < 1] for p in fit.paints.values()]
    return {row for t in tables for row in zip(t["card"], t["patch"], t["flag"], strict=True)}


def judged(each: Trial, settings: FitSettings = TWO_FLUX) -> Outcome:
    """Fit the wrong ladder, and see whether the wrong is named."""
    fit = fit_paints([each.white, each.wrong], each.tubes, settings)
    card = each.wrong.card.name
    said = accused(fit)
    steps = {f"{step}/{over}" for step in each.steps for over in SUBSTRATES}
    only = {(c, p) for c, p, _ in said} <= {(card, p) for p in steps}
    if each.kind.endswith("swap"):
        a, b = each.steps
        reasons = [r for p in fit.paints.values() for r in p.reasons]
        named = only and any(f"steps {a} and {b} of card {card} look swapped" in r for r in reasons)
    else:
        named = only and set(each.patches) <= {p for _, p, _ in said}
    what = f"{card}: {each.kind} of {', '.join(each.patches)}; set aside: {sorted(said) or None}"
    return Outcome(each.kind, moved(each, settings), named, what)


def outcomes(
    world: World, numbers: Iterable[int] = range(TRIALS), settings: FitSettings = TWO_FLUX
) -> list[Outcome]:
    """Run trials of a world."""
    with threadpool_limits(1, "blas"):
        return [judged(trial(world, n), settings) for n in numbers]


@cache
def all_outcomes(world: World) -> tuple[Outcome, ...]:
    """All trials of a world."""
    return tuple(outcomes(world))


def named_share(found: Iterable[Outcome]) -> float:
    """Share that is named, of those that a reading can tell."""
    telling = [o.named for o in found if o.moved >= TELLING]
    return float(np.mean(telling))


def left_in_peace(
    world: World, numbers: Iterable[int] = range(TRIALS), settings: FitSettings = TWO_FLUX
) -> float:
    """Share of sound ladders of which nothing is set aside."""
    with threadpool_limits(1, "blas"):
        fits = [
            fit_paints([each.white, each.sound], each.tubes, settings)
            for each in (trial(world, n) for n in numbers)
        ]
    return float(np.mean([not accused(fit) for fit in fits]))


@benchmark("fit.wrong_step_named", "share of telling trials", target=0.95, sense="at least")
def lab_named() -> float:
    """400 ladders of the lab, each with one thing wrong."""
    return named_share(all_outcomes("lab"))


@benchmark("fit.wrong_step_undetectable", "share of trials under three combined uncertainties")
def lab_undetectable() -> float:
    return float(np.mean([o.moved < TELLING for o in all_outcomes("lab")]))


@benchmark("fit.sound_ladder_in_peace", "share of trials", target=0.95, sense="at least")
def lab_in_peace() -> float:
    """400 sound ladders of the lab."""
    return left_in_peace("lab")


@benchmark(
    "fit.wrong_step_named_own_model", "share of telling trials", target=0.95, sense="at least"
)
def model_named() -> float:
    """The same with readings made with the fit's own model."""
    return named_share(all_outcomes("model"))


@benchmark("fit.sound_ladder_in_peace_own_model", "share of trials", target=0.95, sense="at least")
def model_in_peace() -> float:
    return left_in_peace("model")
