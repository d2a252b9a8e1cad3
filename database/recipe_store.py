"""Recipes and batches kept in the studio."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from ..calibrate.errors import InputError
from . import schema

if TYPE_CHECKING:
    from .store import Store


def kept_recipe(store: Store, name: str) -> schema.Recipe | None:
    """Return the recipe kept last under a name, if any."""
    with store.snapshot() as session:
        return session.scalar(
            select(schema.Recipe)
            .where(schema.Recipe.name == name.strip().casefold())
            .order_by(schema.Recipe.id.desc())
        )


def kept_recipes(store: Store) -> list[schema.Recipe]:
    """Every recipe kept, each as kept last, by name."""
    with store.snapshot() as session:
        rows = session.scalars(select(schema.Recipe).order_by(schema.Recipe.id))
        last = {row.name: row for row in rows}
        return [last[name] for name in sorted(last)]


def keep_recipe(
    store: Store,
    name: str,
    parts: Mapping[str, float],
    target: Mapping[str, Any],
    predicted: Mapping[str, Any],
    note: str = "",
) -> schema.Recipe:
    """Keep a recipe; an older one of that name stays behind it.

    Parameters
    ----------
    store : Store
    name : str
        Of letters, digits, - and _.
    parts : mapping of nickname to parts by weight
    target, predicted : mapping
        What was asked for and what is expected of it, of plain values.
    note : str

    Raises
    ------
    InputError
        For a name that can't stand, or is that of a tube.
    """
    key = name.strip().casefold()
    if not key or not all(c.isalnum() or c in "-_" for c in key):
        raise InputError(
            "--keep", name, "expected a name of letters, digits, - and _", "choose one word"
        )
    if any(key in (p.nickname_key, p.name.casefold()) for p in store.paints()):
        raise InputError("--keep", name, "is the name of a tube", "choose another")
    with store.transaction() as session:
        current = store.current_fits()
        row = schema.Recipe(
            name=key,
            created=datetime.now(UTC).isoformat(timespec="seconds"),
            target=dict(target),
            parts=dict(parts),
            predicted=dict(predicted),
            fits=sorted({current[p] for p in parts}),
            note=note,
        )
        session.add(row)
        session.flush()
        return row


def keep_batch(
    store: Store, recipe: schema.Recipe, masses: Mapping[str, float], note: str = ""
) -> schema.Batch:
    """Keep what was weighed out of a recipe, in grams."""
    with store.transaction() as session:
        row = schema.Batch(
            recipe_id=recipe.id,
            made=datetime.now(UTC).isoformat(timespec="seconds"),
            masses=dict(masses),
            note=note,
        )
        session.add(row)
        session.flush()
        return row
