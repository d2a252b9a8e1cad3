"""Which drawdowns of a tube tell most: a ladder before painting, or one more after a fit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...calibrate.cards.card import Card
from ...calibrate.cards.label_strength import Strength, is_black, is_white, strength_of
from ...calibrate.cards.measure import CardMeasure
from ...calibrate.errors import Field, InputError, Sentence
from ...calibrate.fit.planning.guess import Guess
from ...calibrate.fit.planning.next_step import OneMore, ProposedLadder, next_drawdown, plan_ladder
from ...calibrate.optics.coefficients import ABSOLUTE, TWO_FLUX
from ..common.remedies import StudioDo
from ..common.words import either
from ..mixing.ladder import white_of
from ..store.schema import Paint
from ..store.store import Store
from .printing import black_named, blacks_on_hand, white_for


@dataclass(frozen=True)
class Planned:
    """A ladder as planned.

    Attributes
    ----------
    said : str
        What it was planned by, in words.
    no_shade : Sentence or None
        Why no shade step can be offered, and what to do; None where one is, or makes no sense.
    """

    ladder: ProposedLadder
    said: str
    no_shade: Sentence | None


def planned(
    store: Store,
    paint: str,
    *,
    white: str | None = None,
    black: str | None = None,
    strength: Strength | None = None,
    measure: CardMeasure,
    gap_um: float | None = 300.0,
    steps: int | None = None,
    wanted_de00: float | None = None,
) -> Planned:
    """Plan a ladder of a tube that isn't painted yet.

    Parameters
    ----------
    paint, white : str
        Nickname or part of a name; the white may be left to be found.
    black : str, optional
        The same of the black of a shade step; None: the one on hand that was fitted.
    strength : {"weak", "ordinary", "strong"}, optional
        Of a tube that isn't fitted; None: as its label suggests.
    measure : CardMeasure
        In grams.
    gap_um : float or None
        Of the applicator; None: each step is painted until the black no longer shows.
    steps, wanted_de00
        See `tintladder.calibrate.fit.planning.next_step.plan_ladder`.

    Returns
    -------
    Planned

    Raises
    ------
    InputError
        For a paint, white or black that can't be had, a measure by volume, or a plan that can't be.
    """
    if measure.resolution_g is None:
        raise InputError(
            Field("scale"), None, f"a plan is weighed, not by {measure.name}", "say 0.1"
        )
    found = store.paints.find(paint)
    other = white_for(store, white, [found])
    if found.nickname == other.nickname:
        raise _white(found.nickname)
    guess, said = _guess(store, found, strength)
    white_guess = _fitted(store, other) or Guess.typical_white(store.paints.tubes()[other.nickname])
    beside, why = _black(store, found, black, gap_um is None, white_guess)
    alone = [r for r in store.readings.all("fit") if set(r.card.paints) == {other.nickname}]
    ladder = plan_ladder(
        guess,
        white_guess,
        steps=steps,
        wanted_de00=wanted_de00,
        known=alone,
        gap_um=gap_um,
        balance_g=measure.resolution_g,
        black=beside,
    )
    if beside is not None and ladder.shade is None:
        finer = f"{measure.name} can't weigh so little {beside.tube.paint}; take a finer one"
        why = Sentence(finer)
    return Planned(ladder, said, why)


def one_more(store: Store, paint: str, black: str | None = None) -> tuple[OneMore, Sentence | None]:
    """Propose the one more drawdown that would help a fitted paint most.

    It is drawn down with the applicator, and weighed on the balance, of the paint's own card.

    Parameters
    ----------
    black : str, optional
        As for `planned`.

    Returns
    -------
    OneMore
    Sentence or None
        Why no shade step was considered; None where one was, or makes no sense.

    Raises
    ------
    InputError
        For a paint that isn't fitted to an instrument's readings, or has no ladder in white.
    """
    tube = store.paints.find(paint)
    if is_white(tube.pigments):
        raise _white(tube.nickname)
    found = tube.nickname
    white = white_of(store.fits.of(found))
    readings = store.readings.all("fit")
    own = [r.card for r in readings if found in r.card.paints]
    if white is None or not own:
        raise InputError(
            None,
            found,
            "expected a ladder in white that an instrument read",
            StudioDo.PLAN(paint=found),
        )
    fit = store.fits.joint(store.fits.current()[found])
    beside, why = _black(store, tube, black, fit.coefficients.scale != ABSOLUTE)
    more = next_drawdown(
        found,
        white,
        readings,
        store.paints.tubes(),
        fit,
        gap_um=_gap(own),
        balance_g=min(card.balance_g for card in own),
        black=beside,
    )
    return more, why


def _black(
    store: Store, paint: Paint, named: str | None, relative: bool, white: Guess | None = None
) -> tuple[Guess | None, Sentence | None]:
    """The black of a paint's shades as it was fitted; or none, and why.

    Parameters
    ----------
    named : str or None
        The black that the user named.
    relative : bool
        Whether K and S relative to a white will do.
    white : Guess, optional
        That white, where such K and S are to be stated in 1/mm.
    """
    if named is None and is_black(paint.pigments):
        return None, None
    if named is not None:
        black = black_named(store, named, [paint.nickname])
    else:
        blacks = blacks_on_hand(store)
        if not blacks:
            return None, Sentence("there is no black on hand; ", StudioDo.ADD_TUBE())
        fitted = store.fits.current()
        blacks = [each for each in blacks if each.nickname in fitted] or blacks
        if len(blacks) > 1:
            names = either([each.nickname for each in blacks])
            return None, Sentence(f"there are {names}; ", StudioDo.SAY_BLACK())
        black = blacks[0]
    nickname = black.nickname
    do = StudioDo.PAINT_LADDER_OF(paint=nickname)
    if nickname not in store.fits.current():
        return None, Sentence(f"{nickname} has no fit yet; ", do)
    found = store.fits.coefficients([nickname], TWO_FLUX)
    if found.scale != ABSOLUTE and not relative:
        why = f"K and S of {nickname} are {found.scale}: it was never drawn down thin; "
        return None, Sentence(why, do)
    guess = Guess.of_fit(store.paints.tubes()[nickname], found, nickname)
    if found.scale != ABSOLUTE and white is not None:
        # Films that hide show ratios alone, so that any white serves to scale them by.
        guess = replace(guess, k=guess.k * white.s[:1], s=guess.s * white.s[:1])
    return guess, None


def _white(paint: str) -> InputError:
    return InputError(None, paint, "a white has no tints", StudioDo.DRAW_ALONE(paint=paint))


def _gap(cards: Sequence[Card]) -> float | None:
    """The gap that most drawdowns had; None where most were opaque."""
    gaps = Counter(None if d.opaque else d.gap_um for card in cards for d in card.drawdowns)
    return gaps.most_common(1)[0][0]


def _guess(store: Store, paint: Paint, strength: Strength | None) -> tuple[Guess, str]:
    """What the paint may be like, and whence that is known."""
    fitted = _fitted(store, paint) if strength is None else None
    if fitted is not None:
        return fitted, f"{paint.nickname} as it was fitted"
    whence = "as you said"
    if strength is None:
        strength = strength_of(paint.pigments)
        label = ", ".join(paint.pigments)
        whence = f"as its label ({label}) suggests" if label else "for want of its pigments"
    tube = store.paints.tubes()[paint.nickname]
    return Guess.typical(tube, strength), f"a paint of {strength} tinting, {whence}"


def _fitted(store: Store, paint: Paint) -> Guess | None:
    """The paint as it was fitted, where that is in 1/mm."""
    if paint.nickname not in store.fits.current():
        return None
    found = store.fits.coefficients([paint.nickname], TWO_FLUX)
    if found.scale != ABSOLUTE:
        return None
    return Guess.like(store.paints.tubes()[paint.nickname], found, paint.nickname)
