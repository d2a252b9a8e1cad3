"""Cameras and scanners that were shown no bought target: how true mixes come out.

Painters with six invented paints and a white (`brushed_paints`, seeds of its own) brush a card of
ladders and two cards of five mixtures each, and picture them with devices made of measured cameras
under LED, fluorescent or daylight (`untargeted_cameras`): a driver's matrix, 8 bits, one of five
tone curves, up to 1.2 % of veiling light. Films do not hide; truth is a two-flux film in every
other world and radiative transfer in the rest. Everything goes through the commands that a painter
types. What the painter has:

``ladders``
    One device, the card of ladders, and pieces of a grey card sure to 3 %.
``mixtures``
    And ten mixtures of known parts.
``second``
    The card of ladders alone, and seen by a second device that nobody knows either.
``both``
    Ten mixtures and ladders, seen by both.
``phone``
    A phone that was shown a bought target, and the card of ladders without a grey card.

What is typed: ``device scanner PICTURE --card tubes-1 --grey 0.18 --name first`` (``second``), then
``scan PICTURE --card NAME --device first --grey 0.18``, then ``fit``; with mixtures
``fit --learn all``, and ``fit`` where that is refused. The second device's pictures are typed in
the same way.

Held out are mixes of two to four paints, half of them with white, as films that hide, against the
truth without errors: CIEDE2000, D50 and 2 degrees. What ``predict`` refuses counts as `MISSED`,
lies in no band, and is told on stderr.

``mean``, ``p95``, ``worst``
    Of the differences. ``answered_...`` leaves out what was refused.
``refused``
    Mixes.
``coverage``
    Share of mixes within the band stated for 95 of 100: 90 at least. Too wide a band shows below.
``band_width``
    Mean of those bands over the 95th percentile of the differences.
``preview`` (``ladders`` alone)
    Share of worlds in which ``fit`` says that this is a preview or a first guess.

**No camera reads by a prior that has learnt from it.** While devices are characterised, cards
scanned, paints fitted and mixes predicted, the product's table of what cameras see is one made
without those that read (`untargeted_cameras.left_out`); it differs from world to world.
``left_out_matters`` is the mean CIEDE2000 by which answers change if it doesn't: 0 would say that
nobody heeds it. A lamp is not told to the product.

``untargeted.unseen_...`` are paints of no family without pigments on their labels, other lights,
other cameras' pairs and other seeds. They are run by that name alone, for a final score: nobody
tunes on them, nor looks at them on the way. `untargeted_pictures` has the spoilt pictures.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import Array

from .brushed import MISSED, _predicted
from .brushed_paints import OPTICS, hiding, mixtures
from .harness import benchmark
from .shell import tool
from .untargeted_cameras import left_out
from .untargeted_world import World, devices, paints, parts, read_studio, told, worlds

SEEDS = (5201, 5202, 5203, 5204, 5205)
UNSEEN_SEEDS = (9701, 9702, 9703, 9704, 9705)
MIXTURES = 30
WAYS = ("ladders", "mixtures", "second", "both", "phone")
PREVIEW = ("preview", "first guess")


@dataclass(frozen=True)
class Score:
    """Of some worlds, read one way.

    Attributes
    ----------
    de00, band : (N,) array
        Of each held-out mix; NaN where it was refused.
    found : (N, 3) array
        Its colour as predicted.
    preview : float
        Share of worlds whose fit says that it is one.
    """

    de00: Array
    band: Array
    found: Array
    preview: float

    @property
    def counted(self) -> Array:
        """Differences with what was refused as `MISSED`."""
        return np.where(np.isnan(self.de00), MISSED, self.de00)


def _fitted(world: World, folder: Path, way: str) -> str:
    """Fit, as a painter does; what was said."""
    if way in ("mixtures", "both"):
        said = told(world, "fit --learn all", tool(folder, "fit", "--learn", "all"))
        if not said.status:
            return said.out
    return told(world, "fit", tool(folder, "fit")).out


@cache
def score(world: World, way: str, heeded: bool = True) -> Score:
    """Read, fit and judge one world; not `heeded`, with the cameras in any prior."""
    of, clean = paints(world), read_studio(world, way, heeded)
    mixes = mixtures(of, MIXTURES, world.seed + 7)
    truth = lab(hiding(of, OPTICS[world.optics], np.array([of.shares(m) for m in mixes])))
    de00, band = np.full(len(mixes), np.nan), np.full(len(mixes), np.nan)
    colours, refused = np.full((len(mixes), 3), np.nan), []
    with (
        threadpool_limits(1, "blas"),
        tempfile.TemporaryDirectory() as name,
        left_out(devices(world) if heeded else ()),
    ):
        folder = Path(name) / "studio"
        shutil.copytree(clean, folder)
        words = _fitted(world, folder, way)
        for i, mix in enumerate(mixes):
            if (found := _predicted(folder, mix)) is None:
                refused.append(parts({p: round(g, 1) for p, g in mix.items()}))
                continue
            colours[i], band[i] = found
            de00[i] = float(ciede2000(found[0], truth[i]))
    if refused:
        print(f"  {world.said} {way}: refused {'; '.join(refused)}", file=sys.stderr)
    print(
        f"  {world.said} {way}: mean {np.nanmean(de00):.2f}" if de00.size else "", file=sys.stderr
    )
    return Score(de00, band, colours, float(any(word in words.lower() for word in PREVIEW)))


@cache
def together(way: str, unseen: bool = False) -> Score:
    """All worlds, read one way."""
    found = [score(w, way) for w in worlds(UNSEEN_SEEDS if unseen else SEEDS, unseen)]
    return Score(
        np.concatenate([s.de00 for s in found]),
        np.concatenate([s.band for s in found]),
        np.concatenate([s.found for s in found]),
        float(np.mean([s.preview for s in found])),
    )


def _answered(take: Callable[[Array], float], scored: Score) -> float:
    kept = scored.de00[~np.isnan(scored.de00)]
    return take(kept) if kept.size else float("nan")


def _p95(off: Array) -> float:
    return float(np.percentile(off, 95))


def _mean(off: Array) -> float:
    return float(off.mean())


_FIGURES: Mapping[str, Callable[[Score], float]] = {
    "mean": lambda s: _mean(s.counted),
    "p95": lambda s: _p95(s.counted),
    "worst": lambda s: float(s.counted.max()),
    "answered_mean": lambda s: _answered(_mean, s),
    "answered_p95": lambda s: _answered(_p95, s),
    "refused": lambda s: float(np.isnan(s.de00).sum()),
    "coverage": lambda s: float((s.de00 <= s.band).mean()),
    "band_width": lambda s: float(np.nanmean(s.band) / np.nanpercentile(s.de00, 95)),
}
_TARGETS: Mapping[str, Mapping[str, float]] = {
    "ladders": {"mean": 3.5, "p95": 8.0},
    "mixtures": {"mean": 2.5, "p95": 6.0},
    "second": {},
    "both": {"mean": 1.5, "p95": 3.5},
    "phone": {"mean": 3.5},
}
_ALL = {"refused": 0.0, "coverage": 0.90, "band_width": 1.5}
_UNITS = {
    "refused": f"mixes of {MIXTURES * len(SEEDS)}",
    "coverage": "share of mixes in the band for 95 of 100",
    "band_width": "mean band over the differences' 95th percentile",
}


def _register(way: str, unseen: bool) -> None:
    only = "untargeted.unseen_" if unseen else None
    name, targets = f"{only or 'untargeted.'}{way}", _TARGETS[way] | _ALL
    for figure, take in _FIGURES.items():
        sense = {"sense": "at least"} if figure == "coverage" else {}
        unit = _UNITS.get(figure, "CIEDE2000 of held-out mixes")
        benchmark(f"{name}.{figure}", unit, target=targets.get(figure), only=only, **sense)(
            lambda take=take: take(together(way, unseen))
        )


for _unseen in (False, True):
    for _way in WAYS:
        _register(_way, _unseen)


@benchmark("untargeted.ladders.preview", "share of worlds", target=1.0, sense="at least")
def _preview() -> float:
    return together("ladders").preview


@benchmark("untargeted.left_out_matters", "CIEDE2000, mean", target=0.001, sense="at least")
def _heeded() -> float:
    """Fitted with and without its camera among those that a prior learnt from."""
    world = worlds(SEEDS)[0]
    with_it, without = score(world, "ladders", heeded=False), score(world, "ladders")
    return float(np.nanmean(ciede2000(with_it.found, without.found)))
