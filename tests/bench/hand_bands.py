"""Bands as stated, with the hand in it: how often what a hand truly mixes lies within them.

A recipe of 10 g for a mixture that the studio read, or for a colour seen, is mixed as printed on a
scale that shows 0.1 g: each weighing errs by up to 0.05 g either way, a tint's as well, and up to
2 % of each amount stays on the knife. The truth is the virtual lab's, of whose paints the demo's
studio was read.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import Surface

from tests.lab.drawdown import Lab
from tests.lab.paints import PAINTS

from .hand_table import Table, apart, targets
from .hand_words import Printed, of_recipe

HIDES_MM = 20.0
HANDS = 4
BATCH_G = 10.0
TINT_G = 5.0


@dataclass(frozen=True)
class Mixed:
    """One mix by one hand: its lightness, its paints, and its difference over the stated band."""

    lightness: float
    paints: tuple[str, ...]
    over_band: float
    words: str


def _by_hand(printed: Printed, rng: np.random.Generator) -> dict[str, float]:
    """Grams of each tube as a hand weighs them."""

    def weigh(g: float) -> float:
        return max(g + float(rng.uniform(-0.05, 0.05)), 0.01) * (1 - float(rng.uniform(0, 0.02)))

    grams: dict[str, float] = {}
    for each in printed.amounts:
        shares = {each.paint: 1.0}
        if each.tinted:
            colour, white, into = printed.tint_of(each)
            # One to ninety-nine is told as a tint of a tint, and mixed so.
            times = max(round(np.log10((colour + white) / colour)), 1)
            strong = TINT_G * (colour / (colour + white)) ** (1 / times)
            for _ in range(times):
                some, more = weigh(strong), weigh(TINT_G - strong)
                shares = {p: some * share / (some + more) for p, share in shares.items()}
                shares[into] = shares.get(into, 0.0) + more / (some + more)
        heap = weigh(each.value)
        for paint, share in shares.items():
            grams[paint] = grams.get(paint, 0.0) + heap * share
    return grams


def true_colours(mixes: list[dict[str, float]], finish: str | None) -> Array:
    """L*, a*, b* of hiding films of the lab's own paints, as read or as seen in gloss, (N, 3).

    As read is di:8 with the mirror reflection in; in gloss the eye sees all but that.
    """
    assert finish in (None, "gloss"), finish
    volumes = np.array([[m.get(n, 0.0) * p.dry_volume for n, p in PAINTS.items()] for m in mixes])
    fractions = volumes / volumes.sum(axis=1, keepdims=True)
    surface = Surface.of("di:8", "excluded" if finish else "included")
    films = Lab(surface=surface).over_card(
        fractions, np.full(len(mixes), HIDES_MM), np.zeros(len(mixes))
    )
    return np.asarray(lab(films["white"]))


@cache
def mixed(seed: int, count: int) -> tuple[Mixed, ...]:
    """Recipes for mixtures read and for colours seen, each mixed by `HANDS` hands."""
    rng, found = np.random.default_rng([seed, 0xB4]), []
    with tempfile.TemporaryDirectory() as name:
        table = Table.laid(Path(name) / "demo")
        steps = [f"mixtures/{s}" for s in _mixtures(table)]
        seen = targets(seed, count)[: count // 2]
        chosen = [*rng.choice(steps, count - len(seen), replace=False), *seen]
        for target in chosen:
            asked = ("recipe", target, "--make", f"{BATCH_G:g}g", "--scale", "0.1")
            said, words = table.asked(*asked), table.run(*asked).out
            ways = [p for p in of_recipe(words, said, table, BATCH_G) if p.face == "recipe"]
            for way, recipe in zip(ways, said["recipes"], strict=True):
                hands = [_by_hand(way, rng) for _ in range(HANDS)]
                # The hand is in the band of what is weighed, not in that of the exact recipe.
                made = recipe["amounts"][0]
                assert made["unit"] == "g", made
                for colour in true_colours(hands, said["viewing"].get("finish")):
                    off = apart(colour, made["lab"])
                    found.append(Mixed(
                        float(colour[0]), tuple(recipe["parts"]), off / made["band_de00"],
                        f"{target}: {off:.2f} off, band {made['band_de00']:.2f}: {way.words}",
                    ))  # fmt: skip
    return tuple(found)


def _mixtures(table: Table) -> list[str]:
    """Steps of the demo's card of mixtures."""
    (file,) = (f for f in (table.folder / "cards").glob("*.toml") if f.stem == "mixtures")
    return [d.step for d in read_card(file).drawdowns]
