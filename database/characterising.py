"""Characterises a scanner or phone from the picture of a target, or of a card that was measured."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..calibrate.cards.card_plan import seats
from ..calibrate.errors import InputError
from ..calibrate.formats.target_values import TargetValues, read_target_values
from ..calibrate.optics.spectra import Array
from ..calibrate.scan.characterise import Characterised
from ..calibrate.scan.find import Found, find_card
from ..calibrate.scan.image import Facts, Picture, read_picture
from ..calibrate.scan.improved import bent, improvements
from ..calibrate.scan.overlay import overlay as draw
from ..calibrate.scan.sample import Site, sites
from ..calibrate.scan.target import grid_found, read_target
from ..calibrate.scan.target_found import find_grid, grid_of
from .scan_files import overlay_of_scanner, save_overlay
from .scanning import layouts
from .store import Store


@dataclass(frozen=True)
class Made:
    """A device as characterised and kept.

    Attributes
    ----------
    device : Characterised
    calibration : int
        Number of the characterisation.
    remarks : tuple of str
        What is to be known of it.
    overlay : Path
        The picture with what was read where.
    """

    device: Characterised
    calibration: int
    remarks: tuple[str, ...]
    overlay: Path


def characterise_device(
    store: Store,
    name: str,
    picture: Path,
    values: Path,
    card: str | None = None,
    grid: tuple[int, int] | None = None,
    corners: Array | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Made:
    """Characterise a device as it is set now, and keep that.

    Parameters
    ----------
    store : Store
    name : str
        What its owner calls it.
    picture, values : Path
        Of a reference target and what is known of it; or of a card and its readings.
    card : str, optional
        The card, where it is one.
    grid : (columns, rows), optional
        Of the target's patches; else as their names have it.
    corners : (4, 2) array, optional
        Outer corners of the grid, px, clockwise from upper left; else they are looked for.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        Where the target isn't found, or tells too little.
    """
    known = read_target_values(values)
    progress("opening the picture")
    opened = read_picture(picture)
    if card is not None:
        found, where = _card(store, opened, card)
    else:
        progress("finding the patches")
        columns, rows = grid or grid_of(known)
        at = find_grid(opened, known) if corners is None else corners
        found, where = grid_found(at, columns, rows, str(picture))
    progress("fitting")
    made, samples = read_target(name, opened, found, where, known)
    remarks = [f"the picture was {each}" for each in improvements(opened, found, samples)]
    if (words := bent(made.bend)) is not None:
        remarks.append(f"the picture was given {words}")
    with store.transaction():
        kept = store.add_scanner(made, _target(opened.facts, known))
        place = overlay_of_scanner(store.studio, name)
        drawn = save_overlay(place, draw(opened, found, samples))
    return Made(made, kept.calibration, tuple(remarks), drawn)


def _card(store: Store, opened: Picture, card: str) -> tuple[Found, tuple[Site, ...]]:
    scanned = store.card(card)
    layout, others = layouts(scanned)
    found = find_card(opened, others, layout)
    return found, sites(layout, {n: step for step, n in seats(layout, scanned).items()})


def _target(facts: Facts, known: TargetValues) -> dict[str, str]:
    return {
        "picture": facts.file,
        "picture_sha256": facts.sha256,
        "values": known.file,
        "values_sha256": known.sha256,
    }


def parse_grid(words: str) -> tuple[int, int]:
    """Read columns and rows such as ``22x12``.

    Raises
    ------
    InputError
        For any other text.
    """
    found = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,2})\s*", words)
    if found is None:
        raise InputError(None, "--grid", f"expected columns x rows, got {words}", "write 22x12")
    return int(found[1]), int(found[2])


def parse_corners(words: str) -> Array:
    """Read four corners such as ``10,12 300,12 300,180 10,180``, (4, 2).

    Raises
    ------
    InputError
        For more or fewer numbers.
    """
    numbers = re.findall(r"-?\d+(?:\.\d+)?", words)
    if len(numbers) != 8:
        raise InputError(
            None,
            "--corners",
            f"expected four corners, eight numbers, got {len(numbers)}",
            "write them as 'x,y x,y x,y x,y'",
        )
    return np.array(numbers, dtype=float).reshape(4, 2)


def device_words(made: Characterised) -> str:
    """Say how a device was set and how far it may be trusted."""
    from ..calibrate.optics.colour import in_words

    s = made.settings
    dpi = f", {s.dpi:g} dpi" if s.dpi else ""
    return (
        f"{s.kind}, {s.bits} bit{dpi}; errors on patches left out in turn are "
        f"{in_words(made.mean)} (CIEDE2000 {made.mean:.2f} on average, {made.p95:.2f} for 95 %)"
    )


def use_words(made: Characterised) -> str:
    """Say what a device's scans can be used for."""
    if made.sensors is not None:
        return "Its channels' sensitivities were estimated: K and S can be fitted to its scans."
    return "The target has no spectra: colours only, K and S can't be fitted to its scans."
