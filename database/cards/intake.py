"""Takes in files of any kind: lists of paints, cards, and readings of cards."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ...calibrate.cards.card import Card
from ...calibrate.cards.card_file import parse_card, read_card
from ...calibrate.errors import InputError, Sentence
from ...calibrate.formats.read import read_spot_ink
from ...calibrate.formats.session import Session
from ...calibrate.formats.spot_ink import SpotInk, card_text
from ...calibrate.instrument.corrections_record import in_words
from ...calibrate.instrument.sitting import Correcting
from ...calibrate.optics.spectra import Flag
from ..common.files import read_text
from ..common.remedies import StudioDo
from ..common.words import few
from ..store.readings import AlreadyReadError
from ..store.store import Store
from .characterising import read_by_known_device
from .scanning import PICTURES, ReadScan, early, keep_scan

_CHOSEN = (("TAKEN", "taken were "), ("LEFT_OUT", "left out "))
"""What a file's header says of the readings in it that were chosen."""


@dataclass(frozen=True)
class TakenIn:
    """What one file was taken for.

    Attributes
    ----------
    kind : {"paints", "card", "readings", "scan"}
    words : str
        What it held.
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
    only: str | None = None,
) -> list[TakenIn]:
    """Add files to a studio, all or none; paints come first, then cards, readings and scans.

    Readings that are there already are left as they are, and said.

    Parameters
    ----------
    card : str, optional
        Name or file of the card that the readings are of; else the one named like their file.
    unit, geometry, specular : str, optional
        Where a file of readings doesn't state them.
    correcting : Correcting, optional
        How to correct readings; without it, by the readings of the black trap that it holds.
    only : str, optional
        Which readings are meant, where a file holds several of one sample that are no repeats.

    Raises
    ------
    InputError
        For the first file that can't be used, and where all of it is there already.
    """
    texts = {path: read_text(path) for path in files if path.suffix.lower() == ".toml"}
    named = Path(card) if card and card.lower().endswith(".toml") else None
    if named is not None:
        texts.setdefault(named, read_text(named))
    said = {"unit": unit, "geometry": geometry, "specular": specular, "only": only}
    spots, sessions = _read(
        [path for path in files if path not in texts and not _is_picture(path)],
        said,
        replace(correcting or Correcting(), earlier=store.readings.earlier_tiles),
    )
    taking = _Taking(store)
    with store.transaction():
        for path, text in texts.items():
            if _lists_paints(text):
                taking.paints(path, text)
        known = [paint.nickname for paint in store.paints.all()]
        for path, text in texts.items():
            if not _lists_paints(text):
                read = read_card(path, known)
                taking.card(read, text, path)
                card = read.name if path == named else card
        for path, ink in spots.items():
            text = card_text(ink, path.stem)
            taking.card(parse_card(text, str(path), known), text, path)
            taking.readings(path.stem, ink.session)
        cards = store.cards.all() if sessions else []
        for session in sessions:
            taking.readings(_card_of(session, card, cards), session)
        for path in filter(_is_picture, files):
            taking.scan(path, card)
        taking.end(files)
    return taking.taken


def _is_picture(path: Path) -> bool:
    return path.suffix.lower() in PICTURES


def _read(
    files: Iterable[Path], said: Mapping[str, str | None], correcting: Correcting
) -> tuple[dict[Path, SpotInk], list[Session]]:
    """Read files of readings: patches of one ink, which bring a card of their own, and others."""
    spots, sessions = dict[Path, SpotInk](), []
    for path in files:
        ink = read_spot_ink(path, **said) if path.suffix.lower() == ".cxf" else None
        if ink is not None:
            spots[path] = ink
        else:
            sessions.append(correcting.read(path, **said))
    return spots, sessions


class _Taking:
    """What a studio takes in at one time: rows are added, and what each file held is noted."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.taken: list[TakenIn] = []
        self._sessions: list[int] = []
        self._versions: list[int] = []
        self._scans: list[int] = []
        self._there: list[AlreadyReadError] = []

    def paints(self, path: Path, text: str) -> None:
        paints = self.store.paints.add_file(text, str(path))
        names = ", ".join(paint.nickname for paint in paints)
        self.taken.append(TakenIn(str(path), "paints", f"{len(paints)} paints: {names}"))

    def card(self, read: Card, text: str, path: Path) -> None:
        outcome = self.store.cards.add(read, text)
        if outcome != "unchanged":
            self._versions.append(self.store.cards.version(read.name))
        self.taken.append(TakenIn(str(path), "card", _card_words(read, outcome), read.name))

    def readings(self, card: str, session: Session) -> None:
        try:
            self._sessions.append(self.store.readings.add(card, session))
        except AlreadyReadError as error:
            self._there.append(error)
            words = f"{error.expected}; left as it is"
            self.taken.append(TakenIn(session.file, "readings", words, card))
        else:
            self.taken.append(_readings_taken(session, self.store.cards.find(card)))

    def scan(self, path: Path, card: str | None) -> None:
        scanned, _ = read_by_known_device(self.store, path, card)
        number, fresh, overlay = keep_scan(self.store, scanned)
        self._scans += [number] if fresh else []
        self.taken.append(_scan_taken(scanned, overlay))

    def end(self, files: Sequence[Path]) -> None:
        """Record the import; refuse one that brings nothing new."""
        new = self._sessions or self._versions or self._scans
        if self._there and not new and all(item.kind != "paints" for item in self.taken):
            raise self._there[0]
        if new:
            repeated = {error.file for error in self._there}
            fresh = [str(path) for path in files if str(path) not in repeated]
            self.store.imports.record(fresh, self._sessions, self._versions, self._scans)


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
    remarks += tuple(f"{w}{session.header[key]}" for key, w in _CHOSEN if key in session.header)
    return TakenIn(session.file, "readings", words, card.name, flags, remarks)
