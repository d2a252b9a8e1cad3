"""Whose mistake it was: steps that are wrong are named, and sound ones are left in peace.

A trial is a small studio of the lab's sign shop: a white and two ladders with it, read and fitted
by transport. One thing is wrong with it, or nothing. Half of the trials have films of the nominal
gap, half of 0.1 mm. Seeds are of their own, and nothing was tuned on them; what a slip must do to
count is told in `tests.lab.mistakes`.

``real.mistakes_wrong_named``
    One step misweighed, read from another pot of its ladder or of the other paint, or one patch of
    it so: the step is named, and no other. ``..._at_all``: whatever else is named.
``real.mistakes_swapped_named``
    Of two steps read as each other both are named, and no other.
``real.mistakes_sound_told``
    Sound studios, of 100, with a step named. A third are nominal, a third thin, and a third look
    real: films underbound, pigments crowding, black acting by partner.
``real.mistakes_white_...``
    How often a white that is wrong is named, and how often one that isn't.
``real.mistakes_thin_...``
    A film that came out at 0.4 of its thickness: told as thin, and said to be mislabelled.
``real.mistakes_fluorescent_told``, ``..._metallic_told``
    Paints that no theory of films holds for: refused, or told as such.
``real.mistakes_masstones_dropped``
    Masstones that weigh nothing, in any of these trials.

Named is what a user is told: a patch set aside or flagged as odd, or a reason that gives its card
and step. ``real.unseen_mistakes_...`` are the same with other seeds and paints, run by that name
alone, for a final score: nobody tunes on them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.problem.settings import FitSettings

from tests.lab import mistakes, plan
from tests.lab.drawdown import LIKE_REAL, NOMINAL, Lab, Variant
from tests.lab.mistakes import SHOWS, SLIPS, Mistake, Painted
from tests.lab.paints import PAINTS, WHITE

from .harness import benchmark
from .real_lab import at_gap

SETTINGS = FitSettings(model="transport")
BLACK, WARM = "PITCH", "BUOY"
NOMINAL_UM, THIN_UM = plan.GAP_UM, 100.0
ODD = re.compile(r"swapped|look at|(doesn't|does not) fit|set aside|mislabel|thinner|thicker|label")
THIN = re.compile(r"\bthin|shows? (its|the|through)|ground", re.I)
MISLABELLED = re.compile(r"mislabel|swapped|check its label", re.I)
BEYOND = {
    "fluorescent": re.compile(r"fluoresc", re.I),
    "metallic": re.compile(r"metallic|flake|interference|pearl", re.I),
}


@dataclass(frozen=True)
class Plan:
    """How many trials, and from which seed on.

    Attributes
    ----------
    first : int
    each : int
        Trials of a kind and thickness; of the rarer kinds two in five of it.
    sound : int
        Sound studios.
    points : int
        Of the lab.
    """

    first: int
    each: int
    sound: int
    points: int = 16


SEEN, UNSEEN = Plan(31_000, 20, 60), Plan(872_000, 50, 100)


@dataclass(frozen=True)
class Outcome:
    """What was said of a studio.

    Attributes
    ----------
    kind : str
        "sound", or of the mistake.
    wrong, accused : frozenset of (card, step)
    words : str
        All that was said of its paints, or why it was refused.
    masstones : int
        That weigh nothing.
    """

    kind: str
    wrong: frozenset[tuple[str, str]]
    accused: frozenset[tuple[str, str]]
    words: str
    masstones: int

    @property
    def innocent(self) -> frozenset[tuple[str, str]]:
        """Sound steps that were named."""
        return self.accused - self.wrong


def accused(fit: JointFit) -> frozenset[tuple[str, str]]:
    """Card and step of all that a user is told to doubt."""
    found = set()
    for paint in fit.paints.values():
        for row in paint.patches.itertuples():
            if row.weight < 1 or ODD.search(row.flag):
                found.add((row.card, row.step))
        for row in paint.patches.drop_duplicates(["card", "step"]).itertuples():
            step = re.compile(rf"(?<![\w:.-]){re.escape(row.step)}(?![\w:-])")
            if any(f"card {row.card}" in r and step.search(r) for r in paint.reasons):
                found.add((row.card, row.step))
    return frozenset(found)


def painted(
    seed: int, gap_um: float, points: int, variant: Variant = NOMINAL, first: str | None = None
) -> Painted:
    """Paint and read a white and two ladders, drawn by the seed; `first` may be named."""
    lab = Lab(variant, points=points)
    rng = np.random.default_rng([seed, 0x57])
    colours = [str(p) for p in rng.choice([p for p in PAINTS if p != WHITE], 2, replace=False)]
    if first is not None and first not in colours:
        colours[0] = first
    if first is not None:
        colours.sort(key=lambda paint: paint != first)
    cards = {card.paints[0]: at_gap(card, gap_um) for card in plan.ladders()}
    if gap_um != NOMINAL_UM:
        # The white's own card has a thick and a thin film still.
        first, second = cards[WHITE].drawdowns
        thinner = replace(second, gap_um=gap_um / 2)
        cards[WHITE] = replace(cards[WHITE], drawdowns=(first, thinner))
    return Painted(lab, seed, lab.read([cards[p] for p in (WHITE, *colours)], seed))


def wrong(sound: Painted, rng: np.random.Generator) -> Mistake:
    """One step that is wrong, so that it shows; drawn anew until it does."""
    while True:
        number = int(rng.integers(1, 3))
        steps = [d.step for d in sound.cards[number].drawdowns]
        step = str(rng.choice(steps))
        kind = str(rng.choice(["misweighed", "mislabelled", "another paint", "one patch"]))
        if kind == "misweighed":
            if step == steps[0]:
                continue
            made = mistakes.misweighed(sound, number, step, float(rng.choice(SLIPS)))
        else:
            source = 3 - number if kind == "another paint" else number
            other = str(rng.choice([d.step for d in sound.cards[source].drawdowns]))
            over = (
                (str(rng.choice(["black", "white"])),)
                if kind == "one patch"
                else ("black", "white")
            )
            made = mistakes.read_from(sound, number, step, source, other, kind, over)
        if made.shows >= SHOWS:
            return made


def swapped(sound: Painted, rng: np.random.Generator) -> Mistake:
    """Two steps read as each other, half of them neighbours, so that it shows."""
    while True:
        number = int(rng.integers(1, 3))
        steps = [d.step for d in sound.cards[number].drawdowns]
        i = int(rng.integers(len(steps) - 1))
        j = i + 1 if rng.random() < 0.5 else int(rng.integers(len(steps)))
        if i == j:
            continue
        made = mistakes.swapped(sound, number, steps[i], steps[j])
        if made.shows >= SHOWS:
            return made


def white_wrong(sound: Painted, rng: np.random.Generator) -> Mistake:
    """The white's masstone read from a light tint of a colour, so that it shows."""
    while True:
        source = int(rng.integers(1, 3))
        step = str(rng.choice([d.step for d in sound.cards[source].drawdowns[2:]]))
        made = mistakes.read_from(sound, 0, "masstone", source, step, "white")
        if made.shows >= SHOWS:
            return made


