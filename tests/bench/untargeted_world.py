"""Worlds of the bench `untargeted`: paints, painted cards, cameras, and what the painter types."""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.card_plan import seats
from tintladder.calibrate.cards.layout import Layout, read_layout
from tintladder.calibrate.optics.spectra import GRID, Array

from tests.command import Outcome

from .brushed import STEP_G, _weighed
from .brushed_paints import FAMILIES, OPTICS, WHITE, Box, bare, box, brushed
from .brushed_pictures import COLUMNS, ROWS, values_text
from .shell import tool
from .untargeted_cameras import CURVES, LIGHTS, Camera, camera, cameras, left_out
from .untargeted_render import PLAIN, Spoilt, page_of, save_picture, target_page

GREY_SAID = 0.18
LADDERS = "tubes-1"
_KEPT: list[tempfile.TemporaryDirectory[str]] = []
MIXED = ("mixtures-1", "mixtures-2")
"""Cards of five mixtures each: a sheet has room for six."""


def _folder() -> Path:
    """A folder until the process ends."""
    _KEPT.append(tempfile.TemporaryDirectory(prefix="untargeted-"))
    return Path(_KEPT[-1].name)


@dataclass(frozen=True)
class World:
    """One painter.

    Attributes
    ----------
    seed : int
    optics : str
    cameras : (3,) tuple of str
        Measured ones: of the first and the second device, and of the phone with a target.
    lamps, curves : (3,) tuple of str
    phones : (3,) tuple of bool
    unseen : bool
    """

    seed: int
    optics: str
    cameras: tuple[str, ...]
    lamps: tuple[str, ...]
    curves: tuple[str, ...]
    phones: tuple[bool, ...]
    unseen: bool = False

    @property
    def said(self) -> str:
        """In a line, for whoever looks at the figures."""
        devices = "; ".join(map(", ".join, zip(self.cameras, self.lamps, self.curves, strict=True)))
        return f"{self.seed} {self.optics} ({devices})"


