"""Recipes kept in the studio, and the batches that were made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.errors import Field, InputError
from ..mixing.medium import MEDIUM
from . import schema
from .fits import Fits
from .in_use import hidden
from .paints import Paints
from .transactions import Transactions, now

_ALIKE = 1e-3
"""Share of a mix within which two recipes are one: less than a scale of 0.01 g shows of 10 g."""


@dataclass(frozen=True)
class Kept:
    """A kept recipe.

    Attributes
    ----------
    recipe : schema.Recipe
        The one kept last under its name.
    batches : tuple of schema.Batch
        Made of any of that name, oldest first.
    of : mapping of int to schema.Recipe
        By a batch's `recipe_id`, the recipe that it was made of.
    """

    recipe: schema.Recipe
    batches: tuple[schema.Batch, ...]
    of: Mapping[int, schema.Recipe] = field(default_factory=dict)


class Recipes:
    """Recipes and their batches."""

    def __init__(self, database: Transactions, paints: Paints, fits: Fits) -> None:
        self._database = database
        self._paints = paints
        self._fits = fits

    def all(self) -> list[Kept]:
        """Return every kept recipe with its batches, by name."""
        with self._database.snapshot() as session:
            last: dict[str, schema.Recipe] = {}
            rows: dict[int, schema.Recipe] = {}
            for row in session.scalars(_recipes(session).order_by(schema.Recipe.id)):
                last[row.name], rows[row.id] = row, row
            made: dict[str, list[schema.Batch]] = {}
            for batch in session.scalars(_batches(session).order_by(schema.Batch.id)):
                if batch.recipe_id in rows:
                    made.setdefault(rows[batch.recipe_id].name, []).append(batch)
            return [Kept(last[name], tuple(made.get(name, ())), rows) for name in sorted(last)]

    def swatched(self) -> list[tuple[schema.Recipe, schema.Batch]]:
        """Return every batch whose dried swatch was read, with its recipe, the oldest first."""
        return [
            (each.of[batch.recipe_id], batch)
            for each in self.all()
            for batch in each.batches
            if batch.swatch is not None
        ]

    def find(self, name: str) -> schema.Recipe | None:
        """Return the recipe kept last under a name, if any."""
        with self._database.snapshot() as session:
            return session.scalar(
                _recipes(session)
                .where(schema.Recipe.name == name.strip().casefold())
                .order_by(schema.Recipe.id.desc())
            )

    def keep(
        self,
        name: str,
        parts: Mapping[str, float],
        target: Mapping[str, Any],
        predicted: Mapping[str, Any],
        note: str = "",
    ) -> schema.Recipe:
        """Keep a recipe; an older one of that name stays behind it.

        Parameters
        ----------
        name : str
            Of letters, digits, - and _.
        parts : mapping of nickname to parts by weight
        target, predicted : mapping
            What was asked for and what is expected of it, of plain values.

        Raises
        ------
        InputError
            For a name that can't stand, or is that of a tube.
        """
        key = self.checked_name(name)
        with self._database.transaction() as session:
            current = self._fits.current(self._fits.model_for(p for p in parts if p != MEDIUM))
            row = schema.Recipe(
                name=key,
                created=now(),
                target=dict(target),
                parts=dict(parts),
                predicted=dict(predicted),
                # The clear medium has no fit.
                fits=sorted({current[p] for p in parts if p in current}),
                note=note,
            )
            session.add(row)
            session.flush()
            return row

    def checked_name(self, name: str) -> str:
        """Return a name as recipes bear it.

        Raises
        ------
        InputError
            For a name that can't stand, or is that of a tube.
        """
        key = name.strip().casefold()
        if not key or not all(c.isalnum() or c in "-_" for c in key):
            raise InputError(
                Field("keep"),
                name,
                "expected a name of letters, digits, - and _",
                "choose one word",
            )
        if any(key in (p.nickname_key, p.name.casefold()) for p in self._paints.all()):
            raise InputError(Field("keep"), name, "is the name of a tube", "choose another")
        return key

    def keep_batch(
        self,
        recipe: schema.Recipe,
        masses: Mapping[str, float],
        note: str = "",
        portions: Mapping[str, Any] | None = None,
    ) -> schema.Batch:
        """Keep what was weighed out of a recipe, in grams, with the lots in use.

        Parameters
        ----------
        masses : mapping of nickname to grams
        portions : mapping, optional
            The same as it was measured, of plain values.
        """
        with self._database.transaction() as session:
            lots = {
                paint.nickname: paint.current_lot.lot
                for paint in self._paints.all()
                if paint.nickname in masses and paint.current_lot is not None
            }
            row = schema.Batch(
                recipe_id=recipe.id, made=now(), masses=dict(masses), lots=lots, note=note,
                portions=None if portions is None else dict(portions),
            )  # fmt: skip
            session.add(row)
            session.flush()
            return row

    def batch(self, name: str, number: int | None = None) -> schema.Batch | None:
        """Return a batch of a recipe, by its key; the last one where none is given."""
        kept = [each for each in self.all() if each.recipe.name == name.strip().casefold()]
        batches = [b for each in kept for b in each.batches if number in (None, b.id)]
        return batches[-1] if batches else None

    def keep_mixed(
        self,
        name: str,
        parts: Mapping[str, float],
        target: Mapping[str, Any],
        predicted: Mapping[str, Any],
        masses: Mapping[str, float],
        note: str = "",
        portions: Mapping[str, Any] | None = None,
    ) -> schema.Batch:
        """Keep a batch just mixed; its recipe too, where none of that name has these parts.

        Parameters
        ----------
        name, parts, target, predicted
            Of the recipe, as for `keep`.
        masses, portions
            Of the batch, as for `keep_batch`.
        note : str
            Of the batch.

        Raises
        ------
        InputError
            As `keep`.
        """
        with self._database.transaction():
            there = self.find(name)
            if there is None or not _same_parts(there.parts, parts):
                there = self.keep(name, parts, target, predicted)
            return self.keep_batch(there, masses, note, portions)


def _recipes(session: OrmSession) -> Select[schema.Recipe]:
    """Recipes in use."""
    gone = hidden(session, schema.Recipe.__tablename__)
    return select(schema.Recipe).where(schema.Recipe.id.not_in(gone))


def _batches(session: OrmSession) -> Select[schema.Batch]:
    """Batches in use."""
    gone = hidden(session, schema.Batch.__tablename__)
    return select(schema.Batch).where(schema.Batch.id.not_in(gone))


def _same_parts(one: Mapping[str, float], other: Mapping[str, float]) -> bool:
    """Whether two recipes are one: a search may end a hair beside where it did before."""
    one_sum, other_sum = sum(one.values()), sum(other.values())
    return one.keys() == other.keys() and all(
        abs(one[p] / one_sum - other[p] / other_sum) < _ALIKE for p in one
    )
