"""Someone who sits at an instrument that isn't there, and does what the page says."""

from __future__ import annotations

import html
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.rehearsing import emulated
from tintladder.database.cards.sitting_words import place_words
from tintladder.database.care.integrity import check_studio
from tintladder.database.store.store import Store

from .instruments import certificate, quick
from .page_server import Answer, Visitor
from .studio_cards import CARD_TOML, PATCHES, write_all

PROFILE = quick()
AT = "/cards/1/sitting"
PLACES = {place_words(place): place for place in (*PATCHES, "tile/white", "tile/trap")}


def unread_studio(folder: Path) -> Path:
    """A studio with two cards that were never read, and beside it what its user brings."""
    paints, card, _ = write_all(folder)
    (folder / "keel-2.toml").write_text(CARD_TOML.replace("keel-1", "keel-2"))
    with Store.open(folder / "studio") as store:
        take_in(store, [paints, card, folder / "keel-2.toml"])
    (folder / "mine.toml").write_text(PROFILE.text)
    (folder / "tiles.txt").write_text(certificate())
    return folder / "studio"


@contextmanager
def instrument(studio: Path) -> Iterator[tuple[Emulator, str]]:
    with Store.open(studio) as store:
        emulator = emulated(PROFILE, store.cards.find("keel-1"))
    with plugged_in(emulator) as port:
        yield emulator, port


@dataclass
class Sitter:
    """Someone at the page who lays the instrument where it says."""

    page: Visitor
    emulator: Emulator | None
    at: str = AT

    def begin(self, port: str, folder: Path, **fields: str) -> Answer:
        files = [("profile_file", "mine.toml", folder / "mine.toml")]
        if fields.pop("certified", ""):
            files.append(("certificate_file", "tiles.txt", folder / "tiles.txt"))
        return self.page.bring(self.at, {"how": "begin", "address": port, **fields}, files)

    def go_on(self, port: str) -> Answer:
        (number,) = re.findall(r'name="left" value="(\d+)"', self.text)[:1]
        return self.page.send(self.at, {"how": "on", "address": port, "left": number})

    @property
    def text(self) -> str:
        """What the page says, once the instrument has done its work."""
        for _ in range(200):
            answer = self.page.get(self.at)
            assert answer.status == 200, answer.text
            if "data-works" not in answer.text:
                return html.unescape(answer.text)
            time.sleep(0.02)
        raise AssertionError("it is at work for ever")

    @property
    def seen(self) -> str:
        return re.findall(r'name="seen" value="([^"]+)"', self.text)[0]

    def answer(self, answer: str, seen: str | None = None) -> Answer:
        text = self.text
        if self.emulator is not None:
            asked = text[text.index('id="asked"') : text.index('action="')]
            for words, place in PLACES.items():
                if words in asked:
                    self.emulator.under = place
        seen = re.findall(r'name="seen" value="([^"]+)"', text)[0] if seen is None else seen
        return self.page.send(f"{self.at}/answer", {"seen": seen, "answer": answer})

    def all_read(self, most: int = 60) -> str:
        for _ in range(most):
            if 'id="ended"' in (text := self.text):
                return text
            assert self.answer("read").status == 200
        raise AssertionError("it doesn't end")


def kept(studio: Path) -> tuple[int, list[tuple[str, ...]]]:
    """How many sittings are open, and what was read in each session."""
    with Store.open(studio) as store:
        assert not [found for found in check_studio(store) if found.broken]
        return len(store.sittings.open()), [r.spectra.labels for r in store.readings.all()]
