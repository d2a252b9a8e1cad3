"""Cards and targets of the boatyard as they lie on an invented scanner.

``python -m tests.lab.scans FOLDER`` writes the demo's.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.card_plan import LadderToPaint, plan_card, seats
from tintladder.calibrate.cards.card_text import card_text
from tintladder.calibrate.cards.label_strength import strength_of
from tintladder.calibrate.cards.layout import Layout, read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.formats.target_values import TargetValues
from tintladder.calibrate.optics.colour import xyz
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Surface

from .drawdown import Lab, paint_card
from .paints import PAINTS, WHITE
from .plan import BALANCE_G
from .render import (
    PHONE_JPEG,
    SCANNER,
    Colours,
    Device,
    Pose,
    Rendered,
    _taken,
    render,
    save,
    strayed,
)

LAB = Lab(points=16, surface=Surface.of("45:0", "excluded"))
COLUMNS, ROWS = 22, 12
_INVENTED = (
    "Invented paints, an invented target, invented scanners and phone: these are rendered, "
    "nothing was painted and nothing scanned."
)
_TINTS = (0, 1, 4, 12, 40)


def ladder(paint: str, name: str = "", layout: str = "quick-a5") -> Card:
    """A quick card: masstone and tints of one paint, and the white alone."""
    drawdowns = []
    for ratio in _TINTS:
        masses = {paint: round(10 / (1 + ratio), 2)}
        if ratio:
            masses[WHITE] = round(10 - masses[paint], 2)
        step = f"{ratio}:1" if ratio else "masstone"
        drawdowns.append(Drawdown(step, paint, masses, white=WHITE, opaque=True))
    drawdowns.append(Drawdown("white", WHITE, {WHITE: 10.0}, white=WHITE, opaque=True))
    name = name or f"{PAINTS[paint].name.lower().replace(' ', '-')}-quick"
    return Card(name, f"{name}.toml", tuple(drawdowns), layout=layout, balance_g=BALANCE_G)


@lru_cache(maxsize=4)
def grey() -> Array:
    """A neutral grey piece, matt, of reflectance 0.2; what is stated of it is exact."""
    return np.full(GRID.size, 0.2)


def painted(card: Card, layout: Layout, seed: int) -> dict[tuple[int, str], Array]:
    """Reflectance 45:0 of every step, by the layout's number, and of the bare card as step 0."""
    rng = np.random.default_rng([seed, 0x5C])
    fractions = paint_card(card, rng).fractions
    thickness = rng.uniform(0.12, 0.22, len(card.drawdowns))
    over = LAB.over_card(fractions, thickness, np.zeros(len(thickness)))
    bare = LAB.bare()
    at = seats(layout, card)
    found = {(0, s): bare[s] for s in SUBSTRATES}
    for i, d in enumerate(card.drawdowns):
        found |= {(at[d.step], s): over[s][i] for s in SUBSTRATES}
    return found


def truth(card: Card, layout: Layout, spectra: dict[tuple[int, str], Array]) -> dict[str, Array]:
    """The same by the labels of patches."""
    names = {number: step for step, number in seats(layout, card).items()} | {0: "bare"}
    return {f"{names[step]}/{over}": r for (step, over), r in spectra.items()}


def _bell(centre: float, width: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((GRID - centre) / width) ** 2))


def target_spectra() -> Array:
    """An invented target on photographic paper: 240 mixtures of three dyes and 24 greys."""
    dyes = np.stack(
        [
            _bell(440, 40),
            _bell(542, 38) + 0.12 * _bell(400, 30),
            _bell(655, 52) + 0.10 * _bell(420, 45),
        ]
    )
    rng = np.random.default_rng(12641)
    amounts = rng.uniform(0, 1.5, (240, 3)) ** 1.6
    amounts[::4, rng.integers(0, 3)] = 0
    amounts[1::4, rng.integers(0, 3)] *= 0.2
    colours = 0.88 * np.exp(-np.log(10) * 0.75 * amounts @ dyes)
    greys = np.repeat(np.geomspace(0.025, 0.88, 24)[:, None], GRID.size, axis=1)
    spectra = np.concatenate([colours, greys]).reshape(ROWS, COLUMNS, -1)
    return spectra.reshape(ROWS * COLUMNS, -1)


def target_values(spectral: bool = True) -> TargetValues:
    """What its data file says."""
    spectra = target_spectra()
    labels = tuple(f"{chr(65 + r)}{c + 1}" for r in range(ROWS) for c in range(COLUMNS))
    return TargetValues(labels, xyz(spectra), spectra if spectral else None, "target.txt", "")


