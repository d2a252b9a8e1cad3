"""Instruments that aren't there, for tests: profiles with little patience, and their lines."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

import numpy as np
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator, tile_values
from tintladder.calibrate.instrument.instrument import Instrument
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.mishaps import Mishaps
from tintladder.calibrate.instrument.profile import Profile
from tintladder.calibrate.instrument.profile_file import parse_profile, profile_text
from tintladder.calibrate.optics.spectra import GRID, Spectra

PATIENCE_S = 0.2
"""Short, but longer than a busy machine holds up the thread that answers."""


def quick(name: str = "bare", patience_s: float = PATIENCE_S, /, **changes: str) -> Profile:
    """A shipped profile whose patience is short; changes are ``old=new`` in its text."""
    text, file = profile_text(name)
    text = re.sub(r"timeout_s = \d+\n", f"timeout_s = {patience_s:g}\n", text)
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    return parse_profile(text, file)


def certificate() -> str:
    """Certified values of the emulated instrument's white tile, as CGATS text; invented."""
    nm = np.arange(350.0, 751.0, 10.0)
    values = Spectra.from_values(nm, tile_values(nm)[None], ["white"])
    said = {"unit": "fraction", "geometry": "di:8", "specular": "included"}
    return format_cgats(Session(values, "tiles.txt", "cd" * 32, "CGATS.17 text", **said))


def scene(card: Card, seed: int = 1) -> Spectra:
    """What the patches of a card reflect: smooth, invented, whiter steps brighter."""
    rng = np.random.default_rng(seed)
    share = {"bare": 0.0} | {
        d.step: sum(m for p, m in d.masses.items() if p == d.white) / sum(d.masses.values())
        for d in card.drawdowns
    }
    rows = []
    for patch in card.patches:
        step, _, over = patch.rpartition("/")
        level = 0.15 + 0.5 * share[step] + (0.1 if over == "white" else 0.0)
        if step == "bare":
            level = 0.8 if over == "white" else 0.045
        phase = rng.uniform(0, 6.28)
        rows.append(level * (1 + 0.25 * np.sin(GRID / 60.0 + phase) * (step != "bare")))
    return Spectra.from_values(GRID, np.array(rows), card.patches)


@contextmanager
def emulated(
    profile: Profile,
    readings: Spectra,
    mishaps: Mapping[str, float] | None = None,
    seed: int = 0,
    kind: str = "terminal",
) -> Iterator[tuple[Emulator, Instrument]]:
    """An emulator on a real line, and the instrument as the host sees it."""
    emulator = Emulator(profile, readings, Mishaps(mishaps or {}, seed), seed)
    with plugged_in(emulator, kind) as port:
        line = Line(port, profile.line)
        try:
            yield emulator, Instrument(profile, line)
        finally:
            line.close()
