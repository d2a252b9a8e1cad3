"""The colours of cards as they were read, step by step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ...calibrate.cards.card import Card
from ...calibrate.optics.colour import lab
from ...calibrate.optics.spectra import Array
from ..store.imports import Undone
from ..store.store import Store
from .history import ReadFile, read_of

WET = ", of wet paint"
"""How a file of wet readings is told, in its `how`."""


def read_key(store: Store) -> object:
    """By which two states of a studio whose cards look different as read are told apart."""
    with store.snapshot() as session:
        undone = Undone.of(session)
        newest = undone.newest_of_all(session)
        read = (row.id for rows in (store.readings.times(), store.scans.times()) for row in rows)
        return frozenset(newest), undone, tuple(read)


def colours_read(store: Store) -> Mapping[int, list[Array]]:
    """Return CIELAB of each card's steps, by its number; cards that weren't read are left out.

    Of the last file that counts, dry before wet; a step over white where it was read there.
    """
    found: dict[int, list[Array]] = {}
    with store.snapshot():
        cards = {card.name: card for card in store.cards.all()}
        for row in store.cards.rows():
            files = [each for each in read_of(store, row.id) if not each.undone]
            dry = [each for each in files if WET not in each.how] or files
            if row.name in cards and dry:
                found[row.id] = _steps(cards[row.name], dry[0])
    return found


def _steps(card: Card, read: ReadFile) -> list[Array]:
    patches = _patches(read)
    found = []
    for drawdown in card.drawdowns:
        for over in ("white", "black"):
            seen = patches.get(f"{drawdown.step}/{over}")
            if drawdown.masses and seen is not None and np.isfinite(seen).all():
                found.append(seen)
                break
    return found


def _patches(read: ReadFile) -> Mapping[str, Array]:
    """CIELAB by patch, repeats averaged."""
    if read.scan is not None:
        scanned: dict[str, list[Sequence[float]]] = {}
        for patch in read.scan.patches:
            scanned.setdefault(patch.patch, []).append(patch.lab)
        return {
            name: np.mean(np.array(labs, dtype=float), axis=0) for name, labs in scanned.items()
        }
    spectra = read.spectra
    assert spectra is not None
    names = list(dict.fromkeys(spectra.labels))
    which = np.array([names.index(label) for label in spectra.labels])
    mean = np.stack([spectra.values[which == i].mean(axis=0) for i in range(len(names))])
    return dict(zip(names, lab(mean, spectra.wavelengths), strict=True))
