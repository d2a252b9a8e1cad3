"""Photographs of the boatyard: scenes of invented paints before an invented phone.

Every shape is painted with a mix of the lab's paints, so that the colour of every spot is known.
``python -m tests.lab.photos FOLDER`` writes the demo's.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.spectra import GRID, Array

from .paints import PAINTS
from .render import PHONE_JPEG, Rendered, _taken, save
from .scans import LAB

SIZE = (640, 440)
SEED, SCENES = 2027, 10
CAMERA = replace(PHONE_JPEG, stray=0.0)
MIXES: dict[str, Mapping[str, float]] = {
    "sky": {"HULL": 9.0, "ANCHOR": 0.8, "ROPE": 0.2},
    "cloud": {"HULL": 9.7, "ROPE": 0.2, "DUSK": 0.02},
    "far water": {"HULL": 6.0, "ANCHOR": 2.4, "STARBOARD": 0.5, "ROPE": 1.1},
    "near water": {"HULL": 2.6, "ANCHOR": 4.2, "STARBOARD": 1.4, "PITCH": 0.3},
    "slip": {"HULL": 5.4, "ROPE": 3.4, "PITCH": 0.22},
    "planks": {"ROPE": 7.0, "HULL": 1.8, "DUSK": 0.15},
    "shed": {"PITCH": 1.0, "ROPE": 2.6, "HULL": 1.6},
    "roof": {"BUOY": 2.6, "ROPE": 5.5, "PITCH": 0.2},
    "topsides": {"HULL": 9.4, "RESIN": 0.1, "ROPE": 0.3},
    "green hull": {"STARBOARD": 2.4, "RESIN": 2.4, "HULL": 4.0},
    "bottom paint": {"BUOY": 6.0, "PITCH": 0.25, "ROPE": 1.5},
    "buoy": {"BUOY": 6.6, "LANTERN": 3.4},
    "lamp": {"LANTERN": 8.5, "HULL": 1.5},
    "pennant": {"PENNANT": 6.0, "HULL": 2.4},
    "weed": {"RESIN": 4.6, "ROPE": 2.4, "PITCH": 0.6},
    "evening": {"HULL": 7.4, "DUSK": 0.5, "BUOY": 0.9},
}
Outline = list[tuple[float, float]]


@dataclass(frozen=True)
class Scene:
    """A scene as painted, and as photographed.

    Attributes
    ----------
    photo : Rendered
    names : (H, W) array of int
        Row of `SURFACES` that is seen at each pixel.
    spots : dict of surface to (x, y)
        The middle of what is seen of each.
    """

    photo: Rendered
    names: np.ndarray
    spots: dict[str, tuple[int, int]]


SURFACES = (*MIXES, "grey", *SUBSTRATES)


@lru_cache(maxsize=1)
def spectra() -> dict[str, Array]:
    """Reflectance, 45:0, of every surface in films that hide; grey and bare bands beside them."""
    dry = np.array(
        [[m.get(n, 0.0) * p.dry_volume for n, p in PAINTS.items()] for m in MIXES.values()]
    )
    dry /= dry.sum(axis=1, keepdims=True)
    seen = LAB.over_card(dry, np.full(len(dry), 3.0), np.zeros(len(dry)))["white"]
    found = dict(zip(MIXES, seen, strict=True))
    return found | {"grey": np.full(GRID.size, 0.18)} | LAB.bare()


def colours() -> dict[str, Array]:
    """CIELAB of every surface, D50/2°."""
    known = spectra()
    return dict(zip(known, lab(np.array(list(known.values()))), strict=True))


def _box(x: float, y: float, wide: float, high: float) -> Outline:
    return [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]


def _outlines(rng: np.random.Generator) -> list[tuple[str, Outline]]:
    """Shapes from back to front, in shares of the picture."""
    shore = float(rng.uniform(0.32, 0.45))
    near = shore + float(rng.uniform(0.1, 0.2))
    top = "evening" if rng.random() < 0.3 else "sky"
    shapes: list[tuple[str, Outline]] = [(top, _box(0, 0, 1, shore))]
    for _ in range(3):
        x, y, w = rng.uniform(0, 0.8), rng.uniform(0.03, shore - 0.12), rng.uniform(0.12, 0.3)
        shapes.append(("cloud", [(x, y + 0.06), (x + w * 0.4, y), (x + w, y + 0.05)]))
    shapes.append(("far water", _box(0, shore, 1, near - shore)))
    ground = str(rng.choice(["near water", "slip", "planks", "weed"]))
    shapes.append((ground, _box(0, near, 1, 1 - near)))
    if rng.random() < 0.7:
        x = float(rng.uniform(0.55, 0.7))
        shapes.append(("shed", _box(x, shore - 0.16, 0.24, 0.24)))
        shapes.append(
            ("roof", [(x - 0.03, shore - 0.15), (x + 0.12, shore - 0.3), (x + 0.27, shore - 0.15)])
        )
    for _ in range(int(rng.integers(1, 4))):
        x, y, w = rng.uniform(0.02, 0.55), rng.uniform(near - 0.05, 0.75), rng.uniform(0.25, 0.42)
        hull = str(
            rng.choice(["topsides", "green hull", "pennant", "lamp"], p=[0.4, 0.3, 0.15, 0.15])
        )
        shapes.append(
            (hull, [(x, y), (x + w, y), (x + 0.85 * w, y + 0.12), (x + 0.12 * w, y + 0.12)])
        )
        keel = [
            (x + 0.12 * w, y + 0.12),
            (x + 0.85 * w, y + 0.12),
            (x + 0.8 * w, y + 0.16),
            (x + 0.16 * w, y + 0.16),
        ]
        shapes.append(("bottom paint", keel))
    for kind in ("buoy", "lamp", "pennant")[: int(rng.integers(1, 4))]:
        x, y = rng.uniform(0.1, 0.9), rng.uniform(near, 0.9)
        shapes.append((kind, _box(x, y, 0.05, 0.07)))
    for i, kind in enumerate(("white", "grey", "black")):
        shapes.append((kind, _box(0.04 + 0.06 * i, 0.88, 0.06, 0.09)))
    return shapes


def scene(number: int) -> Scene:
    """Paint and photograph one of the scenes, in light that is neither neutral nor even."""
    rng = np.random.default_rng([SEED, number])
    width, height = SIZE
    names = np.zeros((height, width), np.uint8)
    for kind, outline in _outlines(rng):
        points = np.round(np.array(outline) * SIZE).astype(np.int32)
        cv2.fillPoly(names, [points], SURFACES.index(kind))
    linear = CAMERA.linear(np.array([spectra()[s] for s in SURFACES])).astype(np.float32)
    page = linear[names]
    strokes = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), 3)
    page *= (1 + 0.03 * strokes / strokes.std())[:, :, None]
    light = rng.uniform(0.6, 0.95) * np.array([rng.uniform(0.88, 1.12), 1, rng.uniform(0.84, 1.16)])
    pixels = _taken(page * light.astype(np.float32), CAMERA, rng, None, np.eye(3), 0)
    return Scene(Rendered(pixels, np.eye(3)), names, _spots(names))


def _spots(names: np.ndarray) -> dict[str, tuple[int, int]]:
    """The pixel of each surface that lies farthest from any other."""
    found = {}
    for i, kind in enumerate(SURFACES):
        inside = np.pad((names == i).astype(np.uint8), 1)
        depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5)[1:-1, 1:-1]
        y, x = np.unravel_index(int(depth.argmax()), depth.shape)
        if depth[y, x] > 6:
            found[kind] = (int(x), int(y))
    return found


DEMO = 3
"""The scene that the demo has."""


def main(folder: str) -> None:
    """Write the demo's photograph under ``folder/boatyard/photos``."""
    to = Path(folder) / "boatyard" / "photos"
    to.mkdir(parents=True, exist_ok=True)
    painted = scene(DEMO)
    save(painted.photo, str(to / "slipway.jpg"), None, quality=85)
    at = "\n".join(f"{name} at {x},{y}" for name, (x, y) in painted.spots.items())
    words = (
        f"Invented: rendered from invented paints, not photographed. In px of slipway.jpg:\n{at}\n"
    )
    (to / "README.txt").write_text(words, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(sys.argv[1])