def target_scan(device: Device, seed: int, dpi: float = 150.0) -> tuple[Rendered, Array]:
    """A scan of the target, patches of 6 mm on a grey ground, and its corners in px."""
    rng = np.random.default_rng([seed, 0x7A])
    per_mm = dpi / 25.4
    side, rim = round(6 * per_mm), round(8 * per_mm)
    colours = device.linear(target_spectra()).reshape(ROWS, COLUMNS, 3).astype(np.float32)
    inner = np.repeat(np.repeat(colours, side, axis=0), side, axis=1)
    page = np.full((inner.shape[0] + 2 * rim, inner.shape[1] + 2 * rim, 3), 0.35, np.float32)
    page[rim:-rim, rim:-rim] = inner
    page = strayed(page, device.stray, per_mm)
    pixels = _taken(page, device, rng, None, np.eye(3), 0)
    right, foot = rim + inner.shape[1] - 0.5, rim + inner.shape[0] - 0.5
    edge = rim - 0.5
    corners = np.array([(edge, edge), (right, edge), (right, foot), (edge, foot)])
    return Rendered(pixels, np.eye(3)), corners


@dataclass(frozen=True)
class DemoScan:
    """A scan of the demo: of which paint's card, by what, how it lies."""

    paint: str
    suffix: str
    device: Device
    pose: Pose
    stated_dpi: float | None


DPI = 110.0
DEMO_SCANNER = replace(SCANNER, fine=9, noise=0.0002)
"""Quiet, and of nine true bits: its pictures stay small."""
DEMO = (
    DemoScan("ANCHOR", "png", DEMO_SCANNER, Pose(DPI, turn=1.5), DPI),
    DemoScan("BUOY", "png", replace(DEMO_SCANNER, bits=8), Pose(DPI, turn=182.0), DPI),
    DemoScan("ROPE", "jpg", PHONE_JPEG, Pose(DPI, 88.0, 6.0, 30.0), None),
)
SEED = 2026


def demo_scan(scan: DemoScan, layout: str = "quick-a5") -> tuple[Card, Rendered]:
    """Paint a card of the demo and scan it."""
    card = ladder(scan.paint, layout=layout)
    drawn = read_layout(layout)
    colours = Colours(scan.device, painted(card, drawn, SEED), grey())
    seed = SEED + len(scan.paint)
    return card, render(drawn, colours, scan.device, scan.pose, seed, dirt=0.5, glare=1)


FIRST_TUBES = ("ANCHOR", "ROPE", "BUOY")
"""Tubes of the README's first recipe, in the order in which it names them."""


def first_card() -> Card:
    """The card that the README's first recipe prints, weighed on a 0.1 g scale."""
    layout = read_layout("six-tube-a4-2")
    ladders = [LadderToPaint(paint, strength_of(PAINTS[paint].pigments)) for paint in FIRST_TUBES]
    return plan_card(
        "tubes-1", layout, ladders, WHITE, measure_of("0.1"), densities={}, lots={},
        with_white=True,
    ).card  # fmt: skip


def first_scan() -> Rendered:
    """A scan of it, 8 bit, by the scanner that `target-8.png` shows."""
    card, device = first_card(), replace(DEMO_SCANNER, bits=8)
    layout = read_layout(card.layout or "")
    colours = Colours(device, painted(card, layout, SEED), grey())
    return render(layout, colours, device, Pose(DPI, turn=0.8), SEED, dirt=0.5, glare=1)


def values_text() -> str:
    """The target's data file."""
    known = target_values()
    spectra = Spectra.from_values(GRID, np.round(target_spectra(), 4), known.labels)
    session = Session(
        spectra,
        file="target.txt",
        sha256="",
        format="CGATS.17 text",
        unit="fraction",
        geometry="45:0",
        specular="excluded",
        header={"ORIGINATOR": "Boatyard sign shop (invented)", "DESCRIPTOR": _INVENTED},
    )
    return format_cgats(session, comments=[_INVENTED])


def main(folder: str) -> None:
    """Write the demo's scans under ``folder/boatyard/scans``."""
    to = Path(folder) / "boatyard" / "scans"
    to.mkdir(parents=True, exist_ok=True)
    (to / "target.txt").write_text(values_text(), encoding="utf-8", newline="\n")
    for name, device, dpi in (
        ("target.png", DEMO_SCANNER, DPI),
        ("target-8.png", replace(DEMO_SCANNER, bits=8), DPI),
        ("target-phone.jpg", PHONE_JPEG, None),
    ):
        rendered, corners = target_scan(device, SEED, 60.0)
        save(rendered, str(to / name), dpi)
    for scan in DEMO:
        card, rendered = demo_scan(scan)
        save(rendered, str(to / f"{card.name}.{scan.suffix}"), scan.stated_dpi)
        text = card_text(card, [_INVENTED])
        (to / f"{card.name}.toml").write_text(text, encoding="utf-8", newline="\n")
    save(first_scan(), str(to / "first-card.png"), DPI)
    at = " ".join(f"{x:g},{y:g}" for x, y in corners)
    words = f"{_INVENTED}\nThe target has {COLUMNS}x{ROWS} patches; its corners are at {at} px.\n"
    (to / "README.txt").write_text(words, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1])
