"""Paints that can't be fitted: each is set aside with its reason, and the others are fitted."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from ...cards.card import Card
from ...cards.channels import CardChannels
from ...cards.readings import CardReadings
from ...errors import InputError
from ...optics.coefficients import Coefficients
from .arrays import Problem, build
from .seen import in_mixture, sees_substrate, unread
from .settings import FitSettings
from .tube import Tube

Reasons = Mapping[str, InputError]
"""Why paints can't be fitted, by nickname."""
_Read = TypeVar("_Read", CardReadings, CardChannels)


def fittable(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    known: Coefficients | None = None,
) -> tuple[list[CardReadings], Reasons]:
    """Keep the drawdowns of paints that can be fitted.

    Parameters
    ----------
    readings : sequence of CardReadings
    tubes : mapping of nickname to Tube
    settings : FitSettings
    known : Coefficients, optional
        Paints whose K and S are given.

    Returns
    -------
    kept : list of CardReadings
    reasons : mapping of nickname to InputError

    Raises
    ------
    InputError
        Where no paint can be fitted, or whites alone; and for what `build` refuses.
    """

    def unfit(some: Sequence[CardReadings]) -> Reasons:
        ladders = [r for r in some if r.card.purpose == "fit"]
        cards = [r.card for r in ladders]
        on = {p for card in cards for p in card.paints}
        held = None if known is None else known.select([p for p in known.paints if p in on])
        return unfittable(build(ladders, tubes, settings, held), cards, held)

    return kept_of(readings, unfit, () if known is None else known.paints)


def kept_of(
    readings: Sequence[_Read], unfit: Callable[[Sequence[_Read]], Reasons], known: Collection[str]
) -> tuple[list[_Read], Reasons]:
    """Leave paints out until the rest can be fitted; `unfit` says which can't.

    Parameters
    ----------
    readings : sequence of _Read
    unfit : callable
        From readings to the paints that can't be fitted, and why.
    known : collection of str
        Nicknames of paints that are given.

    Returns
    -------
    kept : list
    reasons : mapping of nickname to InputError

    Raises
    ------
    InputError
        The first reason, where no paint is left but whites and known ones.
    """
    aside: dict[str, InputError] = {}
    kept = list(readings)
    while found := unfit(kept):
        aside |= found
        kept = [less for r in kept if (less := _without(r, found)) is not None]
        steps = [d for r in kept if r.card.purpose == "fit" for d in r.card.drawdowns]
        whites = {d.white for d in steps}
        if not {p for d in steps for p in d.masses} - whites - set(known):
            raise next(iter(aside.values()))
    return kept, aside


def _without(readings: _Read, paints: Collection[str]) -> _Read | None:
    """Readings of a card's drawdowns that hold none of some paints; None where there is none."""
    card = readings.card
    steps = tuple(d for d in card.drawdowns if not card.held(d.step) & set(paints))
    if len(steps) == len(card.drawdowns):
        return readings
    less = replace(card, drawdowns=steps)
    if not steps:
        return None
    if isinstance(readings, CardReadings):
        return replace(readings, card=less)
    rows = [i for i, label in enumerate(readings.labels) if label in less.patches]
    return replace(
        readings,
        card=less,
        channels=readings.channels[rows],
        variance=readings.variance[rows],
        labels=tuple(readings.labels[i] for i in rows),
    )


def unfittable(
    problem: Problem, cards: Sequence[Card], known: Coefficients | None = None
) -> dict[str, InputError]:
    """Find paints that no reading, or none that tells K from S, speaks for, and why not.

    Parameters
    ----------
    problem : Problem
    cards : sequence of Card
    known : Coefficients, optional

    Returns
    -------
    mapping of nickname to InputError
    """
    seen = np.asarray(sees_substrate(problem).any(axis=1))
    mixed = in_mixture(problem)
    read = np.asarray(~unread(problem).all(axis=1))
    found = {}
    for i, paint in enumerate(problem.paints):
        card = next(c for c in cards if paint in c.paints)
        if known is not None and paint in known.paints:
            continue
        if not read[i]:
            found[paint] = InputError(
                card.file,
                f"paint {paint}",
                "no patch with this paint was read",
                "read its patches, or take it off the card",
            )
        elif not seen[i] and not mixed[i]:
            found[paint] = InputError(
                card.file,
                f"paint {paint}",
                "its masstone hides black and white at every wavelength and it has no ladder, so "
                "only K/S can be known",
                "add tints in white, or draw it down thinner",
            )
    return found
