"""Characterises a scanner or phone from the picture of a target, or of a card that was measured."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...calibrate.cards.card_plan import seats
from ...calibrate.errors import Field, InputError
from ...calibrate.formats.target_values import TargetValues, read_target_values
from ...calibrate.optics.spectra import Array
from ...calibrate.scan.characterise import Characterised
from ...calibrate.scan.find import Found, find_card
from ...calibrate.scan.image import Facts, Picture, read_picture
from ...calibrate.scan.improved import bent, improvements
from ...calibrate.scan.overlay import overlay as draw
from ...calibrate.scan.own_references import from_own_references
from ...calibrate.scan.sample import Site, sample_all, sites
from ...calibrate.scan.target import grid_found, read_target, strip_sites
from ...calibrate.scan.target_found import find_grid, grid_of
from ..common.remedies import StudioDo
from ..store.store import Store
from .scan_files import overlay_of_scanner, save_overlay
from .scanning import ReadScan, known_grey, layouts, read_card_picture

FIRST = "scanner"
"""What a device is called that nobody has named."""


@dataclass(frozen=True)
class KeptDevice:
    """A device as characterised and kept.

    Attributes
    ----------
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
    values: Path | None = None,
    card: str | None = None,
    grid: tuple[int, int] | None = None,
    corners: Array | None = None,
    strip: Array | None = None,
    grey: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> KeptDevice:
    """Characterise a device as it is set now, and keep that.

    Parameters
    ----------
    name : str
        What its owner calls it.
    picture : Path
        Of a reference target, or of a card.
    values : Path, optional
        What is known of the target, or readings of the card. Without it the card's own references
        stand in: its grey pieces, or a typical white.
    card : str, optional
        The card, where it is one.
    grid : (columns, rows), optional
        Of the target's patches; else as their names have it.
    corners : (4, 2) array, optional
        Outer corners of the grid, px, clockwise from upper left; else they are looked for.
    strip : (4, 2) array, optional
        The same of the grey strip beside the grid, whose patches are named GS0, GS1 and on.
    grey : float, optional
        Reflectance of a bought grey card's pieces, where the card's own references stand in.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        Where the target isn't found, or tells too little.
    """
    known = None if values is None else read_target_values(values)
    progress("opening the picture")
    opened = read_picture(picture)
    if known is None:
        return _by_own_references(store, name, opened, card, grey)
    if card is not None:
        found, where = _card(store, opened, card)
    else:
        progress("finding the patches")
        columns, rows = grid or grid_of(known)
        at = find_grid(opened, known) if corners is None else corners
        found, where = grid_found(at, columns, rows, str(picture))
        if strip is not None:
            where += strip_sites(found, strip, known, str(picture))
    progress("fitting")
    made, samples = read_target(name, opened, found, where, known)
    remarks = [f"the picture was {each}" for each in improvements(opened, found, samples)]
    if (words := bent(made.bend)) is not None:
        remarks.append(f"the picture was given {words}")
    return _keep(store, made, _target(opened.facts, known), remarks, draw(opened, found, samples))


def read_by_known_device(
    store: Store,
    file: Path,
    card: str | None = None,
    device: str | None = None,
    grey: float | None = None,
    without: Sequence[str] = (),
    overlay: Path | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[ReadScan, KeptDevice | None]:
    """Read a card from a picture; where the studio knows no device yet, the card tells of it.

    A device that no target was shown to is kept as one that its card's own references tell of, so
    that a fit of its pictures is a first guess and says so.

    Parameters
    ----------
    store, file, card, device, grey, without, overlay, progress
        As `read_card_picture` takes them.

    Returns
    -------
    read : ReadScan
        Not kept yet.
    made : KeptDevice or None
        The device, where it was characterised just now.

    Raises
    ------
    InputError
        As `read_card_picture` and `characterise_device`.
    """
    read = read_card_picture(store, file, card, device, grey, without, overlay, progress)
    if read.device is not None:
        return read, None
    named, grey = read.scan.channels.card.name, read.asked["grey"]
    made = characterise_device(store, FIRST, file, card=named, grey=grey, progress=progress)
    return read_card_picture(store, file, card, None, grey, without, overlay, progress), made


def _by_own_references(
    store: Store, name: str, opened: Picture, card: str | None, grey: float | None
) -> KeptDevice:
    if card is None:
        raise InputError(
            opened.facts.file,
            None,
            "no known values of the target were given",
            StudioDo.GIVE_VALUES_OR_CARD(),
        )
    found, where = _card(store, opened, card)
    grey, remarks = known_grey(store, store.cards.find(card), grey)
    samples = sample_all(opened, found, tuple(s for s in where if s.kind != "step"))
    made = from_own_references(name, opened, found, samples, grey)
    rests = "the card's grey pieces" if grey is not None else "a typical painted white"
    remarks += [f"the picture was {each}" for each in improvements(opened, found, samples)]
    remarks.append(
        f"nothing but {rests} tells of this device: every band of what its scans tell is wide, and "
        "K and S are a first guess; a target with its data file, a picture by another device, or "
        "scanned mixtures make it surer, and the fit says by how much"
    )
    target = {"picture": opened.facts.file, "picture_sha256": opened.facts.sha256}
    return _keep(store, made, target, remarks, draw(opened, found, samples))


def _keep(
    store: Store,
    made: Characterised,
    target: dict[str, str],
    remarks: list[str],
    drawn: NDArray[np.uint8],
) -> KeptDevice:
    with store.transaction():
        kept = store.scanners.add(made, target)
        place = save_overlay(overlay_of_scanner(store.studio, made.name), drawn)
    return KeptDevice(made, kept.calibration, tuple(remarks), place)


def _card(store: Store, opened: Picture, card: str) -> tuple[Found, tuple[Site, ...]]:
    scanned = store.cards.find(card)
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
        raise InputError(
            None, Field("grid"), f"expected columns x rows, got {words}", "write 22x12"
        )
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
            Field("corners"),
            f"expected four corners, eight numbers, got {len(numbers)}",
            "write them as 'x,y x,y x,y x,y'",
        )
    return np.array(numbers, dtype=float).reshape(4, 2)


def device_words(made: Characterised) -> str:
    """Say how a device was set and how far it may be trusted."""
    from ...calibrate.optics.colour import in_words

    s = made.settings
    dpi = f", {s.dpi:g} dpi" if s.dpi else ""
    set_so = f"{s.kind}, {s.bits} bit{dpi}"
    if not made.by_target:
        return f"{set_so}; characterised by its card's own references alone, so far less sure"
    return (
        f"{set_so}; errors on patches left out in turn are "
        f"{in_words(made.mean)} (CIEDE2000 {made.mean:.2f} on average, {made.p95:.2f} for 95 %)"
    )


def use_words(made: Characterised) -> str:
    """Say what a device's scans can be used for."""
    if made.sensors is None:
        return "The target has no spectra: colours only, K and S can't be fitted to its scans."
    if made.fit_for_spectra:
        return "Its channels' sensitivities were estimated: K and S can be fitted to its scans."
    return (
        "The sensitivities of its channels aren't known, for want of a target or because it mends "
        "its colours, as phones do: K and S fitted to its pictures are a first guess, and "
        "their bands say so. A flatbed scanner with every correction off, and a target, do better."
    )