def thin_film(sound: Painted, rng: np.random.Generator) -> Mistake:
    """A film that came out far too thin, so that it shows."""
    while True:
        number = int(rng.integers(1, 3))
        step = str(rng.choice([d.step for d in sound.cards[number].drawdowns]))
        made = mistakes.lifted(sound, number, step)
        if made.shows >= SHOWS:
            return made


def judged(kind: str, sound: Painted, made: Mistake) -> Outcome:
    """Fit it, and listen."""
    try:
        fit = fit_paints(made.readings, sound.lab.tubes, SETTINGS)
    except InputError as refused:
        return Outcome(kind, made.wrong, frozenset(), str(refused), 0)
    words = [w for p in fit.paints.values() for w in (p.verdict, *p.reasons, *p.patches["flag"])]
    dropped = [
        (row.card, row.step)
        for p in fit.paints.values()
        for row in p.patches.itertuples()
        if row.weight == 0 and row.step == "masstone"
    ]
    return Outcome(kind, made.wrong, accused(fit), "; ".join(words), len(set(dropped)))


MAKERS: dict[str, Callable[[Painted, np.random.Generator], Mistake]] = {
    "wrong": wrong, "swapped": swapped, "white": white_wrong, "thin film": thin_film,
}  # fmt: skip
BEYOND_FILMS = {"fluorescent": mistakes.glowing, "metallic": mistakes.flaked}
KINDS = (*MAKERS, *BEYOND_FILMS, "sound")
LOOKS_REAL = LIKE_REAL["all of these"]
SOUND = ((NOMINAL_UM, NOMINAL), (THIN_UM, NOMINAL), (NOMINAL_UM, LOOKS_REAL))


