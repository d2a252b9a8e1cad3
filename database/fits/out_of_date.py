"""Fits in use that no longer hold: their readings, cards, white or tube changed since."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..store.imports import Undone
from ..store.in_use import fits_in_use, inputs_of
from ..store.store import Store
from ..store.transactions import OrmSession


@dataclass(frozen=True)
class Outdated:
    """A fit that no longer holds.

    Attributes
    ----------
    paints : tuple of str
        Nicknames of those whose numbers it gives.
    why : str
        What changed, to follow the fit's name.
    mended_by_fit : bool
        Whether fitting anew mends it; else what it was fitted against is only left out.
    """

    paints: tuple[str, ...]
    fit: int
    why: str
    mended_by_fit: bool

    @property
    def some(self) -> str:
        """The first of its paints, for one line."""
        return ", ".join(self.paints[:6]) + (", ..." if len(self.paints) > 6 else "")


def outdated(
    session: OrmSession,
    holdings: Sequence[Mapping[str, int]],
    inputs: Mapping[int, Mapping[str, Any]],
) -> Iterable[Outdated]:
    """Find fits that no longer hold.

    Those of a later model are passed over where the same is said of the same paints.

    Parameters
    ----------
    session : Session
    holdings : sequence of mapping of nickname to int
        Of each model, the number of each paint's fit.
    inputs : mapping of int to mapping
        What went into each of these fits.
    """
    undone = Undone.of(session)
    newest = undone.newest_of_all(session)
    told = set[tuple[tuple[str, ...], str]]()
    for holding in holdings:
        for found in _outdated_of(holding, inputs, undone, newest):
            if (found.paints, found.why) not in told:
                yield found
            told.add((found.paints, found.why))


def outdated_in_use(session: OrmSession) -> Iterable[Outdated]:
    """Find those of the fits in use whose readings, cards or white no longer hold."""
    holding = fits_in_use(session)
    in_use = {fit for each in holding.values() for fit in each.values()}
    return outdated(session, list(holding.values()), inputs_of(session, sorted(in_use)))


def outdated_paints(store: Store) -> dict[str, str]:
    """Return why each paint's fit in use no longer holds, by nickname; those that hold aside."""
    with store.snapshot() as session:
        found: dict[str, str] = {}
        for each in outdated_in_use(session):
            for paint in each.paints:
                found.setdefault(paint, each.why)
        return found


def _outdated_of(
    holding: Mapping[str, int],
    inputs: Mapping[int, Mapping[str, Any]],
    undone: Undone,
    newest: Collection[int],
) -> Iterable[Outdated]:
    """Find fits by one model whose readings, cards or white are no longer those that hold."""
    by_fit: dict[int, list[str]] = {}
    for paint, fit in holding.items():
        by_fit.setdefault(fit, []).append(paint)
    for fit, paints in by_fit.items():
        read = [*inputs[fit].get("sessions", []), *inputs[fit].get("scans", [])]
        known = inputs[fit].get("known") or {"fits": {}}
        moved = [p for p, n in known["fits"].items() if p in holding and holding[p] != n]
        missing = [p for p in known["fits"] if p not in holding]
        why = None
        if any(item["card_version"] in undone.removed for item in read):
            why = "rests on a card that was removed"
        elif any(
            item.get("session") in undone.sessions or item.get("scan") in undone.scans
            for item in read
        ):
            why = "rests on readings whose import was undone"
        elif any(item["card_version"] not in newest for item in read):
            why = "rests on a card that was corrected since"
        elif moved:
            why = f"was fitted against {', '.join(moved)} before that was fitted anew"
        elif missing:
            why = f"was fitted against {', '.join(missing)}, which is left out"
        if why:
            yield Outdated(tuple(paints), fit, why, not missing)
