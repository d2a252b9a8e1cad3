"""A thousand forged releases, each hashed and signed anew: is every one told where it is adopted?

Of each kind fifty, drawn anew (``tests/forgeries.py``). What readings can speak against is said to
be of a studio that nobody knows, and a stranger is asked to adopt it, who has nothing to go by but
its readings; the rest is told by who signed it alone, so a studio is asked that knows its maker's
key. Both adopt the honest release under the same names, which is tried first.

Forgeries that leave what a fit reads as it was would have the same fit run again and again: what is
fitted twice of the very same input is taken from the first time.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import pickle
import shutil
import tempfile
from concurrent.futures import ProcessPoolExecutor
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from tintladder.calibrate.errors import InputError
from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases import refit
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.publish import publish
from tintladder.database.releases.trust import judge
from tintladder.database.store.store import Store

from ..archive import CARD, RELEASES
from ..forgeries import BY_WORD, KINDS, Forged, seal
from ..test_archive import UNSETTLED
from .harness import benchmark

EACH = 50
SEED = 2100
AS = {"HULL": "HULL-2", "ANCHOR": "ANCHOR-2"}


def _fitted_once() -> None:
    """From now on, in this process."""
    whole, kept = refit.run_fit, dict[str, Any]()

    def once(*inputs: Any) -> Any:
        key = hashlib.sha256(pickle.dumps(inputs)).hexdigest()
        if key not in kept:
            kept[key] = whole(*inputs)
        return kept[key]

    refit.run_fit = once  # type: ignore[assignment]


def _refused(store: Store, folder: Path) -> bool:
    """Whether a studio refuses a release, and keeps nothing of it."""
    before = len(store.paints.all())
    try:
        adopt(store, folder, rename=AS)
    except InputError:
        return len(store.paints.all()) == before
    return False


def _missed(place: Path, release: str, kinds: list[str]) -> dict[str, int]:
    """Forge a release in a process of its own; how many of each kind nobody told."""
    _fitted_once()
    found = dict.fromkeys(kinds, 0)
    at = Path(tempfile.mkdtemp(dir=place))
    for kind, trial in product(kinds, range(EACH)):
        forged = Forged(at / release)
        shutil.copytree(place / "maker" / "releases" / release, forged.folder)
        KINDS[kind](forged, np.random.default_rng([SEED, list(KINDS).index(kind), trial]))
        if kind not in BY_WORD:
            forged.describe(studio=f"{trial:016x}")
        seal(forged.folder)
        shutil.copytree(place / ("friend" if kind in BY_WORD else "stranger"), at / "studio")
        with Store.open(at / "studio") as store:
            found[kind] += not _refused(store, forged.folder)
        shutil.rmtree(forged.folder)
        shutil.rmtree(at / "studio")
    return found


@benchmark("trust.forgeries_missed", f"of {EACH * len(KINDS)}", target=0)
def missed() -> float:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        with Store.open(place / "maker") as maker:
            take_in(maker, CARD)
            fit_studio(maker)
            first = publish(maker, force="two cards alone")
            fit_studio(maker)
            second = publish(maker, force="two cards alone")
        for name in ("friend", "stranger"):
            with Store.open(place / name) as store:
                if name == "friend":
                    adopt(store, first.archive)
            shutil.copytree(place / name, place / "honest")
            with Store.open(place / "honest") as store:
                if _refused(store, second.folder):
                    raise AssertionError("the honest release is refused")
            shutil.rmtree(place / "honest")
        workers = os.cpu_count() or 1
        with ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool:
            shares = [list(KINDS)[i::workers] for i in range(workers)]
            made = [pool.submit(_missed, place, second.name, kinds) for kinds in shares]
            found = {kind: count for each in made for kind, count in each.result().items()}
    if some := {kind: count for kind, count in found.items() if count}:
        print(f"not told: {some}")
    return float(sum(found.values()))


@benchmark("trust.false_alarms", f"of {len(RELEASES) - 1} archived releases", target=0)
def false_alarms() -> float:
    """Honest releases of every layout so far against which something is said."""
    kept = [path for path in RELEASES if path.stem != UNSETTLED]
    return float(sum(bool(judge(path).doubts) for path in kept))
