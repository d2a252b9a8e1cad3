"""Rehearses at an instrument that isn't there, in a studio that is gone afterwards."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np

from ...calibrate.cards.card import Card
from ...calibrate.errors import Field, InputError
from ...calibrate.formats.read import read_session
from ...calibrate.formats.session import Session
from ...calibrate.instrument.emulator import Emulator
from ...calibrate.instrument.mishaps import MISHAPS, Mishaps
from ...calibrate.instrument.profile import Profile
from ...calibrate.instrument.progress import BLACK_TRAP, WHITE_TILE
from ...calibrate.instrument.questions import Answer, Question
from ...calibrate.instrument.tiles import PREFIX, tiles_of
from ...calibrate.optics.spectra import Spectra
from ..common.files import copy_database
from ..store.store import Store
from .intake import take_in
from .progress import named_card
from .sitting import way_over

DEMO_CARD = "anchor-blue"
"""The card that is rehearsed with where none is named."""


def emulated(
    profile: Profile,
    card: Card,
    readings: Path | None = None,
    mishaps: Mapping[str, float] | None = None,
    repeats: int = 1,
    certified: Session | None = None,
) -> Emulator:
    """Return an instrument that isn't there, with a card before it.

    Parameters
    ----------
    readings : Path, optional
        What its patches read; else those of a demo card, as near as they fit.
    mishaps : mapping of name to share, optional
    repeats : int
        How often each patch is read, for its script.
    certified : Session, optional
        Certified values of further tiles, one row each: what they read.

    Raises
    ------
    InputError
        For readings that can't be read, or lack a patch of the card.
    """
    with _demo(f"readings/{DEMO_CARD}.txt") as demo:
        known = read_session(readings or demo).spectra
    labels = np.array(known.labels)
    rows = []
    for i, patch in enumerate(card.patches):
        mine = np.flatnonzero(labels == patch)
        if not mine.size and readings is not None:
            raise InputError(
                readings, f"patch {patch}", "it isn't among the readings", "give a whole card's"
            )
        if not mine.size:
            same = [k for k, label in enumerate(labels) if label.endswith(patch.rpartition("/")[2])]
            mine = np.array(same[i % len(same) :][:1])
        rows.append(known.values[mine].mean(axis=0))
    places = list(card.patches)
    for tile in tiles_of(certified).values() if certified is not None else ():
        places.append(f"{PREFIX}{tile.name}")
        rows.append(np.interp(known.wavelengths, tile.wavelengths, tile.values))
    scene = Spectra.from_values(known.wavelengths, np.array(rows), places)
    if profile.by_button:
        raise InputError(
            profile.file,
            "command, measure",
            "it is read by its own button, which nobody can press here",
            "rehearse with another profile",
        )
    calibration = profile.calibration
    tiles = [
        place
        for place, command in ((BLACK_TRAP, "black"), (WHITE_TILE, "white"))
        # Read before it is calibrated and after, where it reads before at all.
        for _ in range(2 if command in profile.commands and not calibration.before_reading else 1)
    ]
    tiles = tiles[:: -1 if calibration.ends_on_white else 1]
    script = [*tiles, *(stop.patch for stop in way_over(card) for _ in range(repeats))]
    return Emulator(profile, scene, Mishaps(mishaps or {}), script=script)


class Hand:
    """Lays an instrument that isn't there where each answer says.

    Parameters
    ----------
    emulator : Emulator
    """

    def __init__(self, emulator: Emulator) -> None:
        self._emulator = emulator
        self._patch = ""

    def answered(self, question: Question, answer: Answer) -> None:
        """Lay it for what is read next."""
        if answer not in ("read", "again") or not question.place:
            return
        place = question.place
        if question.kind == "patch":
            if answer == "again" and question.repeat == 1 and self._patch:
                # Wanted anew is what was read last, not what comes next.
                place = self._patch
            self._patch = place
        self._emulator.under = place


def parse_mishaps(words: Sequence[str]) -> dict[str, float]:
    """Read mishaps as typed, ``NAME=SHARE`` each.

    Raises
    ------
    InputError
        For one that there isn't, or a share that can't be.
    """
    found = {}
    for word in words:
        name, _, share = word.partition("=")
        try:
            found[name] = float(share)
        except ValueError:
            found[name] = -1.0
        if name not in MISHAPS or not 0 <= sum(found.values()) <= 1 or found[name] < 0:
            raise InputError(
                None, Field("mishap"), f"got {word}",
                f"write NAME=SHARE, as in silence=0.05; names: {', '.join(MISHAPS)}",
            )  # fmt: skip
    return found


@contextmanager
def rehearsal(where: Store | None, card: str | None) -> Iterator[tuple[Store, str]]:
    """Open a studio that is gone afterwards: a copy of the user's, or one with a demo card.

    Parameters
    ----------
    where : Store or None
        The user's.
    card : str or None
        A card of it, by name or number; None for the demo's.
    """
    name = DEMO_CARD if where is None or card is None else named_card(where, card)[1].name
    with tempfile.TemporaryDirectory(prefix="tintladder-rehearsal-") as folder:
        source = where.studio.database if where is not None and card is not None else None
        if source is not None:
            copy_database(source, Path(folder) / "studio.db")
        with Store.open(folder) as store:
            if source is None:
                with _demo("paints.toml") as paints, _demo(f"cards/{DEMO_CARD}.toml") as demo:
                    take_in(store, [paints, demo])
            yield store, DEMO_CARD if source is None else name


@contextmanager
def _demo(name: str) -> Iterator[Path]:
    with as_file(files("tintladder.measurements") / "boatyard" / name) as path:
        yield path
