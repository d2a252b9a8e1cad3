"""Takes in a card's picture: opens it, reads it, says what is odd, keeps it and its overlay."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...calibrate.cards.card import Card
from ...calibrate.cards.layout import Layout, layout_names, read_layout
from ...calibrate.errors import InputError, Sentence
from ...calibrate.scan.image import Facts, read_picture
from ...calibrate.scan.improved import improvements
from ...calibrate.scan.overlay import overlay as draw
from ...calibrate.scan.reading import ScannedCard, read_scan
from ...calibrate.scan.same_card import another_card
from ..common.remedies import StudioDo
from ..store.store import Store
from .progress import cards_progress, dry_enough
from .scan_files import overlay_of_scan, save_overlay

PICTURES = (".tif", ".tiff", ".png", ".jpg", ".jpeg", ".heic", ".heif")
"""Endings of pictures, which hold no other readings."""


@dataclass(frozen=True)
class ReadScan:
    """A card as read from its picture, not kept yet.

    Attributes
    ----------
    asked : dict
        What was said of it: the grey's reflectance, steps left unpainted.
    calibration : int or None
        Number of its device's characterisation.
    remarks : tuple of str or Sentence
        What is to be known of it.
    drawn : array
        The page with what was read where.
    """

    scan: ScannedCard
    facts: Facts
    asked: dict[str, Any]
    calibration: int | None
    device: str | None
    remarks: tuple[str | Sentence, ...]
    drawn: NDArray[np.uint8] = field(repr=False)

    def as_dict(self) -> dict[str, Any]:
        """What was read, for machines."""
        scan, flags = self.scan, dict(self.scan.flags)
        stray, sd = scan.evened.stray, scan.channels.uncertainty
        return {
            "card": scan.channels.card.name,
            "source": scan.channels.source,
            "sha256": self.facts.sha256,
            "device": self.device,
            "geometry": "45:0",
            "level_from": scan.scale,
            "dpi": round(scan.found.dpi, 1),
            "stray_light": round(stray.share, 4),
            "stray_light_uncertainty": round(stray.uncertainty, 4),
            "stray_light_typical": stray.typical,
            "uneven_light": round(scan.evened.uneven, 4),
            "remarks": list(self.remarks),
            "patches": [
                {
                    "patch": label,
                    "channels": np.round(scan.channels.channels[i], 6).tolist(),
                    "uncertainty": np.round(sd[i], 6).tolist(),
                    "lab": np.round(scan.lab[i], 3).tolist(),
                    "spread": round(float(scan.spread[i]), 4),
                    "left_out": round(float(scan.left_out[i]), 4),
                    "flag": flags.get(label),
                }
                for i, label in enumerate(scan.channels.labels)
            ],
        }


def read_card_picture(
    store: Store,
    file: Path,
    card: str | None = None,
    device: str | None = None,
    grey: float | None = None,
    without: Sequence[str] = (),
    overlay: Path | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> ReadScan:
    """Read a card of the studio from a picture, and keep nothing.

    Parameters
    ----------
    card : str, optional
        Its name; else the one named like the file, else the only one printed here and not read yet.
    device : str, optional
        A characterised device; else the only one, or the one that the picture's settings fit.
    grey : float, optional
        Reflectance of a bought grey card's pieces; else what was said of a picture of this card.
    without : sequence of str
        Steps that were left unpainted.
    overlay : Path, optional
        Also draw there what was read where; where no card is found, the picture as it was seen.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        As `tintladder.calibrate.scan.reading.read_scan`, for a card or device that isn't there, and
        for a picture of another card than those before.
    """
    progress("opening the picture")
    picture = read_picture(file)
    known = _meant(store, file, card)
    grey, grey_words = known_grey(store, known, grey)
    layout, others = layouts(known)
    scanner = store.scanners.fitting(picture.facts, device)
    progress("finding the card")
    characterised = None if scanner is None else scanner.device
    try:
        before = None if scanner is None else store.scans.references(scanner.calibration)
        scan = read_scan(
            picture, known, layout, others, characterised, grey, tuple(without), before
        )
    except InputError:
        if overlay is not None:
            save_overlay(overlay, draw(picture, None, ()))
        raise
    _check_same_card(store, scan, picture.facts)
    remarks: list[str | Sentence] = [*grey_words]
    if card is None and known.name.casefold() != file.stem.casefold():
        remarks.append(f"taken for card {known.name}, because no card is named {file.stem}")
    remarks += [
        f"the picture was {each}" for each in improvements(picture, scan.found, scan.samples)
    ]
    if characterised is None:
        remarks.append(
            "no device is characterised: taken as plain sRGB, so colours are far less sure"
        )
    elif device is None and len(store.scanners.all()) > 1:
        remarks.append(
            Sentence(
                f"taken for a picture by {characterised.name}, by its settings; ",
                StudioDo.NAME_DEVICE(),
            )
        )
    remarks += scan.mended
    if scan.scale == "white" and not scan.mended:
        remarks.append("no known grey: the level rests on a typical white, so bands are wide")
    if scan.evened.stray.typical:
        remarks.append("the card shows no stray light of its own: a typical share was taken")
    remarks += early(known, picture.facts.taken)
    for other in store.scans.other_cards(known.name, picture.facts.sha256):
        remarks.append(
            Sentence(
                f"the same picture was read as card {other} before: one of the two is wrong, and "
                "counts until it is undone; ",
                StudioDo.TAKEN_BACK(),
            )
        )
    drawn = draw(picture, scan.found, scan.samples)
    if overlay is not None:
        save_overlay(overlay, drawn)
    return ReadScan(
        scan,
        picture.facts,
        {"grey": grey, "without": list(without)},
        None if scanner is None else scanner.calibration,
        None if characterised is None else characterised.name,
        tuple(remarks),
        drawn,
    )


def known_grey(store: Store, card: Card, said: float | None) -> tuple[float | None, list[str]]:
    """What a card's grey pieces reflect, by what was said now or before, and what to say of it."""
    before = store.scans.grey_of(card.name) if said is None else None
    if before is None:
        return said, []
    return before, [f"the grey pieces were taken to reflect {before:g}, as said before"]


