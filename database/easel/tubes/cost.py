"""What paint costs, and whether there is enough of it: from prices, sizes and kept batches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from ....calibrate.fit.problem.tube import typical_density
from ....calibrate.optics.coefficients import Coefficients
from ...mixing.medium import MEDIUM

if TYPE_CHECKING:
    from ...store.store import Store


@dataclass(frozen=True)
class Stock:
    """What is known of the tube of a paint that is in use.

    Attributes
    ----------
    price : float or None
        Of a tube, in the money that it was typed in.
    size_ml : float or None
        Of a tube.
    used_ml : float
        Of the tube in use, by the batches that were kept of it.
    """

    price: float | None
    size_ml: float | None
    used_ml: float = 0.0

    @property
    def left_ml(self) -> float | None:
        """What is left of the tube in use; None where its size isn't known."""
        return None if self.size_ml is None else max(self.size_ml - self.used_ml, 0.0)

    def costs(self, ml: float) -> float | None:
        """Price of so much; None where price or size isn't known."""
        if self.price is None or not self.size_ml:
            return None
        return self.price * ml / self.size_ml

    def more(self, ml: float) -> int | None:
        """New tubes that so much takes; None where the size isn't known."""
        if not self.size_ml or self.left_ml is None:
            return None
        return max(ceil((ml - self.left_ml) / self.size_ml - 1e-9), 0)


@dataclass(frozen=True)
class Row:
    """What one paint of a job costs.

    Attributes
    ----------
    more : int or None
        New tubes that it takes.
    """

    paint: str
    ml: float
    cost: float | None
    left_ml: float | None
    more: int | None


@dataclass(frozen=True)
class Bill:
    """What a job costs and takes.

    Attributes
    ----------
    rows : tuple of Row
        The dearest first.
    """

    rows: tuple[Row, ...]

    @property
    def total(self) -> float:
        """Of all paints whose price is known."""
        return sum(row.cost or 0.0 for row in self.rows)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Paints whose price or size isn't known."""
        return tuple(row.paint for row in self.rows if row.cost is None)

    @property
    def said(self) -> dict[str, Any]:
        """All of it as plain values, for programs."""
        return {
            "total": self.total,
            "unpriced": list(self.unpriced),
            "tubes": [
                {
                    "paint": row.paint,
                    "ml": row.ml,
                    "cost": row.cost,
                    "left_ml": row.left_ml,
                    "more_tubes": row.more,
                }
                for row in self.rows
            ],
        }

    def words(self, names: Mapping[str, str], what: str = "It") -> list[str]:
        """Say what `what` costs, a sentence each; nothing where nothing is known."""
        said = []
        priced = [row for row in self.rows if row.cost is not None]
        if priced:
            each = ", ".join(f"{names.get(row.paint, row.paint)} {row.cost:.2f}" for row in priced)
            without = " and ".join(names.get(p, p) for p in self.unpriced)
            without = f"; without {without}, of unknown price" if without else ""
            said.append(
                f"{what} costs {self.total:.2f} by the prices of your tubes: {each}{without}."
            )
        for row in self.rows:
            if row.more:
                tubes = "one more tube" if row.more == 1 else f"{row.more} more tubes"
                said.append(
                    f"{what} takes {row.ml:.0f} ml of {names.get(row.paint, row.paint)}, and some "
                    f"{row.left_ml:.0f} ml are left by the batches that you kept: {tubes}."
                )
        return said


def stocks(store: Store) -> dict[str, Stock]:
    """Return what is known of every paint's tube in use, by nickname."""
    with store.snapshot():
        found = {}
        used = _used(store)
        for paint in store.paints.all():
            lot = paint.current_lot
            if lot is None:
                continue
            grams = used.get((paint.nickname, lot.lot), 0.0)
            density = lot.density or typical_density(paint.pigments, paint.binder)
            found[paint.nickname] = Stock(lot.price, lot.size_ml, grams / density)
        return found


def _used(store: Store) -> dict[tuple[str, str], float]:
    """Grams that kept batches took, by paint and lot."""
    used: dict[tuple[str, str], float] = {}
    for kept in store.recipes.all():
        for batch in kept.batches:
            for paint, grams in batch.masses.items():
                key = paint, (batch.lots or {}).get(paint) or ""
                used[key] = used.get(key, 0.0) + float(grams)
    return used


def bill_of_grams(
    known: Mapping[str, Stock], read: Coefficients, grams: Mapping[str, float]
) -> Bill:
    """Return what a mix in grams costs."""
    ml = {p: g / float(read.density[read.index(p)]) for p, g in grams.items()}
    return bill(known, ml)


def bill(known: Mapping[str, Stock], ml: Mapping[str, float], times: int = 1) -> Bill:
    """Return what millilitres of paints cost, so many times over; the clear medium aside."""
    rows = []
    for paint, amount in ml.items():
        if paint == MEDIUM or amount <= 0:
            continue
        stock, whole = known.get(paint, Stock(None, None)), times * amount
        rows.append(Row(paint, whole, stock.costs(whole), stock.left_ml, stock.more(whole)))
    return Bill(tuple(sorted(rows, key=lambda row: -(row.cost or 0.0))))
