"""Pictures of invented paints look as they did: compared by a perceptual hash, with tolerance.

After a change that is meant, look at the pictures and write the new hashes down:
``python -m tests.test_picture_hashes FOLDER`` writes the pictures there and prints the hashes.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import imagehash
import numpy as np
import pytest
from PIL import Image
from tintladder.database.mixing.gamut import gamut
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.recipes import recipes
from tintladder.database.mixing.strengths import rank
from tintladder.database.mixing.target import of_lab
from tintladder.database.pictures.films import plot_contrasts, plot_films
from tintladder.database.pictures.ladders import plot_ladders, plot_strengths
from tintladder.database.pictures.reach import reach_figure
from tintladder.database.pictures.ways import plot_ways

from .invented_palette import invented_coefficients

APART = 12
"""Bits of 256 that may differ: other fonts and renderers move a few, another picture some 100."""
LOOKS = {
    "tints": "f8f06a8fc7873870870f953ab478b4703871c38fc38f638f6387387895329c78",
    "films": "fea03ea085576aa0815f815f6aaa6a2b7aa87aa895579d50855f95577e889555",
    "contrasts": "bbda628267a587e59c42d91e9d7899f193e35b8ed20c37f0a507661f605a2c07",
    "strengths": "9eed8d6d3b429e131e5834c09f847db4817446c9c05b4278c13fe3adc13cf6bc",
    "reach": "bfa69f5cc09bb6d3805149ae49af49a93f2ac0af33e669413fa6b254c4394e21",
    "ways": "bfee6f36c003904ac419c9993f7c3bf498dc37ecc88bc0083b66c89137743769",
}


@cache
def paints() -> Any:
    return invented_coefficients(6)


def _ladders() -> dict[str, str]:
    return {p: "HULL" for p in paints().paints if p != "HULL"}


PICTURES: dict[str, Callable[[], Any]] = {
    "tints": lambda: plot_ladders(paints(), _ladders(), paints().paints, {}),
    "films": lambda: plot_films(paints(), paints().paints, {}),
    "contrasts": lambda: plot_contrasts(paints(), paints().paints, {}),
    "strengths": lambda: plot_strengths(rank(paints(), _ladders())[0], paints(), {}),
    "reach": lambda: reach_figure(gamut(Palette(paints())), paints().paints),
    "ways": lambda: plot_ways(recipes(paints(), of_lab(60, 10, 20), ways=3), Palette(paints()), {}),
}


def drawn(name: str) -> Image.Image:
    made = PICTURES[name]()
    figure = made if hasattr(made, "savefig") else made.get_figure(root=True)
    if figure is not made:
        figure.set_layout_engine("tight")
    held = io.BytesIO()
    figure.savefig(held, format="png", dpi=80)
    return Image.open(held).convert("RGB")


def look(picture: Image.Image) -> imagehash.ImageHash:
    return imagehash.phash(picture, hash_size=16)


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_looks_as_it_did(name):
    apart = look(drawn(name)) - imagehash.hex_to_hash(LOOKS[name])
    assert apart <= APART, f"{name} is {apart} of 256 away from what it was"


def test_a_hash_tells_one_picture_from_another():
    hashes = [imagehash.hex_to_hash(text) for text in LOOKS.values()]
    for i, one in enumerate(hashes):
        assert all(one - other > 3 * APART for other in hashes[:i])


def test_a_hash_sees_a_panel_go_missing():
    whole = drawn("reach")
    pixels = np.array(whole)
    pixels[:, pixels.shape[1] // 2 :] = 255
    assert look(Image.fromarray(pixels)) - look(whole) > APART


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    for each in PICTURES:
        shown = drawn(each)
        shown.save(folder / f"{each}.png")
        print(f'    "{each}": "{look(shown)}",')
