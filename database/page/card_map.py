"""A card seen from above, as far as it is read: where the instrument goes next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.cards.box import Box
from ...calibrate.cards.card import BARE, SUBSTRATES, Card
from ...calibrate.cards.card_plan import seats
from ...calibrate.cards.layout import read_layout
from ...calibrate.cards.layout_parts import Band
from ...calibrate.errors import InputError
from ...calibrate.instrument.progress import Progress
from ...calibrate.optics.spectra import Array
from ..pictures.swatch import swatches

_ACROSS, _DOWN, _NAMES = 62.0, 20.0, 60.0
"""mm: from patch to patch of a card without a layout, and room for the names of its steps."""
_MARGIN = 8.0
_PALE = 60.0
"""CIELAB lightness from which dark letters stand out better than light ones."""


@dataclass(frozen=True)
class Spot:
    """One patch.

    Attributes
    ----------
    mark : str
        How far it is read: empty where it isn't.
    fill : str
        As it was read, as #rrggbb; empty where it wasn't.
    pale : bool
        Whether what lies there is rather light.
    next : bool
        Whether the instrument goes there now.
    """

    patch: str
    box: Box
    mark: str
    fill: str
    pale: bool
    next: bool


@dataclass(frozen=True)
class CardMap:
    """A card.

    Attributes
    ----------
    frame : Box
        All of it, mm.
    names : tuple of (x, y, name)
        Names of steps, where no printed card shows them.
    """

    frame: Box
    bands: tuple[Band, ...]
    spots: tuple[Spot, ...]
    names: tuple[tuple[float, float, str], ...]


def card_map(card: Card, progress: Progress, wavelengths: Array, place: str) -> CardMap:
    """Draw a card.

    Parameters
    ----------
    progress : Progress
        What was read of it.
    wavelengths : (W,) array, nm
        Of the readings.
    place : str
        What is read next; empty, or a tile, where it is no patch.
    """
    bands, boxes, names = _laid_out(card)
    read = [(patch, mean) for patch in boxes if (mean := progress.mean(patch)) is not None]
    seen = {}
    if read:
        found = swatches(np.array([mean for _, mean in read]), wavelengths)
        seen = {patch: swatch for (patch, _), swatch in zip(read, found, strict=True)}
    spots = []
    for patch, box in boxes.items():
        swatch = seen.get(patch)
        if swatch is None or not swatch.code:
            code, pale = "", patch.endswith("/white")
        else:
            code, pale = swatch.code, bool(swatch.lab[0] > _PALE)
        spots.append(Spot(patch, box, _mark(progress, patch), code, pale, patch == place))
    corners = np.array([corner for band in bands for corner in band.box.corners])
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    left -= _NAMES if names else 0.0
    frame = Box(float(left), float(top), float(right - left), float(bottom - top))
    return CardMap(frame.grown(_MARGIN), bands, tuple(spots), names)


def _mark(progress: Progress, patch: str) -> str:
    rows = progress.counting(patch)
    if any("doubt" in row.said for row in rows):
        return "▲"
    if progress.is_done(patch):
        return "✓"
    if patch in progress.skipped:
        return "–"
    return f"{len(rows)}/{progress.repeats}" if rows else ""


def _laid_out(
    card: Card,
) -> tuple[tuple[Band, ...], dict[str, Box], tuple[tuple[float, float, str], ...]]:
    """Bands, patches and names: as the layout has them, else side by side and in order."""
    if card.layout is not None:
        try:
            layout = read_layout(card.layout)
            seat = {BARE: 0, **seats(layout, card)}
        except InputError:
            pass  # a layout that has gone, or that the card has outgrown
        else:
            places = {
                patch: layout.boxes(seat[step], over)
                for patch in card.patches
                for step, _, over in [patch.rpartition("/")]
            }
            return layout.bands, {patch: found[0] for patch, found in places.items() if found}, ()
    return _in_order(card.patches)


def _in_order(
    patches: Sequence[str],
) -> tuple[tuple[Band, ...], dict[str, Box], tuple[tuple[float, float, str], ...]]:
    steps = list(dict.fromkeys(patch.rpartition("/")[0] for patch in patches))
    # The bare card lies above the paint, as on a printed one.
    steps.sort(key=lambda step: step != BARE)
    across = {over: _ACROSS * i for i, over in enumerate(SUBSTRATES)}
    bands = tuple(
        Band(over, Box(x, 0.0, _ACROSS, _DOWN * len(steps))) for over, x in across.items()
    )
    boxes = {
        patch: Box(across[over] + 6, _DOWN * steps.index(step) + 2.5, _ACROSS - 12, _DOWN - 5)
        for patch in patches
        for step, _, over in [patch.rpartition("/")]
    }
    names = tuple(
        (-4.0, _DOWN * (i + 0.5), "bare card" if step == BARE else step)
        for i, step in enumerate(steps)
    )
    return bands, boxes, names
