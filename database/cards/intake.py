"""Takes in files of any kind: lists of paints, cards, and readings of cards."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...calibrate.cards.card import Card
from ...calibrate.cards.card_file import parse_card, read_card
from ...calibrate.errors import InputError, Sentence
from ...calibrate.formats.read import read_session, read_spot_ink
from ...calibrate.formats.session import Session
from ...calibrate.formats.spot_ink import card_text
from ...calibrate.instrument.corrections_record import in_words
from ...calibrate.instrument.sitting import Correcting
from ...calibrate.optics.spectra import Flag
from ..common.listing import few
from ..common.remedies import StudioDo
from ..common.text_file import read_text
from ..store.readings import AlreadyReadError
from ..store.store import Store
from .characterising import read_by_known_device
from .scanning import PICTURES, ReadScan, early, keep_scan


@dataclass(frozen=True)
class TakenIn:
    """What one file was taken for.

    Attributes
    ----------
    file : str
    kind : {"paints", "card", "readings", "scan"}
    words : str
        What it held.
    card : str or None
    flags : tuple of (patch, wavelength, words)
        What is odd about single values, kept as read.
    remarks : tuple of str or Sentence
        What else is to be known.
    """

    file: str
    kind: str
    words: str
    card: str | None = None
    flags: tuple[tuple[str, float, str], ...] = ()
    remarks: tuple[str | Sentence, ...] = ()


def take_in(
    store: Store,
    files: Sequence[Path],
    card: str | None = None,
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
    correcting: Correcting | None = None,
) -> list[TakenIn]:
    """Add files to a studio, all or none; paints come first, then cards, readings and scans.

    Readings that are there already are left as they are, and said.

    Parameters
    ----------
    store : Store
    files : sequence of Path
    card : str, optional
        Name or file of the card that the readings are of; else the one named like their file.
    unit, geometry, specular : str, optional
        Where a file of readings doesn't state them.
    correcting : Correcting, optional
        How to correct readings; without it, by the readings of the black trap that it holds.

    Raises
    ------
    InputError
        For the first file that can't be used, and where all of it is there already.
    """
    texts = {path: read_text(path) for path in files if path.suffix.lower() == ".toml"}
    named = Path(card) if card and card.lower().endswith(".toml") else None
    if named is not None:
        texts.setdefault(named, read_text(named))
    said = {"unit": unit, "geometry": geometry, "specular": specular}
    spots = {
        path: ink
        for path in files
        if path.suffix.lower() == ".cxf" and (ink := read_spot_ink(path, **said)) is not None
    }
    sessions = [
        read_session(path, **said)
        for path in files
        if path not in texts and path not in spots and path.suffix.lower() not in PICTURES
    ]
    sessions = [(correcting or Correcting())(session) for session in sessions]
    taken, read_sessions, versions, scans = [], list[int](), [], []
    there: list[AlreadyReadError] = []

    def add(name: str, session: Session) -> TakenIn:
        try:
            read_sessions.append(store.readings.add(name, session))
        except AlreadyReadError as error:
            there.append(error)
            return TakenIn(session.file, "readings", f"{error.expected}; left as it is", name)
        return _readings_taken(session, store.cards.find(name))

    with store.transaction():
        for path, text in texts.items():
            if _lists_paints(text):
                paints = store.paints.add_file(text, str(path))
                names = ", ".join(paint.nickname for paint in paints)
                taken.append(TakenIn(str(path), "paints", f"{len(paints)} paints: {names}"))
        known = [paint.nickname for paint in store.paints.all()]
        for path, text in texts.items():
            if not _lists_paints(text):
                read = read_card(path, known)
                outcome = store.cards.add(read, text)
                if outcome != "unchanged":
                    versions.append(store.cards.version(read.name))
                taken.append(TakenIn(str(path), "card", _card_words(read, outcome), read.name))
                if path == named:
                    card = read.name
        for path, ink in spots.items():
            name = path.stem
            text = card_text(ink, name)
            read = parse_card(text, str(path), known)
            outcome = store.cards.add(read, text)
            if outcome != "unchanged":
                versions.append(store.cards.version(name))
            taken.append(TakenIn(str(path), "card", _card_words(read, outcome), name))
            taken.append(add(name, ink.session))
        cards = store.cards.all() if sessions else []
        for session in sessions:
            taken.append(add(_card_of(session, card, cards), session))
        for path in files:
            if path.suffix.lower() in PICTURES:
                scanned, _ = read_by_known_device(store, path, card)
                number, fresh, overlay = keep_scan(store, scanned)
                scans += [number] if fresh else []
                taken.append(_scan_taken(scanned, overlay))
        new = read_sessions or versions or scans
        if there and not new and all(item.kind != "paints" for item in taken):
            raise there[0]
        if new:
            repeated = {error.file for error in there}
            fresh_files = [str(path) for path in files if str(path) not in repeated]
            store.imports.record(fresh_files, read_sessions, versions, scans)
    return taken


def _lists_paints(text: str) -> bool:
    try:
        return "paint" in (keys := tomllib.loads(text)) and isinstance(keys["paint"], list)
    except (ValueError, RecursionError):  # whoever reads it says what is wrong
        return False


def _card_of(session: Session, wanted: str | None, cards: Sequence[Card]) -> str:
    if wanted is not None:
        return wanted
    stem = Path(session.file).stem.casefold()
    for names in ([card.name for card in cards], [Path(card.file).stem for card in cards]):
        found = [
            card.name for card, name in zip(cards, names, strict=True) if name.casefold() == stem
        ]
        if len(found) == 1:
            return found[0]
    there = few([card.name for card in cards]) or "none yet"
    raise InputError(
        session.file,
        None,
        f"no card is named {Path(session.file).stem} (cards in the studio: {there})",
        StudioDo.SAY_CARD(),
    )


def _card_words(card: Card, outcome: str) -> str:
    held_out = ", held out from every fit" if card.purpose == "check" else ""
    paints = ", ".join(card.paints)
    return f"card {card.name}, {len(card.drawdowns)} drawdowns of {paints}{held_out} ({outcome})"


def _scan_taken(read: ReadScan, overlay: Path) -> TakenIn:
    scan = read.scan
    by = read.device or "a device that isn't characterised"
    words = (
        f"scan of card {scan.channels.card.name} by {by}, {len(scan.channels.labels)} patches "
        f"read; look at what was read where: {overlay}"
    )
    odd = [f"{patch}: {said}" for patch, said in scan.flags]
    remarks = (*odd, *read.remarks)
    return TakenIn(read.facts.file, "scan", words, scan.channels.card.name, remarks=remarks)


def _readings_taken(session: Session, card: Card) -> TakenIn:
    spectra = session.spectra
    first, last = spectra.wavelengths[[0, -1]]
    wet = "; of wet paint, so no fit takes them" if session.state == "wet" else ""
    words = (
        f"{len(spectra)} readings of {len(set(spectra.labels))} patches of card {card.name}, "
        f"{session.format}, {session.unit}, {session.geometry} specular {session.specular}, "
        f"{first:g}-{last:g} nm{wet}"
    )
    flags = tuple(
        (patch, wavelength, (flag.name or str(flag.value)).lower().replace("_", " "))
        for patch, wavelength, flag in spectra.flagged()
        if flag != Flag.OUTLYING  # said once a reading, by the corrections
    )
    remarks = tuple(early(card, session.date)) if session.state == "dry" else ()
    remarks += in_words(session.corrections)
    return TakenIn(session.file, "readings", words, card.name, flags, remarks)
