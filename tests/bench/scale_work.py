"""What a studio of many paints is asked to do, one piece of work at a time.

``python -m tests.bench.scale_work WORK FOLDER WARM`` does it in a process of its own, first in the
small studio `WARM`, so that libraries are loaded and tables made, and prints what it took there:
seconds of the processor, the most memory, and how much it left on disk.
"""

from __future__ import annotations

import json
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from tintladder.database.store.store import Store
from tintladder.database.store.studio import Studio

from . import scale_paints
from .scale_paints import add_paints, nickname, readings, tube

TARGET = "#7d8f6a"
"""An invented sage green."""
ON_HAND = 30


def fit_all(store: Store, _: Path) -> Any:
    """Fit all paints by both models, and judge them."""
    from tintladder.database.fits.fitting import fit_studio

    return lambda: fit_studio(store)


def joint(store: Store, _: Path) -> Any:
    """The joint fit of all paints by two fluxes, from readings in memory."""
    from tintladder.calibrate.fit.joint import fit_paints

    count = len(store.paints.all())
    read = readings(range(count))
    tubes = {nickname(i): tube(i) for i in range(count)}
    return lambda: fit_paints(read, tubes)


def new_tube(store: Store, _: Path) -> Any:
    """Fit one new tube against all others, by both models."""
    from tintladder.database.fits.fitting import fit_studio

    count = len(store.paints.all())
    add_paints(store, range(scale_paints.SPARE, scale_paints.SPARE + 1))
    assert count < scale_paints.SPARE
    return lambda: fit_studio(store, [nickname(scale_paints.SPARE)])


def publish(store: Store, _: Path) -> Any:
    """Publish all paints."""
    from tintladder.database.releases.publish import publish

    return lambda: publish(store, force="invented")


def _release(store: Store) -> Path:
    from tintladder.database.releases.publish import publish, releases

    return (
        store.studio.releases / releases(store)[-1].name
        if releases(store)
        else publish(store, force="invented").folder
    )


def load(store: Store, _: Path) -> Any:
    """Load a release, and the K and S of all its paints."""
    from tintladder.database.releases.load import load_release

    folder = _release(store)
    return lambda: load_release(folder).coefficients


def verify(store: Store, _: Path) -> Any:
    """Check that a release is as it was published."""
    from tintladder.database.releases.verify import verify_release

    folder = _release(store)
    return lambda: verify_release(folder)


def compare(store: Store, _: Path) -> Any:
    """Say what changed in all paints since a release."""
    from tintladder.database.releases.compare import compare, of_release, of_store
    from tintladder.database.releases.load import load_release

    from .scale_studio import keep_fits

    folder = _release(store)
    keep_fits(store, len(store.paints.all()), 1.1)
    return lambda: compare(of_release(load_release(folder)), of_store(store))


def adopt(store: Store, scratch: Path) -> Any:
    """Adopt a release of all paints into an empty studio."""
    from tintladder.database.releases.adopt import adopt

    folder = _release(store)

    def work() -> None:
        with Store.open(scratch / "other") as other:
            adopt(other, folder)

    return work


def recipe(store: Store, _: Path) -> Any:
    """A recipe of three tubes among all."""
    from tintladder.database.easel.asked_colour import parse_target
    from tintladder.database.easel.recipe import RecipeRequest, recipe_question

    def work() -> None:
        target = parse_target(TARGET, store)
        recipe_question(store, RecipeRequest(target, most=3)).answer()

    return work


def recipe_on_hand(store: Store, scratch: Path) -> Any:
    """A recipe of three tubes among thirty on hand; the others are used up."""
    with store.transaction():
        for i, paint in enumerate(store.paints.all()):
            if 0 < i < len(store.paints.all()) - ON_HAND + 1:
                store.paints.set_on_hand(paint.nickname, False)
    return recipe(store, scratch)


def lists(store: Store, _: Path) -> Any:
    """The page's first parts, each once."""
    from tests.page_server import serving

    def work() -> None:
        with serving(store.studio.folder) as visitor:
            for path in ("/", "/tubes", "/cards", "/fits", "/mix"):
                assert visitor.get(path).status == 200, path

    return work


def check(store: Store, _: Path) -> Any:
    """Check that the studio is whole."""
    from tintladder.database.care.integrity import check_studio

    _release(store)
    return lambda: check_studio(store)


def backup(store: Store, scratch: Path) -> Any:
    """Back the studio up, with a release in it."""
    from tintladder.database.care.backup import back_up

    _release(store)
    return lambda: back_up(Studio.at(store.studio.folder), scratch / "backup.zip")


WORK: dict[str, Callable[[Store, Path], Any]] = {
    each.__name__: each
    for each in (
        fit_all, joint, new_tube, publish, load, verify, compare, adopt, recipe, recipe_on_hand,
        lists, check, backup,
    )
}  # fmt: skip
"""Each makes ready what it needs, and returns what is measured."""


def _done(name: str, folder: Path) -> SimpleNamespace:
    with tempfile.TemporaryDirectory() as place:
        mine = Path(place) / "studio"
        shutil.copytree(folder, mine)
        with Store.open(mine) as store:
            work = WORK[name](store, Path(place))
            before = _size(Path(place))
            start = time.process_time()
            work()
            seconds = time.process_time() - start
        return SimpleNamespace(seconds=seconds, bytes=_size(Path(place)) - before)


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def main(name: str, folder: Path, warm: Path) -> None:
    _done(name, warm)
    made = _done(name, folder)
    # In kB where Linux says it.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(json.dumps({"seconds": made.seconds, "gigabytes": peak, "bytes": made.bytes}))


if __name__ == "__main__":
    main(sys.argv[1], *map(Path, sys.argv[2:]))
