"""A thousand forged releases, each hashed and signed anew: is every one told where it is adopted?

Of each kind fifty, drawn anew (``tests/forgeries.py``). A studio that knows the maker's key is asked
to adopt each; and each that readings can speak against is then said to be of a studio that nobody
knows, and a stranger is asked, who has nothing but its readings to go by. Both would adopt the
honest release under the same names, which is tried first.

Forgeries that leave what a fit reads as it was would have the same fit run again and again: what is
fitted twice of the very same input is taken from the first time.
"""

from __future__ import annotations

import hashlib
import pickle
import shutil
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
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

EACH = 1
SEED = 2100
AS = {"HULL": "HULL-2", "ANCHOR": "ANCHOR-2"}


@contextmanager
def _fitted_once() -> Iterator[None]:
    whole, kept = refit.run_fit, dict[str, Any]()

    def once(*inputs: Any) -> Any:
        key = hashlib.sha256(pickle.dumps(inputs)).hexdigest()
        if key not in kept:
            kept[key] = whole(*inputs)
        return kept[key]

    refit.run_fit = once  # type: ignore[assignment]
    try:
        yield
    finally:
        refit.run_fit = whole


def _refused(store: Store, folder: Path) -> bool:
    """Whether a studio refuses a release, and keeps nothing of it."""
    before = len(store.paints.all())
    try:
        adopt(store, folder, rename=AS)
    except InputError:
        return len(store.paints.all()) == before
    return False


@cache
def outcomes() -> tuple[Counter[str], Counter[str]]:
    """Forgeries of each kind that nobody told: where its maker is known, and where nobody is."""
    known, unknown = Counter[str](), Counter[str]()
    with tempfile.TemporaryDirectory() as at, _fitted_once():
        place = Path(at)
        with Store.open(place / "maker") as maker:
            take_in(maker, CARD)
            fit_studio(maker)
            first = publish(maker, force="two cards alone")
            fit_studio(maker)
            second = publish(maker, force="two cards alone")
        for name, honest in (("honest-1", True), ("honest-2", False)):
            with Store.open(place / name) as store:
                if honest:
                    adopt(store, first.archive)
                if _refused(store, second.folder):
                    raise AssertionError("the honest release is refused")
        with Store.open(place / "friend") as friend, Store.open(place / "stranger") as stranger:
            adopt(friend, first.archive)
            for number, kind in enumerate(KINDS):
                for trial in range(EACH):
                    forged = Forged(place / second.name)
                    shutil.copytree(second.folder, forged.folder)
                    KINDS[kind](forged, np.random.default_rng([SEED, number, trial]))
                    seal(forged.folder)
                    known[kind] += not _refused(friend, forged.folder)
                    if kind not in BY_WORD:
                        forged.describe(studio=f"{trial:016x}")
                        seal(forged.folder)
                        unknown[kind] += not _refused(stranger, forged.folder)
                    shutil.rmtree(forged.folder)
    return known, unknown


def _said(missed: Counter[str]) -> float:
    if found := {kind: count for kind, count in missed.items() if count}:
        print(f"not told: {found}")
    return float(missed.total())


@benchmark("trust.forgeries_missed", f"of {EACH * len(KINDS)}", target=0)
def missed() -> float:
    return _said(outcomes()[0])


@benchmark(
    "trust.forgeries_missed_of_unknown_makers",
    f"of {EACH * (len(KINDS) - len(BY_WORD))}",
    target=0,
)
def missed_of_strangers() -> float:
    return _said(outcomes()[1])


@benchmark("trust.false_alarms", f"of {len(RELEASES) - 1} archived releases", target=0)
def false_alarms() -> float:
    """Honest releases of every layout so far against which something is said."""
    kept = [path for path in RELEASES if path.stem != UNSETTLED]
    return float(sum(bool(judge(path).doubts) for path in kept))
