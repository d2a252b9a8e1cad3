"""Thirty spoilt pictures: is a wrong colour ever passed without a word, and are the words true?

Two painters know their device, one by a bought target (``phone``), one by the card's grey alone
(``first``). Each then pictures the first card of mixtures plainly, and fifteen times with something
done to the picture: exposure, white balance, gamma, a contrast curve, glare over half a stroke, an
uneven lamp or a shadow, haze, an enhancement. Each is read with `scan --json` in a studio that has
seen the plain one.

``unflagged``
    Pictures with a patch that is more than 6 (CIEDE2000) off, both from the truth and from what the
    plain picture said of it, while neither the patch has a flag, nor the picture a remark that the
    plain picture hadn't. A refused picture passes nothing.
``wrongly_explained``
    Pictures whose new words (remarks, flags, the line of a refusal without its advice) name causes
    of which none is what was done, or one that cannot come along with it.
``refused``
    Pictures; reported only, since a picture that could be set right is better than none.
``faint_refused``
    Of those with a small change of exposure or white balance, which nobody need repeat.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import Array

from .brushed_paints import NODES
from .harness import benchmark
from .shell import tool
from .untargeted_cameras import Camera, left_out
from .untargeted_render import PLAIN, Spoilt
from .untargeted_world import (
    GREY_SAID,
    MIXED,
    World,
    devices,
    read_studio,
    studio,
    take,
    worlds,
)

SEEDS, UNSEEN_SEEDS = (5301, 5302), (9751, 9752)
MOST_OFF = 6.0
CAUSES: Mapping[str, str] = {
    "exposure": r"expos|brightness|clipp|full-scale",
    "balance": r"white balance|automatic white|colou?r cast",
    "gamma": r"\bgamma",
    "curve": r"contrast|tone curve|\bcurve|tones that no",
    "glare": r"glare|\bshine|reflection|contradict|light on the glass",
    "uneven": r"uneven|shadow|falls off",
    "haze": r"stray|haze|veil|black that came out light",
    "enhanced": r"enhanc|vibran|saturat|vivid",
    "elsewhat": r"mirror|screen|another card|two cards|upside|cut off|finger|other device",
}
"""What words name which cause."""


@dataclass(frozen=True)
class Case:
    """What was done, which words are right, and which may come along.

    `also` holds what follows of itself: a curve moves the level of white too, and a lamp's fall
    takes light from some tones only.
    """

    name: str
    spoilt: Spoilt
    right: frozenset[str]
    also: frozenset[str] = frozenset({"exposure"})
    faint: bool = False
    half: tuple[int, str] | None = None


def _case(name: str, right: str, also: str = "exposure", faint: bool = False, **done: Any) -> Case:
    half = done.pop("half", None)
    return Case(
        name, Spoilt(**done), frozenset(right.split()), frozenset(also.split()), faint, half
    )


_TONES, _LAMP = "exposure gamma curve", "exposure curve glare balance"
CASES: Mapping[str, tuple[Case, ...]] = {
    "phone": (
        _case("exposure 0.5", "exposure", exposure=0.5),
        _case("exposure 0.93", "exposure", faint=True, exposure=0.93),
        _case("exposure 1.35", "exposure", exposure=1.35),
        _case("gamma 1.25", "gamma", _TONES, gamma=1.25),
        _case("gamma 0.8", "gamma", _TONES, gamma=0.8),
        _case("contrast 0.07", "curve", _TONES, contrast=0.07),
        _case("contrast -0.05", "curve", _TONES, contrast=-0.05),
        _case("warm", "balance", balance=(1.1, 1.0, 0.7)),
        _case("a little cool", "balance", faint=True, balance=(0.95, 1.0, 1.05)),
        _case("glare 0.4", "glare", "", glare=0.4, half=(2, "black")),
        _case("glare 0.15", "glare", "", glare=0.15, half=(4, "white")),
        _case("uneven 0.3", "uneven", _LAMP, uneven=0.3),
        _case("shadow 0.4", "uneven", _LAMP, shadow=0.4),
        _case("haze 0.05", "haze", _TONES, haze=0.05),
        _case("vibrance 0.5", "enhanced", "curve balance", vibrance=0.5),
    ),
    "first": (
        _case("exposure 0.65", "exposure", exposure=0.65),
        _case("exposure 1.05", "exposure", faint=True, exposure=1.05),
        _case("exposure 0.25", "exposure", exposure=0.25),
        _case("gamma 1.4", "gamma", _TONES, gamma=1.4),
        _case("gamma 0.9", "gamma", _TONES, gamma=0.9),
        _case("contrast 0.04", "curve", _TONES, contrast=0.04),
        _case("green", "balance", balance=(0.85, 1.0, 0.85)),
        _case("cool and dark", "balance exposure", exposure=0.7, balance=(0.75, 1.0, 1.15)),
        _case("gamma and warm", "gamma balance", _TONES, gamma=1.2, balance=(1.08, 1.0, 0.8)),
        _case("glare 0.6", "glare", "", glare=0.6, half=(1, "white")),
        _case("glare 0.25", "glare", "", glare=0.25, half=(5, "black")),
        _case("uneven 0.18", "uneven", _LAMP, uneven=0.18),
        _case("shadow 0.2", "uneven", _LAMP, shadow=0.2),
        _case("vibrance 0.9", "enhanced", "curve balance", vibrance=0.9),
        _case("vivid", "enhanced curve", _TONES, vibrance=0.5, contrast=0.05),
    ),
}


@dataclass(frozen=True)
class Verdict:
    """Of one picture."""

    unflagged: bool
    wrongly: bool
    refused: bool
    faint: bool


def _placed(world: World, case: Case) -> Spoilt:
    """With glare put over most of the half that it lies on."""
    if case.half is None:
        return case.spoilt
    layout = studio(world)[1][MIXED[0]].layout
    (box,) = (p.box for p in layout.patches if (p.step, p.over) == case.half)
    where = (
        box.x_mm - 1, box.y_mm - 1, box.x_mm + 0.85 * box.width_mm, box.y_mm + box.height_mm + 1
    )  # fmt: skip
    return Spoilt(glare=case.spoilt.glare, where=where)


def _truth(world: World) -> dict[str, Array]:
    """L*, a*, b* of each half as it lies on the card, averaged over its spread."""
    painted = studio(world)[1][MIXED[0]]
    assert painted.over["white"].shape[1] == NODES.size
    return {
        f"{d.step}/{ground}": lab(painted.over[ground][i].mean(axis=0)).reshape(3)
        for i, d in enumerate(painted.card.drawdowns)
        for ground in d.over
    }


def _scan(folder: Path, picture: Path, device: Camera) -> tuple[Any, str]:
    """What `scan --json` says, or None and the line of its refusal."""
    grey = ("--grey", GREY_SAID) if device.name != "phone" else ()
    said = tool(
        folder, "scan", picture, "--card", MIXED[0], "--device", device.name, *grey, "--json"
    )
    return (None, " ".join(said.err.split())) if said.status else (said.json, "")


def _new_words(read: Any, plain: Any) -> list[str]:
    """Remarks and flags that the plain picture hadn't, whatever their figures."""

    def words(of: Any) -> dict[str, str]:
        flags = [f"{p['patch']}: {p['flag']}" for p in of["patches"] if p["flag"]]
        return {re.sub(r"[-+\d.]+", "0", each): each for each in [*of["remarks"], *flags]}

    old = words(plain)
    return [each for key, each in words(read).items() if key not in old]