def trials(kind: str, how: Plan) -> Iterator[tuple[Painted, Mistake]]:
    """Studios with a mistake of a kind, or without."""
    often = {"wrong": 2 * how.each, "swapped": 2 * how.each, "sound": how.sound}
    for n in range(often.get(kind, max(2 * how.each // 5, 1))):
        seed = how.first + 1000 * KINDS.index(kind) + n
        if kind == "sound":
            gap, variant = SOUND[n % len(SOUND)]
            sound = painted(seed, gap, how.points, variant, BLACK if variant.partners else None)
            yield sound, Mistake(kind, sound.readings, frozenset(), 0.0)
        elif kind in BEYOND_FILMS:
            sound = painted(
                seed, NOMINAL_UM, how.points, first=WARM if kind == "fluorescent" else None
            )
            yield sound, Mistake(kind, BEYOND_FILMS[kind](sound, 1), frozenset(), 0.0)
        else:
            sound = painted(seed, THIN_UM if n % 2 else NOMINAL_UM, how.points)
            yield sound, MAKERS[kind](sound, np.random.default_rng([seed, 0x3E]))


@cache
def outcomes(kind: str, how: Plan) -> tuple[Outcome, ...]:
    """What was said of each of them."""
    with threadpool_limits(1, "blas"):
        return tuple(judged(made.kind, sound, made) for sound, made in trials(kind, how))


def share(found: Sequence[bool]) -> float:
    return float(np.mean(found))


def _all(how: Plan) -> list[Outcome]:
    return [o for kind in ("wrong", "swapped", "sound", "thin film") for o in outcomes(kind, how)]


_WHITE_CARD = {card.paints[0]: card.name for card in plan.ladders()}[WHITE]


def white_accused(outcome: Outcome) -> bool:
    """Whether a step of the white's own card was named."""
    return any(card == _WHITE_CARD for card, _ in outcome.accused)


def _named(kind: str, how: Plan, thin: slice) -> float:
    return share([o.accused == o.wrong for o in outcomes(kind, how)[thin]])


_EVERY, _NOMINAL, _THIN = slice(None), slice(0, None, 2), slice(1, None, 2)
FIGURES: dict[str, tuple[Callable[[Plan], float], dict[str, object]]] = {
    "wrong_named": (
        lambda how: _named("wrong", how, _EVERY), {"target": 0.95, "sense": "at least"}),
    "wrong_named_nominal": (lambda how: _named("wrong", how, _NOMINAL), {}),
    "wrong_named_thin": (lambda how: _named("wrong", how, _THIN), {}),
    "wrong_named_at_all": (
        lambda how: share([o.wrong <= o.accused for o in outcomes("wrong", how)]), {}),
    "swapped_named": (
        lambda how: _named("swapped", how, _NOMINAL), {"target": 0.90, "sense": "at least"}),
    "swapped_named_thin": (
        lambda how: _named("swapped", how, _THIN), {"target": 0.90, "sense": "at least"}),
    "swapped_named_at_all": (
        lambda how: share([o.wrong <= o.accused for o in outcomes("swapped", how)]), {}),
    "sound_told": (
        lambda how: 100 * share([bool(o.accused) for o in outcomes("sound", how)]), {"target": 2}),
    "white_named": (
        lambda how: share([white_accused(o) for o in outcomes("white", how)]),
        {"target": 0.90, "sense": "at least"}),
    "white_wronged": (
        lambda how: 100 * share([white_accused(o) for o in _all(how)]), {"target": 0}),
    "thin_told": (
        lambda how: share([bool(THIN.search(o.words)) for o in outcomes("thin film", how)]),
        {"target": 0.95, "sense": "at least"}),
    "thin_mislabelled": (
        lambda how: share([bool(MISLABELLED.search(o.words)) for o in outcomes("thin film", how)]),
        {"target": 0}),
    "masstones_dropped": (
        lambda how: sum(o.masstones for o in (*_all(how), *outcomes("white", how))),
        {"target": 0}),
    **{
        f"{kind}_told": (
            lambda how, kind=kind: share(
                [bool(BEYOND[kind].search(o.words)) for o in outcomes(kind, how)]
            ),
            {"target": 0.90, "sense": "at least"},
        )
        for kind in BEYOND
    },
}  # fmt: skip
UNITS = {"sound_told": "of 100 sound studios", "white_wronged": "of 100 studios",
         "masstones_dropped": "masstones"}  # fmt: skip

for _unseen, _how in ((False, SEEN), (True, UNSEEN)):
    for _name, (_run, _judged) in FIGURES.items():
        benchmark(
            f"real.{'unseen_' if _unseen else ''}mistakes_{_name}",
            UNITS.get(_name, "share of trials"),
            only="real.unseen_" if _unseen else None,
            **_judged,
        )(lambda run=_run, how=_how: run(how))
