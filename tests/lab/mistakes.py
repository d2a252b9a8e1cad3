"""What goes wrong on a card: slips of a hand, made to sound readings of the lab's.

A slip counts as a mistake where it shows: the film that was read must differ by at least `SHOWS`
from the one that was meant, over black or over white, however thick within `DRAWN` that had come
out. Nothing of a fit is in this; it is the lab's own truth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import GRID, Array

from .drawdown import Lab

SHOWS = 3.0
"""CIEDE2000."""
DRAWN = (0.85, 0.93, 1.0, 1.08, 1.18)
"""Thickness over nominal, as a hand has it."""
SLIPS = (0.5, 0.67, 1.5, 2.0, 3.0)
"""Colour in the pot over colour written down: a step confused, a second dab, a scale read wrong."""
LIFTED = 0.4
"""Thickness of a film over its nominal where the applicator ran short of paint."""


@dataclass(frozen=True)
class Painted:
    """A white and some ladders, and what was read of them.

    Attributes
    ----------
    lab : Lab
    seed : int
    readings : list of CardReadings
        The white's first.
    """

    lab: Lab
    seed: int
    readings: list[CardReadings]

    @property
    def cards(self) -> list[Card]:
        """Cards as written."""
        return [r.card for r in self.readings]


@dataclass(frozen=True)
class Mistake:
    """Readings with something wrong, and where.

    Attributes
    ----------
    kind : str
    readings : list of CardReadings
    wrong : frozenset of (card, step)
    shows : float
        CIEDE2000 by which the least of the wrong steps differs from what it should be.
    """

    kind: str
    readings: list[CardReadings]
    wrong: frozenset[tuple[str, str]]
    shows: float


def with_patches(painted: Painted, number: int, values: dict[str, Array]) -> list[CardReadings]:
    """The same readings, but of some patches of one card, (W,) or (repeats, W) each."""
    readings = list(painted.readings)
    spectra = readings[number].spectra
    changed = spectra.values.copy()
    for patch, value in values.items():
        changed[readings[number].rows(patch)] = value
    readings[number] = replace(readings[number], spectra=replace(spectra, values=changed))
    return readings


def misweighed(painted: Painted, number: int, step: str, factor: float) -> Mistake:
    """A step with other than the written amount of its colour, by so many times."""
    card = painted.cards[number]

    def off(d: Drawdown) -> Drawdown:
        if d.step != step:
            return d
        if d.taken_g is not None:
            return replace(d, taken_g=d.taken_g * factor)
        return replace(
            d, masses={p: g * (factor if p == d.paint else 1) for p, g in d.masses.items()}
        )

    return _painted_so(painted, number, step, "misweighed", replace(
        card, drawdowns=tuple(off(d) for d in card.drawdowns)))  # fmt: skip


def lifted(painted: Painted, number: int, step: str) -> Mistake:
    """A step that came out far thinner than its gap has it."""
    card = painted.cards[number]
    thin = tuple(
        replace(d, gap_um=(d.gap_um or 0) * (LIFTED if d.step == step else 1))
        for d in card.drawdowns
    )
    return _painted_so(painted, number, step, "lifted", replace(card, drawdowns=thin))


def _painted_so(painted: Painted, number: int, step: str, kind: str, truly: Card) -> Mistake:
    """The same hand, balance and applicator, but for one step."""
    (other,) = painted.lab.read([truly], painted.seed)
    values = {f"{step}/{over}": other.read(f"{step}/{over}") for over in SUBSTRATES}
    found = with_patches(painted, number, values)
    card = painted.cards[number].name
    return Mistake(kind, found, frozenset({(card, step)}), shows(painted, number, step, found))


def swapped(painted: Painted, number: int, one: str, other: str) -> Mistake:
    """Two steps of a ladder, each read as the other."""
    sound = painted.readings[number]
    values = {}
    for step, read in ((one, other), (other, one)):
        values |= {f"{step}/{over}": sound.read(f"{read}/{over}") for over in SUBSTRATES}
    found = with_patches(painted, number, values)
    card = sound.card.name
    least = min(shows(painted, number, step, found) for step in (one, other))
    return Mistake("swapped", found, frozenset({(card, one), (card, other)}), least)


def read_from(
    painted: Painted, number: int, step: str, source: int, other: str, kind: str,
    over: tuple[str, ...] = SUBSTRATES,
) -> Mistake:  # fmt: skip
    """A step whose patches are those of another step, of its own card or of another's.

    They are read anew, from a card that was painted a second time.
    """
    (again,) = painted.lab.read([painted.cards[source]], painted.seed + 500_000)
    values = {f"{step}/{ground}": again.read(f"{other}/{ground}") for ground in over}
    found = with_patches(painted, number, values)
    card = painted.cards[number].name
    return Mistake(kind, found, frozenset({(card, step)}), shows(painted, number, step, found))


def shows(painted: Painted, number: int, step: str, found: list[CardReadings]) -> float:
    """How far what was read of a step lies from any film of what was meant; CIEDE2000."""
    card = painted.cards[number]
    made = composition(card)
    at = [d.step for d in card.drawdowns].index(step)
    masses = {p: 10 * float(f) for p, f in zip(made.paints, made.fractions[at], strict=True) if f}
    gap = card.drawdowns[at].gap_um or 0.0
    films = tuple(
        Drawdown(f"{i}", None, masses, gap_um=gap * thick) for i, thick in enumerate(DRAWN)
    )
    (meant,) = painted.lab.read([Card("meant", "meant.toml", films)])
    off = [
        ciede2000(
            lab(np.array([meant.read(f"{d.step}/{over}")[0] for d in films])),
            lab(found[number].read(f"{step}/{over}").mean(axis=0)[None]),
        )
        for over in SUBSTRATES
    ]
    return float(np.max(off, axis=0).min())


def glowing(painted: Painted, number: int) -> list[CardReadings]:
    """A ladder whose colour glows near 615 nm with light that it takes in below 560."""
    values = {}
    for patch, share, read in _coloured(painted, number):
        taken_in = 1 - read[:, (GRID > 430) & (GRID < 560)].mean()
        band = np.exp(-0.5 * ((GRID - 615) / 18) ** 2)
        values[patch] = read + 0.8 * taken_in * share**0.3 * band
    return with_patches(painted, number, values)


def flaked(painted: Painted, number: int) -> list[CardReadings]:
    """A ladder whose colour is metal flakes: it hides at once, and no two readings agree."""
    rng = np.random.default_rng(painted.seed)
    values = {}
    for patch, share, read in _coloured(painted, number):
        metal = 0.55 + 0.1 * (GRID - 550) / 350
        covers = share**0.3
        glints = 1 + 0.12 * covers * rng.standard_normal((len(read), 1))
        values[patch] = (covers * metal + (1 - covers) * read) * glints
    return with_patches(painted, number, values)


def _coloured(painted: Painted, number: int) -> list[tuple[str, float, Array]]:
    """Patch, mass share of the ladder's paint, and readings of every patch of it."""
    card, sound = painted.cards[number], painted.readings[number]
    made = composition(card)
    own = made.paints.index(card.drawdowns[0].paint or "")
    return [
        (f"{d.step}/{over}", float(made.fractions[i][own]), sound.read(f"{d.step}/{over}"))
        for i, d in enumerate(card.drawdowns)
        for over in d.over
    ]