def _named(words: str) -> set[str]:
    return {cause for cause, said in CAUSES.items() if re.search(said, words.lower())}


def _explained(line: str) -> str:
    """A refusal without its advice, which names what to switch off."""
    return re.split(r"; (?=[^;]*$)", line)[0]


def _judged(world: World, case: Case, folder: Path, device: Camera, plain: Any) -> Verdict:
    shot = 1 + [c.name for c in CASES[device.name]].index(case.name)
    picture = take(world, MIXED[0], device, folder, _placed(world, case), shot)
    read, line = _scan(folder, picture, device)
    if read is None:
        words, worst, unflagged = _explained(line), float("nan"), False
    else:
        new, truth = _new_words(read, plain), _truth(world)
        words = "; ".join(new)
        before = {p["patch"]: p["lab"] for p in plain["patches"]}
        off = {
            p["patch"]: float(
                min(
                    ciede2000(np.array(p["lab"]), truth[p["patch"]]),
                    ciede2000(np.array(p["lab"]), np.array(before[p["patch"]])),
                )
            )
            for p in read["patches"]
            if p["patch"] in truth
        }
        told = {p["patch"] for p in read["patches"] if p["flag"]}
        remarked = any(not re.match(r"\S.*/(black|white): ", each) for each in new)
        worst = max(off.values())
        unflagged = any(v > MOST_OFF for p, v in off.items() if p not in told) and not remarked
    named = _named(words)
    wrongly = bool(named) and (not named & case.right or bool(named - case.right - case.also))
    print(
        f"  {device.name}, {case.name}: {'refused' if read is None else f'worst {worst:.1f}'}"
        f"{', UNFLAGGED' if unflagged else ''}{', WRONGLY EXPLAINED' if wrongly else ''}: "
        f"{(line or words or 'no new word')[:400]}",
        file=sys.stderr,
    )
    return Verdict(unflagged, wrongly, read is None, case.faint)


@cache
def verdicts(unseen: bool = False) -> tuple[Verdict, ...]:
    """All thirty."""
    found: list[Verdict] = []
    painters = worlds(UNSEEN_SEEDS if unseen else SEEDS, unseen)
    for world, (name, cases) in zip(painters, CASES.items(), strict=True):
        (device,) = (d for d in devices(world) if d.name == name)
        clean = read_studio(world, "phone" if name == "phone" else "ladders")
        with (
            threadpool_limits(1, "blas"),
            left_out(devices(world)),
            tempfile.TemporaryDirectory() as there,
        ):
            folder = Path(there) / "studio"
            shutil.copytree(clean, folder)
            plain, line = _scan(folder, take(world, MIXED[0], device, folder, PLAIN), device)
            if plain is None:
                raise RuntimeError(f"the plain picture was refused: {line}")
            found += [_judged(world, case, folder, device, plain) for case in cases]
    return tuple(found)


for _unseen in (False, True):
    _only = "untargeted.unseen_" if _unseen else None
    _name = f"{_only or 'untargeted.'}pictures"
    benchmark(f"{_name}.unflagged", "pictures of 30", target=0.0, only=_only)(
        lambda u=_unseen: float(sum(v.unflagged for v in verdicts(u)))
    )
    benchmark(f"{_name}.wrongly_explained", "pictures of 30", target=0.0, only=_only)(
        lambda u=_unseen: float(sum(v.wrongly for v in verdicts(u)))
    )
    benchmark(f"{_name}.refused", "pictures of 30", only=_only)(
        lambda u=_unseen: float(sum(v.refused for v in verdicts(u)))
    )
    benchmark(f"{_name}.faint_refused", "pictures of 3", target=0.0, only=_only)(
        lambda u=_unseen: float(sum(v.refused and v.faint for v in verdicts(u)))
    )
