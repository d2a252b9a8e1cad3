"""Takes in files of any kind: lists of paints, cards, and readings of cards."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..calibrate.cards.card import Card
from ..calibrate.cards.card_file import read_card
from ..calibrate.errors import InputError
from ..calibrate.formats.read import read_session
from ..calibrate.formats.session import Session
from .store import Store
from .text_file import read_text


@dataclass(frozen=True)
class TakenIn:
    """What one file was taken for.

    Attributes
    ----------
    file : str
    kind : {"paints", "card", "readings"}
    words : str
        What it held.
    card : str or None
    flags : tuple of (patch, wavelength, words)
        What is odd about single values, kept as read.
    """

    file: str
    kind: str
    words: str
    card: str | None = None
    flags: tuple[tuple[str, float, str], ...] = ()


def take_in(
    store: Store,
    files: Sequence[Path],
    card: str | None = None,
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
) -> list[TakenIn]:
    """Add files to a studio, all or none; paints come first, then cards, then readings.

    Parameters
    ----------
    store : Store
    files : sequence of Path
    card : str, optional
        Name or file of the card that the readings are of; else the one named like their file.
    unit, geometry, specular : str, optional
        Where a file of readings doesn't state them.

    Raises
    ------
    InputError
        For the first file that can't be used.
    """
    texts = {path: read_text(path) for path in files if path.suffix.lower() == ".toml"}
    named = Path(card) if card and card.lower().endswith(".toml") else None
    if named is not None:
        texts.setdefault(named, read_text(named))
    sessions = [
        read_session(path, unit=unit, geometry=geometry, specular=specular)
        for path in files
        if path not in texts
    ]
    taken, read_sessions, versions = [], [], []
    with store.transaction():
        for path, text in texts.items():
            if _lists_paints(text):
                paints = store.import_paints(text, str(path))
                names = ", ".join(paint.nickname for paint in paints)
                taken.append(TakenIn(str(path), "paints", f"{len(paints)} paints: {names}"))
        known = [paint.nickname for paint in store.paints()]
        for path, text in texts.items():
            if not _lists_paints(text):
                read = read_card(path, known)
                outcome = store.add_card(read, text)
                if outcome != "unchanged":
                    versions.append(store.card_version(read.name))
                taken.append(TakenIn(str(path), "card", _card_words(read, outcome), read.name))
                if path == named:
                    card = read.name
        cards = store.cards() if sessions else []
        for session in sessions:
            found = _card_of(session, card, cards)
            read_sessions.append(store.add_session(found, session))
            taken.append(_readings_taken(session, found))
        if read_sessions or versions:
            store.record_import([str(path) for path in files], read_sessions, versions)
    return taken


def _lists_paints(text: str) -> bool:
    try:
        return "paint" in (keys := tomllib.loads(text)) and isinstance(keys["paint"], list)
    except tomllib.TOMLDecodeError:
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
    there = ", ".join(card.name for card in cards[:6]) or "none yet"
    raise InputError(
        session.file,
        None,
        f"no card is named {Path(session.file).stem} (cards in the studio: {there})",
        "say which card was read, with --card",
    )


def _card_words(card: Card, outcome: str) -> str:
    held_out = ", held out from every fit" if card.purpose == "check" else ""
    paints = ", ".join(card.paints)
    return f"card {card.name}, {len(card.drawdowns)} drawdowns of {paints}{held_out} ({outcome})"


def _readings_taken(session: Session, card: str) -> TakenIn:
    spectra = session.spectra
    first, last = spectra.wavelengths[[0, -1]]
    wet = "; of wet paint, so no fit takes them" if session.state == "wet" else ""
    words = (
        f"{len(spectra)} readings of {len(set(spectra.labels))} patches of card {card}, "
        f"{session.format}, {session.unit}, {session.geometry} specular {session.specular}, "
        f"{first:g}-{last:g} nm{wet}"
    )
    flags = tuple(
        (patch, wavelength, (flag.name or str(flag.value)).lower().replace("_", " "))
        for patch, wavelength, flag in spectra.flagged()
    )
    return TakenIn(session.file, "readings", words, card, flags)