def worlds(seeds: Sequence[int], unseen: bool = False) -> tuple[World, ...]:
    """As many painters as seeds; their cameras go once around the measured ones, and on."""
    known, curves, lamps = sorted(cameras()), list(CURVES), list(LIGHTS)
    rng = np.random.default_rng([*seeds, 0x30D])
    order = [known[i] for i in rng.permutation(len(known))]
    return tuple(
        World(
            seed, ("two_flux", "transport")[i % 2],
            tuple(order[(3 * i + j) % len(order)] for j in range(3)),
            tuple(lamps[(i + j * (1 + i // 3)) % 3] for j in range(3)),
            tuple(curves[(i + 2 * j) % 5] for j in range(3)),
            # A flatbed has a lamp of its own, an LED.
            (lamps[i % 3] != "led", True, True), unseen,
        )
        for i, seed in enumerate(seeds)
    )  # fmt: skip


@cache
def devices(world: World) -> tuple[Camera, ...]:
    """Its first and second device, and the phone that was shown a target."""
    veils = np.random.default_rng([world.seed, 0x7E1]).uniform(0, 0.012, 3)
    return tuple(
        camera(
            ("first", "second", "phone")[i], world.cameras[i], world.lamps[i], world.phones[i],
            world.curves[i], float(veils[i]), world.seed + 31 * i, world.unseen,
        )
        for i in range(3)
    )  # fmt: skip


@cache
def paints(world: World) -> Box:
    """Its box; paints of no family are sold without pigments on their labels, the white apart."""
    of = box(world.seed, world.unseen)
    if not world.unseen:
        return of
    bare_labels = {
        name: label if name == WHITE else label.rsplit(" ", 1)[0]
        for name, label in of.labels.items()
    }
    assert set(bare_labels) <= {*FAMILIES, WHITE}
    return replace(of, labels=bare_labels)


@dataclass(frozen=True)
class Painted:
    """A painted card.

    Attributes
    ----------
    card : Card
    layout : Layout
    over : mapping of ground to (D, nodes, W) array
    """

    card: Card
    layout: Layout
    over: Mapping[str, Array]


def told(world: World, typed: str, said: Outcome) -> Outcome:
    """Print what a command refused, for whoever looks at the figures; what it said."""
    if said.status:
        print(
            f"  {world.said}: {typed}: {' '.join(said.err.split())[:400] or said.out[-400:]}",
            file=sys.stderr,
        )
    return said


def ten_mixtures(of: Box, seed: int) -> list[dict[str, float]]:
    """Mixtures that a painter weighs: two or three tubes in small whole parts, half with white."""
    rng = np.random.default_rng([seed, 0x7E4])
    colours = [p for p in of.paints if p != WHITE]
    found: list[dict[str, float]] = []
    for i in range(10):
        some = [str(p) for p in rng.choice(colours, 2 + i // 2 % 2, replace=False)]
        mix = {p: float(rng.integers(1, 4)) for p in some}
        if i % 2:
            mix[WHITE] = float(rng.integers(3, 9))
        found.append(mix)
    return found


def parts(mix: Mapping[str, float]) -> str:
    """A mix as typed."""
    return ",".join(f"{p}={g:g}" for p, g in mix.items())


@cache
def studio(world: World) -> tuple[Path, Mapping[str, Painted]]:
    """A studio with its tubes, its cards printed, painted and filled in; nothing was read yet."""
    of, folder = paints(world), _folder()
    colours, ten = [p for p in of.paints if p != WHITE], ten_mixtures(of, world.seed)
    typed: list[tuple[object, ...]] = [
        ("tubes", "add", *of.labels.values()),
        ("card", *colours, "--scale", STEP_G, "--name", LADDERS, "--page", "a4"),
    ]
    for name, some in zip(MIXED, (ten[:5], ten[5:]), strict=True):
        asked = [word for mix in some for word in ("--mix", parts(mix))]
        # Printed before any picture is taken, as a painter does who paints for a day.
        typed.append(("card", *asked, "--name", name, "--page", "a5", "--anyway"))
    for each in typed:
        told(world, f"{each[0]} {each[1]}", tool(folder, *each))
    rng, made = np.random.default_rng([world.seed, 0xF11]), {}
    for name in (LADDERS, *MIXED):
        told(world, "card fill", tool(folder, "card", "fill", name, "--as-printed"))
        file = folder / "cards" / f"{name}.toml"
        # Painted long ago, so that what was not dry in time plays no part here.
        text = re.sub(r"(?m)^date = .*$", "date = 2026-05-07", file.read_text(encoding="utf-8"))
        file.write_text(text, encoding="utf-8")
        told(world, "read", tool(folder, "read", file))
        card = read_card(file)
        films = brushed(of, OPTICS[world.optics], _weighed(card, of, rng), rng)
        made[name] = Painted(card, read_layout(card.layout or ""), films)
    return folder, made


def take(
    world: World, name: str, device: Camera, to: Path, spoilt: Spoilt = PLAIN, shot: int = 0
) -> Path:
    """Picture one of a world's cards."""
    folder, made = studio(world)
    painted = made[name]
    at = seats(painted.layout, painted.card)
    films = {
        (at[d.step], ground): painted.over[ground][i]
        for i, d in enumerate(painted.card.drawdowns)
        for ground in d.over
    }
    rng = np.random.default_rng([world.seed, 0x62E])
    # A bought grey card is sure to 3 %, and a little warm or cold.
    grey = GREY_SAID * np.exp(rng.uniform(-0.03, 0.03) + 0.03 * rng.normal() * (GRID - 550) / 170)
    pdf = folder / "cards" / f"{name}.pdf"
    number = (LADDERS, *MIXED).index(name)
    ground = bare(paints(world), OPTICS[world.optics])
    pieces = None if device.name == "phone" else grey
    page = page_of(pdf, painted.layout, films, ground, pieces, device, world.seed + number)
    path = to / f"{name}-{device.name}-{shot}{'.jpg' if device.phone else '.png'}"
    of = [world.seed, number, [d.name for d in devices(world)].index(device.name), shot]
    save_picture(page, device, int(np.random.default_rng(of).integers(2**31)), path, spoilt)
    return path


def _shown_target(world: World, folder: Path, device: Camera) -> None:
    page, corners = target_page(device)
    path = folder / "target.jpg"
    save_picture(page, device, world.seed, path, flat=True)
    (folder / "target.txt").write_text(values_text(), encoding="utf-8")
    typed = (
        "device", "scanner", path, folder / "target.txt", "--name", device.name,
        "--grid", f"{COLUMNS}x{ROWS}", "--corners", corners,
    )  # fmt: skip
    told(world, "device scanner TARGET", tool(folder, *typed))


def _read(world: World, folder: Path, device: Camera, cards: Sequence[str]) -> None:
    """Have a device known by the card of ladders, if it isn't, and read cards with it."""
    for name in cards:
        picture = take(world, name, device, folder)
        grey = ("--grey", GREY_SAID) if device.name != "phone" else ()
        if name == LADDERS and grey:
            typed = ("device", "scanner", picture, "--card", name, "--name", device.name, *grey)
            told(world, f"device scanner --card {name} --name {device.name}", tool(folder, *typed))
        read = tool(folder, "scan", picture, "--card", name, "--device", device.name, *grey)
        told(world, f"scan --card {name} --device {device.name}", read)


@cache
def read_studio(world: World, way: str, heeded: bool = True) -> Path:
    """A studio whose cards were read as a way has them; not `heeded`, by cameras in any prior."""
    folder = _folder() / "studio"
    first, second, phone = devices(world)
    before = {"mixtures": "ladders", "second": "ladders", "both": "mixtures"}.get(way)
    clean = read_studio(world, before, heeded) if before else studio(world)[0]
    shutil.copytree(clean, folder)
    with left_out(devices(world) if heeded else ()):
        match way:
            case "ladders":
                _read(world, folder, first, (LADDERS,))
            case "mixtures":
                _read(world, folder, first, MIXED)
            case "second":
                _read(world, folder, second, (LADDERS,))
            case "both":
                _read(world, folder, second, (LADDERS, *MIXED))
            case "phone":
                _shown_target(world, folder, phone)
                _read(world, folder, phone, (LADDERS,))
            case _:
                raise ValueError(way)
    return folder
