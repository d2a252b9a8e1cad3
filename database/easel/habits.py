"""How a painter works, as the studio remembers it: measure, scale and finish."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.surface import GLOSSES, Gloss
from ..mixing.target import Target
from ..mixing.viewing import AS_SEEN, Viewing
from .measuring import GRAMS, KINDS, Measuring

if TYPE_CHECKING:
    from ...calibrate.cards.measure import Measure as CardMeasure
    from ..store.store import Store

_FINEST, _COARSEST = 0.001, 1.0


@dataclass(frozen=True)
class Habits:
    """How a painter works.

    Attributes
    ----------
    scale : float or None
        Smallest step of the kitchen scale, g.
    measure : str
        What amounts are measured with, one of `KINDS`.
    finish : {"gloss", "satin", "matt"} or None
        That paintings have: a colour said, shown or photographed is meant under it. None: nobody
        said so, and it is gloss for such a colour.
    """

    scale: float | None = None
    measure: str = GRAMS
    finish: Gloss | None = None

    @property
    def measuring(self) -> Measuring:
        """What amounts are measured with."""
        return Measuring(self.measure, self.scale or Measuring.step)

    def meant(self, target: Target) -> Target:
        """Return a colour that was said, shown or photographed as it is meant here."""
        if target.viewing != AS_SEEN or self.finish is None:
            return target
        return replace(target, viewing=Viewing(self.finish))


def habits(store: Store) -> Habits:
    """Return what the studio remembers."""
    kept = store.habits.all()
    finish = next((each for each in GLOSSES if each == kept.get("finish")), None)
    scale = float(kept["scale"]) if "scale" in kept else None
    return Habits(scale, kept.get("measure", GRAMS), finish)


def weighing(store: Store) -> Habits:
    """Return the same; where no scale was named yet, with the one that cards were weighed with."""
    found = habits(store)
    if found.scale is None:
        from ..cards.printing import measure_before

        before = measure_before(store)
        if before is not None and before.resolution_g is not None:
            return replace(found, scale=before.resolution_g)
    return found


def remember(
    store: Store,
    scale: float | None = None,
    measure: str | None = None,
    finish: str | None = None,
) -> Habits:
    """Remember what is said, and return all of it; what isn't said stays as it was.

    Raises
    ------
    InputError
        For a value that can't be.
    """
    if scale is not None and not _FINEST <= scale <= _COARSEST:
        raise InputError(
            Field("scale"), f"{scale:g}",
            f"expected the smallest step of a scale, {_FINEST:g} to {_COARSEST:g} g", "give 0.1",
        )  # fmt: skip
    for name, value, known in (("measure", measure, KINDS), ("finish", finish, GLOSSES)):
        if value is not None and value not in known:
            raise InputError(
                Field(name), value, f"expected {', '.join(known)}", "choose one of these"
            )
    said = {
        "scale": f"{scale:g}" if scale else None,
        "measure": measure,
        "finish": finish,
    }
    given = {name: value for name, value in said.items() if value is not None}
    kept = store.habits.all()
    if any(kept.get(name) != value for name, value in given.items()):
        store.habits.keep(given)
    return weighing(store)


def weighed_with(store: Store, measure: CardMeasure) -> None:
    """Remember what a card was planned for: a scale by its last digit, else syringe or spoons."""
    if measure.resolution_g is not None:
        remember(store, scale=measure.resolution_g)
    else:
        remember(store, measure="syringe" if measure.unit == "ml" else "spoons")
