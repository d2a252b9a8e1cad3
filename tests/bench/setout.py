"""Benchmarks of setting out: fewest tubes for photographs, how well a photograph's colours hold."""

from __future__ import annotations

import tempfile
import time
from functools import cache
from pathlib import Path

import numpy as np
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.mixing.heap_guess import likely_mixes, outcomes
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.photo import Photo, read_photo, spot
from tintladder.database.mixing.photo_colours import main_colours
from tintladder.database.mixing.search import search
from tintladder.database.mixing.setout import WITHIN
from tintladder.database.mixing.target import Target
from tintladder.database.mixing.tubes.fewest import Fewest, fewest_tubes
from tintladder.database.mixing.viewing import AS_SEEN

from tests.invented_palette import invented_coefficients
from tests.lab import plan
from tests.lab.photos import MIXES, SCENES, colours, scene
from tests.lab.render import save
from tests.opendata.watercolor import Unavailable, load
from tests.opendata.watercolor_fit import WITH_MIXTURES, fit
from tests.opendata.watercolor_recipes import recovered

from .harness import Skipped, Timing, benchmark
from .mixing import by_scipy

TUBES, TIMED = 20, 100


@cache
def palette() -> Palette:
    """The boatyard's ten tubes and ten more, as the eye sees them under gloss."""
    return Palette(AS_SEEN.of(invented_coefficients(TUBES)))


@cache
def photographs(evened: bool = True) -> list[tuple[Photo, dict[str, tuple[int, int]]]]:
    """The ten scenes as read from their files, and where each surface is seen."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(SCENES):
            one = scene(number)
            file = Path(folder) / f"{number}.jpg"
            save(one.photo, str(file), None)
            known = {n: one.spots[n] for n in ("white", "grey", "black")} if evened else {}
            found.append((read_photo(file, **known), one.spots))
    return found


@cache
def set_out() -> tuple[list[tuple[Array, Fewest]], float]:
    """Main colours of every photograph and the fewest tubes for them, and the seconds of one."""
    done, start = [], time.perf_counter()
    for photo, _ in photographs():
        wanted = np.array([c.lab for c in main_colours(photo)])
        # A palette of its own: nothing is kept from one photograph to the next.
        done.append((wanted, fewest_tubes(Palette(palette().coefficients), wanted, WITHIN)))
    return done, (time.perf_counter() - start) / len(done)


def exhaustive(wanted: Array, limit: Array) -> int:
    """Fewest tubes by every one of the 2^20 sets: what a set makes, all that hold it make."""
    able = np.zeros(1 << TUBES, dtype=np.uint16)
    for solved in search(palette(), wanted):
        mask = (1 << solved.tubes).sum(axis=1)
        for t, most in enumerate(limit):
            able[mask[solved.difference[t] <= most + 0.005]] |= np.uint16(1 << t)
    for tube in range(TUBES):
        split = able.reshape(-1, 2, 1 << tube)
        split[:, 1] |= split[:, 0]
    every = np.flatnonzero(able == (1 << len(wanted)) - 1)
    return int(((every[:, None] >> np.arange(TUBES)) & 1).sum(axis=1).min())


@benchmark(
    "mixing.setout_excess", "most tubes above exhaustive search, 10 photographs, 20 tubes",
    target=0.0,
)  # fmt: skip
def setout_excess() -> float:
    return float(
        max(len(f.chosen.tubes) - exhaustive(wanted, f.limit) for wanted, f in set_out()[0])
    )


@benchmark(
    "mixing.setout_seconds", "s for one photograph, 20 tubes, mean of 10", target=20.0,
    baseline="scipy's SLSQP from one start, 100 random sets and colours, scaled",
    ratio_target=300.0,
)  # fmt: skip
def setout_seconds() -> Timing:
    done, seconds = set_out()
    of, rng = palette(), np.random.default_rng(5)
    goals = np.concatenate([wanted for wanted, _ in done])
    every = [row for solved in search(of, goals[:1]) for row in solved.tubes]
    start = time.perf_counter()
    for _ in range(TIMED):
        tubes = every[int(rng.integers(len(every)))]
        goal = goals[int(rng.integers(len(goals)))]
        by_scipy(of, tubes, goal, np.full(len(tubes), 1 / len(tubes)))
    each = (time.perf_counter() - start) / TIMED
    return Timing(seconds, each * len(every) * len(goals) / len(done))


@cache
def seen(evened: bool) -> Array:
    """CIEDE2000 of every spot of the photographs from the paint that it shows."""
    off = []
    for photo, spots in photographs(evened):
        names = [n for n in spots if n in MIXES]
        labs = np.array([spot(photo, spots[n]).lab for n in names])
        off.append(ciede2000(labs, np.array([colours()[n] for n in names])))
    return np.concatenate(off)


for _evened, _name in ((True, "evened"), (False, "as_it_is")):
    benchmark(
        f"mixing.photo_{_name}_p95", "CIEDE2000 that 95 of 100 spots of a photograph are within"
    )(lambda evened=_evened: float(np.quantile(seen(evened), 0.95)))


@cache
def watercolors() -> tuple[Array, Array]:
    """Measured mixtures of two pigments: found or not, and their proportion over the true one."""
    try:
        data = load()
    except Unavailable as reason:
        raise Skipped(str(reason)) from reason
    return recovered(fit(data, data.train, WITH_MIXTURES), data.test)


@benchmark(
    "mixing.watercolor_recovered_share",
    "share of 156 measured watercolor mixtures whose two pigments are among the first three ways",
)
def watercolor_recovered_share() -> float:
    return float(watercolors()[0].mean())


@benchmark("mixing.watercolor_parts_off", "median error of their proportion, as a share of it")
def watercolor_parts_off() -> float:
    return float(np.exp(np.nanmedian(np.abs(np.log(watercolors()[1])))) - 1)


@benchmark(
    "mixing.dab_coverage", "share of heaps that end within the band said of them", target=0.9,
    sense="at least",
)  # fmt: skip
def dab_coverage() -> float:
    """Mixtures known by a photographed dab alone; 4 g of white go on 10 g."""
    of, held = Palette(invented_coefficients(10)), []
    rng = np.random.default_rng(9)
    for mix in plan.random_mixtures(24, 33).values():
        dab = lab_of(of, [mix])[0] + rng.standard_normal(3) * 9.0 / 2.8
        likely = likely_mixes(of, Target("a dab", dab, band=9.0), tuple(mix))
        goal = lab_of(of, [mix])[0]
        heap = {n: 10 * grams / sum(mix.values()) for n, grams in mix.items()}
        heap["HULL"] = heap.get("HULL", 0.0) + 4.0
        _, most = outcomes(of, likely, 10.0, {"HULL": 4.0}, goal)
        held.append(ciede2000(lab_of(of, [heap])[0], goal) <= most)
    return float(np.mean(held))
