"""How a painter works, as the studio remembers it: measure, scale, finish and light."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.surface import GLOSSES, Gloss
from ..mixing.measures import SPOONS, SQUEEZED, SYRINGE, WEIGHED_PARTS, Measure, scale
from ..mixing.target import Target
from ..mixing.viewing import AS_SEEN, LIGHTS, Viewing

if TYPE_CHECKING:
    from ...calibrate.cards.measure import CardMeasure
    from ..store.store import Store

_FINEST, _COARSEST = 0.001, 1.0
GRAMS = "grams"
_OTHERS = {
    "syringe": SYRINGE, "spoons": SPOONS, "lengths": SQUEEZED, "parts": WEIGHED_PARTS,
}  # fmt: skip
KINDS = (GRAMS, *_OTHERS)
"""What amounts may be measured with."""


@dataclass(frozen=True)
class Measuring:
    """What amounts are measured with.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    step : float
        Smallest step of the kitchen scale, g.
    """

    kind: str = GRAMS
    step: float = 0.01

    @property
    def measure(self) -> Measure:
        """Return the measure itself."""
        return _OTHERS.get(self.kind) or self.scale

    @property
    def scale(self) -> Measure:
        """Return the kitchen scale."""
        return scale(self.step)

    @property
    def every(self) -> tuple[Measure, ...]:
        """Return all measures, this one first."""
        others = (m for m in (self.scale, *_OTHERS.values()) if m != self.measure)
        return self.measure, *others


BY_SCALE = Measuring()
"""Where nothing else is known."""


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
        That paintings have, varnished or not; None: nobody said so.
    dries : {"gloss", "satin", "matt"}
        How the films of the studio's cards dried: what isn't varnished keeps its haze.
    light : str
        Under which colours are matched and shown, one of `LIGHTS`.
    """

    scale: float | None = None
    measure: str = GRAMS
    finish: Gloss | None = None
    dries: Gloss = "gloss"
    light: str = "D50"

    @property
    def measuring(self) -> Measuring:
        """What amounts are measured with."""
        return Measuring(self.measure, self.scale or Measuring.step)

    @property
    def seen(self) -> Viewing:
        """How the eye sees paint here, where no finish is named: every face assumes this one."""
        return Viewing(self.finish or self.dries, light=self.light)

    def meant(self, target: Target) -> Target:
        """Return a colour that was said, shown or photographed as it is meant here.

        Its figures stay: an eye that is used to a light sees a colour of these figures under it.
        """
        return replace(target, viewing=self.seen) if target.viewing == AS_SEEN else target


def habits(store: Store) -> Habits:
    """Return what the studio remembers."""
    kept = store.habits.all()
    scale = float(kept["scale"]) if "scale" in kept else None
    return Habits(
        scale, kept.get("measure", GRAMS), gloss_of(kept.get("finish")),
        gloss_of(store.cards.surface()) or "gloss", kept.get("light", "D50"),
    )  # fmt: skip


def gloss_of(said: str | None) -> Gloss | None:
    """Return the finish that a text names; None for any other text."""
    return next((each for each in GLOSSES if each == said), None)


def weighing(store: Store) -> Habits:
    """Return the same; where no scale was named yet, with the one that cards were weighed with."""
    found = habits(store)
    if found.scale is None:
        from ..cards.progress import measure_before

        before = measure_before(store)
        if before is not None and before.resolution_g is not None:
            return replace(found, scale=before.resolution_g)
    return found


def remember(
    store: Store,
    scale: float | None = None,
    measure: str | None = None,
    finish: str | None = None,
    light: str | None = None,
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
    choices = {"measure": (measure, KINDS), "finish": (finish, GLOSSES), "light": (light, LIGHTS)}
    for name, (value, known) in choices.items():
        if value is not None and value not in known:
            raise InputError(
                Field(name), value, f"expected {', '.join(known)}", "choose one of these"
            )
    said = {
        "scale": f"{scale:g}" if scale else None,
        "measure": measure,
        "finish": finish,
        "light": light,
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
