"""What is on the plate: additions, one plate for each colour or recipe, kept as one goes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from ..mixing.target import Target
from ..mixing.viewing import Viewing

if TYPE_CHECKING:
    from ..store.store import Store

NAME, DAB = "plate.json", "plate-dab.json"
"""Files beside the database that held the one plate there was before plates were kept in it."""
Additions = list[dict[str, float]]


@dataclass(frozen=True)
class KeptDab:
    """A dab of a heap whose parts weren't known: the first addition is what it is likely made of.

    Attributes
    ----------
    said : str
        Where its colour is from.
    lab : tuple of three float
        CIELAB, D50/2°.
    band : float
        CIEDE2000 that its colour is within, 95 of 100 times.
    viewing : Viewing
        Whether it was seen, or read.
    grams : float
        Of the heap then.
    of : tuple of str
        Paints that are known to be all that is in it; empty where they aren't.
    told : tuple of (nickname, grams)
        What was weighed in before, where that is known.
    step : float
        Smallest step of the scale that it was weighed with, g.
    """

    said: str
    lab: tuple[float, float, float]
    band: float
    viewing: Viewing
    grams: float
    of: tuple[str, ...]
    told: tuple[tuple[str, float], ...] = ()
    step: float = 0.1

    @property
    def target(self) -> Target:
        """Its colour."""
        return Target(
            self.said, np.array(self.lab), estimate=True, band=self.band, viewing=self.viewing
        )

    @property
    def kept(self) -> dict[str, Any]:
        """What is kept of it, of plain values."""
        return asdict(self) | {"viewing": self.viewing.said}

    @classmethod
    def of_kept(cls, said: Mapping[str, Any]) -> KeptDab:
        """Return a dab of what is kept of it."""
        lightness, a, b = (float(x) for x in said["lab"])
        viewing = Viewing.of_kept(said.get("viewing", {"finish": said.get("seen")}))
        return cls(
            str(said["said"]), (lightness, a, b), float(said["band"]), viewing,
            float(said["grams"]), tuple(said["of"]),
            tuple((str(paint), float(grams)) for paint, grams in said.get("told", ())),
            float(said.get("step", 0.1)),
        )  # fmt: skip


@dataclass(frozen=True)
class OnPlate:
    """What is on a plate now.

    Attributes
    ----------
    additions : list of dict of nickname to grams
        In order.
    dab : KeptDab or None
        That it began with, if it did.
    number : int
        Of this state: an addition says which one it was based on.
    undoable : bool
        Whether the last step can be taken back.
    """

    additions: Additions
    dab: KeptDab | None = None
    number: int = 0
    undoable: bool = False


def goal_of(target: Target, recipe: str = "") -> str:
    """Return what a plate is for: a kept recipe by its name, else the colour as it is said."""
    return f"recipe {recipe.casefold()}" if recipe else target.said


def plate_of(store: Store, goal: str) -> OnPlate:
    """Return what is on a plate.

    Raises
    ------
    InputError
        Where a file of an older plate isn't one of ours.
    """
    with store.snapshot():
        row = store.plates.of(goal)
        if row is not None:
            dab = None if row.dab is None else KeptDab.of_kept(row.dab)
            return OnPlate([dict(a) for a in row.additions], dab, row.id, row.before is not None)
        if store.plates.any():
            return OnPlate([])
        older = _older_plate(store.studio.folder)
    return OnPlate(older, _older_dab(store.studio.folder) if older else None, 0, bool(older))


def set_plate(
    store: Store,
    goal: str,
    additions: Sequence[Mapping[str, float]],
    dab: KeptDab | None = None,
    anew: bool = False,
) -> OnPlate:
    """Keep what is on a plate after a step, all or none.

    Parameters
    ----------
    additions : sequence of mapping of nickname to grams
        All that is on it then.
    dab : KeptDab, optional
    anew : bool
        Whether it was emptied before: then no older plate is looked for.

    Raises
    ------
    InputError
        As `plate_of`.
    """
    with store.transaction():
        if not anew:
            _take_up(store, goal)
        store.plates.put(goal, additions, None if dab is None else dab.kept)
        return plate_of(store, goal)


def undo(store: Store, goal: str) -> OnPlate | None:
    """Take the last step back; None where there is none that can be.

    Raises
    ------
    InputError
        As `plate_of`.
    """
    with store.transaction():
        _take_up(store, goal)
        return None if store.plates.undo(goal) is None else plate_of(store, goal)


def _take_up(store: Store, goal: str) -> None:
    """Take up the plate that was kept in a file; the first step finds it, whatever it is for."""
    if not store.plates.any():
        folder = store.studio.folder
        older = _older_plate(folder)
        if older:
            dab = _older_dab(folder)
            store.plates.put(goal, older, None if dab is None else dab.kept)


def _older_plate(folder: Path) -> Additions:
    path = folder / NAME
    if not path.exists():
        return []
    try:
        return [
            {str(name): float(grams) for name, grams in each.items()}
            for each in json.loads(path.read_text(encoding="utf-8"))
        ]
    except (ValueError, AttributeError, TypeError):
        raise InputError(
            path, None, "expected a list of additions in grams", StudioDo.START_ANEW()
        ) from None


def _older_dab(folder: Path) -> KeptDab | None:
    path = folder / DAB
    if not path.exists():
        return None
    try:
        return KeptDab.of_kept(json.loads(path.read_text(encoding="utf-8")))
    except (ValueError, KeyError, TypeError):
        raise InputError(path, None, "expected a dab's colour", StudioDo.START_ANEW()) from None


def on_plate(additions: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Sum the additions, grams by nickname."""
    total: dict[str, float] = {}
    for each in additions:
        for name, grams in each.items():
            total[name] = total.get(name, 0.0) + grams
    return total