def _meant(store: Store, file: Path, card: str | None) -> Card:
    """The card that a picture is of.

    Raises
    ------
    InputError
        Where none has that name, and several printed here may be meant, or none.
    """
    named = [each for each in store.cards.all() if each.name.casefold() == file.stem.casefold()]
    if card is not None or named:
        return store.cards.find(card or named[0].name)
    printed = [each for each in cards_progress(store) if each.printed]
    waiting = [each for each in printed if not each.read] or printed
    return store.cards.find(waiting[0].name if len(waiting) == 1 else file.stem)


def _check_same_card(store: Store, scan: ScannedCard, facts: Facts) -> None:
    """Refuse a picture that shows another card than those read as this card before.

    Raises
    ------
    InputError
        Where it does.
    """
    card = scan.channels.card
    for before in store.scans.all("fit" if card.purpose == "fit" else "check"):
        if before.card.name != card.name or before.scan_sha256 == facts.sha256:
            continue
        if another_card(scan.channels.labels, scan.lab, before.labels, before.lab):
            raise InputError(
                facts.file,
                f"card {card.name}",
                f"its steps have other colours than in {before.source}, which was read as the same "
                "card: one of the two pictures shows another",
                StudioDo.NAME_ITS_CARD(),
            )


def keep_scan(store: Store, read: ReadScan) -> tuple[int, bool, Path]:
    """Keep a card as read: its number, whether it is new, and where its overlay lies."""
    with store.transaction():
        number, new = store.scans.add(
            read.scan, read.facts, read.asked, read.calibration, read.remarks
        )
        place = overlay_of_scan(store.studio, read.scan.channels.card.name, read.facts.sha256)
        save_overlay(place, read.drawn)
    return number, new, place


def take_picture(store: Store, read: ReadScan) -> tuple[int, Path]:
    """Keep a card as read, as an import of its own: its number, and where its overlay lies."""
    with store.transaction():
        number, new, place = keep_scan(store, read)
        if new:
            store.imports.record([read.facts.file], scans=[number])
    return number, place


def layouts(card: Card) -> tuple[Layout, dict[int, Layout]]:
    """The layout that a card is printed with, and every one there is, by number.

    Raises
    ------
    InputError
        Where the card doesn't say.
    """
    if card.layout is None:
        raise InputError(
            card.file,
            "layout",
            "the card doesn't say what it is printed with",
            f'write layout = "{layout_names()[0]}" or the like',
        )
    every = [read_layout(name) for name in layout_names()]
    return read_layout(card.layout), {layout.number: layout for layout in every}


def early(card: Card, taken: str | None) -> list[str]:
    """Say that a card was read before it should be dry enough; nothing where it wasn't.

    Parameters
    ----------
    taken : str or None
        Day that it was read, ISO 8601; None: today.
    """
    dry = dry_enough(card)
    try:
        day = date.today() if taken is None else date.fromisoformat(taken[:10])
    except ValueError:
        return []
    if dry is None or day >= dry:
        return []
    return [
        f"read on {day}, before about {dry}, when it should be dry enough: paint still sinks and "
        "changes, so read it again once no fingertip drags"
    ]
