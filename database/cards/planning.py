"""Which drawdowns of a tube tell most: a ladder before painting, or one more after a fit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ...calibrate.cards.card import Card
from ...calibrate.cards.label_strength import Strength, is_white, strength_of
from ...calibrate.cards.measure import Measure
from ...calibrate.errors import Field, InputError
from ...calibrate.fit.planning.guess import Guess
from ...calibrate.fit.planning.next_step import Ladder, OneMore, next_drawdown, plan_ladder
from ...calibrate.optics.coefficients import ABSOLUTE, TWO_FLUX
from ..common.remedies import StudioDo
from ..mixing.ladder import white_of
from ..store.schema import Paint
from ..store.store import Store
from .printing import white_for


def planned(
    store: Store,
    paint: str,
    *,
    white: str | None = None,
    strength: Strength | None = None,
    measure: Measure,
    gap_um: float | None = 300.0,
    steps: int | None = None,
    wanted_de00: float | None = None,
) -> tuple[Ladder, str]:
    """Plan a ladder of a tube that isn't painted yet.

    Parameters
    ----------
    store : Store
    paint, white : str
        Nickname or part of a name; the white may be left to be found.
    strength : {"weak", "ordinary", "strong"}, optional
        Of a tube that isn't fitted; None: as its label suggests.
    measure : Measure
        In grams.
    gap_um : float or None
        Of the applicator; None: each step is painted until the black no longer shows.
    steps, wanted_de00
        See `tintladder.calibrate.fit.planning.next_step.plan_ladder`.

    Returns
    -------
    Ladder
    str
        What it was planned by, in words.

    Raises
    ------
    InputError
        For a paint or white that can't be had, a measure by volume, or a plan that can't be.
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
    alone = [r for r in store.readings.all("fit") if set(r.card.paints) == {other.nickname}]
    ladder = plan_ladder(
        guess,
        white_guess,
        steps=steps,
        wanted_de00=wanted_de00,
        known=alone,
        gap_um=gap_um,
        balance_g=measure.resolution_g,
    )
    return ladder, said


def one_more(store: Store, paint: str) -> OneMore:
    """Propose the one more drawdown that would help a fitted paint most.

    It is drawn down with the applicator, and weighed on the balance, of the paint's own card.

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
    return next_drawdown(
        found,
        white,
        readings,
        store.paints.tubes(),
        store.fits.joint(store.fits.current()[found]),
        gap_um=_gap(own),
        balance_g=min(card.balance_g for card in own),
    )


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
