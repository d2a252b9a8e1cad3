"""Paints that can't be fitted: each is set aside with its reason, and the others are fitted."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple, TypeVar

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
_Problem = TypeVar("_Problem")


class Fittable(NamedTuple):
    """What can be fitted, laid out.

    Attributes
    ----------
    ladders, whole : Problem
        Of the ladders alone, and with the mixtures that there are to learn from.
    taught : list of CardReadings
        Those mixtures.
    aside : mapping of nickname to InputError
        Paints that can't be fitted, and why.
    """

    ladders: Problem
    whole: Problem
    taught: list[CardReadings]
    aside: Reasons


def fittable(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    known: Coefficients | None = None,
) -> Fittable:
    """Lay out the drawdowns of paints that can be fitted.

    Parameters
    ----------
    readings : sequence of CardReadings
    tubes : mapping of nickname to Tube
    settings : FitSettings
    known : Coefficients, optional
        Paints whose K and S are given.

    Returns
    -------
    Fittable

    Raises
    ------
    InputError
        Where no paint can be fitted, or whites alone; and for what `build` refuses.
    """

    def laid_out(some: Sequence[CardReadings]) -> tuple[Problem, Reasons]:
        problem = build(some, tubes, settings, known)
        return problem, unfittable(problem, [r.card for r in some], known)

    fit, learn = ([r for r in readings if r.card.purpose == each] for each in ("fit", "learn"))
    given = () if known is None else known.paints
    kept, ladders, aside = kept_of(fit, laid_out, given)
    taught = [less for r in learn if (less := _without(r, aside)) is not None]
    # Patches of ladders come first, so that what is found of them is in the same rows of both.
    whole = build([*kept, *taught], tubes, settings, known) if taught else ladders
    return Fittable(ladders, whole, taught, aside)


def kept_of(
    readings: Sequence[_Read],
    laid_out: Callable[[Sequence[_Read]], tuple[_Problem, Reasons]],
    known: Collection[str],
) -> tuple[list[_Read], _Problem, Reasons]:
    """Leave paints out until the rest can be fitted.

    Parameters
    ----------
    readings : sequence of _Read
    laid_out : callable
        From readings to their problem, the paints of it that can't be fitted, and why.
    known : collection of str
        Nicknames of paints that are given.

    Returns
    -------
    kept : list
    problem
        Of what is kept.
    reasons : mapping of nickname to InputError

    Raises
    ------
    InputError
        The first reason, where no paint is left but whites and known ones.
    """
    aside: dict[str, InputError] = {}
    kept = list(readings)
    while True:
        problem, found = laid_out(kept)
        if not found:
            return kept, problem, aside
        aside |= found
        kept = [less for r in kept if (less := _without(r, found)) is not None]
        steps = [d for r in kept if r.card.purpose == "fit" for d in r.card.drawdowns]
        whites = {d.white for d in steps}
        if not {p for d in steps for p in d.masses} - whites - set(known):
            raise next(iter(aside.values()))


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
    found, first = {}, dict[str, Card]()
    for card in cards:
        for paint in card.paints:
            first.setdefault(paint, card)
    for i, paint in enumerate(problem.paints):
        card = first[paint]
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
