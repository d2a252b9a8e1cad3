"""Practice with what a studio holds: the next exercise, what a hand made of it, how it errs."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from ..mixing.order import lab_of
from ..mixing.practice import Exercise, Hand, Round, exercise, hand_of
from .asked_colour import parse_target
from .basis import Basis, Manner, on_hand
from .habits import habits

if TYPE_CHECKING:
    from ..store.store import Store

_KEPT = "practice"
"""What rounds are remembered as, among the painter's habits."""
_FEW = 5
"""Rounds from which on it is said how far chance goes."""
_MOST = 100
"""Rounds that are kept: a hand learns, and old errors tell little."""


@dataclass(frozen=True)
class Practised:
    """One round, and what it came to.

    Attributes
    ----------
    lab : (3,) array
        What the mix came to: as it dried, or as its parts are predicted.
    off : float
        CIEDE2000 from what was wanted.
    """

    done: Round
    lab: Array
    off: float


@dataclass(frozen=True)
class Practice:
    """Where practice stands.

    Attributes
    ----------
    rounds : tuple of Practised
        The oldest first; those whose tubes are all still on hand.
    next : Exercise
        The one that tells most.
    """

    basis: Basis
    rounds: tuple[Practised, ...]
    hand: Hand
    next: Exercise

    @property
    def words(self) -> list[str]:
        """Say how the hand errs, a sentence each."""
        names, hand = self.basis.names, self.hand
        if not hand.rounds:
            return []
        said = [f"Of {names[b.paint]} it always takes {b.words}." for b in hand.biases]
        if not said:
            said = [f"Nothing that it always does wrong is sure yet, after {_times(hand.rounds)}."]
        if hand.rounds >= _FEW:
            said.append(f"By chance a part is off by some {100 * hand.spread:.0f} %.")
        return said


def _times(count: int) -> str:
    return "one mix" if count == 1 else f"{count} mixes"


def practice(store: Store, seed: int = 0) -> Practice:
    """Say where practice stands, and what to mix next.

    Parameters
    ----------
    seed : int
        Another one proposes another exercise of the same use.

    Raises
    ------
    InputError
        As `on_hand`; and where fewer than two tubes are on hand.
    """
    basis = on_hand(store, Manner(habits(store).seen))
    palette = basis.palette
    if len(palette.paints) < 2:
        raise InputError(None, None, "one tube alone makes one colour", "put more on hand")
    rounds = [each for each in _kept(store) if set(each.asked) <= set(palette.paints)]
    return Practice(
        basis, tuple(_practised(basis, each) for each in rounds), hand_of(palette, rounds),
        exercise(palette, rounds, seed),
    )  # fmt: skip


def _practised(basis: Basis, done: Round) -> Practised:
    lab = done.dried
    if lab is None:
        lab = lab_of(basis.palette, [done.given or {}])[0]
    return Practised(done, lab, float(ciede2000(lab, done.wanted)))


def keep_round(store: Store, asked: Exercise, given: Mapping[str, float], dried: str = "") -> Round:
    """Keep what a hand made of an exercise.

    Parameters
    ----------
    given : mapping of nickname to parts by weight
        That were taken; may be empty where the dried colour is told.
    dried : str
        What it dried to, written as a colour to match; empty: not known.

    Raises
    ------
    InputError
        Where neither is told, or a part is none; and as `parse_target`.
    """
    colour = parse_target(dried, store).lab if dried.strip() else None
    taken = {p: float(g) for p, g in given.items() if g > 0}
    strange = sorted(set(taken) - set(asked.parts))
    if strange:
        raise InputError(Field("mix"), ", ".join(strange), "is no tube of this exercise",
                         "leave it out")  # fmt: skip
    if colour is None and len(taken) < 2:
        raise InputError(
            Field("mix"), None, "expected the parts of two tubes at least, or the dried colour",
            "say what you took",
        )  # fmt: skip
    done = Round(np.array(asked.lab), dict(asked.parts), taken or None, colour)
    rows = [_plain(each) for each in (*_kept(store), done)][-_MOST:]
    store.habits.keep({_KEPT: json.dumps(rows)})
    return done


def forget(store: Store) -> None:
    """Forget all rounds."""
    store.habits.keep({_KEPT: "[]"})


def _kept(store: Store) -> list[Round]:
    rows = json.loads(store.habits.all().get(_KEPT, "[]"))
    return [
        Round(
            np.array(row["wanted"], dtype=float), row["asked"], row["given"],
            None if row["dried"] is None else np.array(row["dried"], dtype=float),
        )
        for row in rows
    ]  # fmt: skip


def _plain(done: Round) -> dict[str, object]:
    """A round as plain values."""
    return {
        "wanted": [round(float(x), 4) for x in done.wanted],
        "asked": {p: round(float(g), 6) for p, g in done.asked.items()},
        "given": None if done.given is None else dict(done.given),
        "dried": None if done.dried is None else [round(float(x), 4) for x in done.dried],
    }
