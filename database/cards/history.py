"""What was read of a card, file by file: spectra and scans, and what is odd about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ...calibrate.optics.spectra import Flag, Spectra
from ..store import schema
from ..store.imports import Undone
from ..store.readings import session_of
from ..store.store import Store


@dataclass(frozen=True)
class ReadFile:
    """One file that was read of a card.

    Attributes
    ----------
    added : str
        ISO 8601.
    how : str
        What it is and how it was read, in words.
    undone : bool
        Whether its import was undone, so that nothing takes it.
    number : int
        Of the session or scan, as its import names it.
    flags : tuple of (patch, words)
        What is odd about it; all was kept as read.
    scan : Scan or None
        One of the two.
    """

    file: str
    added: str
    how: str
    undone: bool
    number: int
    flags: tuple[tuple[str, str], ...]
    spectra: Spectra | None = None
    scan: schema.Scan | None = None


def read_of(store: Store, number: int) -> list[ReadFile]:
    """Everything that was read of a card, by its number, the last first."""
    with store.snapshot() as session:
        undone = Undone.of(session)
        found = [_session(r, r.id in undone.sessions) for r in store.readings.rows(card_id=number)]
        found += [_scan(r, r.id in undone.scans) for r in store.scans.rows(card_id=number)]
    return sorted(found, key=lambda each: each.added, reverse=True)


def _session(row: schema.Session, undone: bool) -> ReadFile:
    spectra = session_of(row).spectra
    first, last = spectra.wavelengths[[0, -1]]
    wet = ", of wet paint, so no fit takes it" if row.state == "wet" else ""
    how = (
        f"{len(spectra)} readings, {row.geometry} specular {row.specular}, "
        f"{first:g} to {last:g} nm{wet}"
    )
    return ReadFile(
        row.file, row.added, how, undone, row.id, flag_words(spectra.flagged()), spectra
    )


def _scan(row: schema.Scan, undone: bool) -> ReadFile:
    device = row.calibration.device.name if row.calibration else None
    how = f"{len(row.patches)} patches of a picture at {row.dpi:.0f} dpi, " + (
        f"by {device}" if device else "its device not characterised"
    )
    flags = tuple((patch.patch, patch.flag) for patch in row.patches if patch.flag)
    return ReadFile(row.file, row.added, how, undone, row.id, flags, scan=row)


def flag_words(flagged: Sequence[tuple[str, float, Flag]]) -> tuple[tuple[str, str], ...]:
    """Say flagged values patch by patch: what is odd, and at which wavelengths."""
    found: dict[tuple[str, str], list[float]] = {}
    for patch, wavelength, flag in flagged:
        words = (flag.name or str(flag.value)).lower().replace("_", " ").replace("|", ", ")
        found.setdefault((patch, words), []).append(wavelength)
    return tuple(
        (patch, f"{words} at {_span(wavelengths)} nm")
        for (patch, words), wavelengths in found.items()
    )


def _span(wavelengths: Sequence[float]) -> str:
    if len(wavelengths) < 4:
        return ", ".join(f"{w:g}" for w in wavelengths)
    return f"{len(wavelengths)} wavelengths from {min(wavelengths):g} to {max(wavelengths):g}"
