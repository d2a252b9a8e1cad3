"""The local page: what its parts take to answer, and to open in a browser."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from tintladder.database.demo.demo import make_demo
from tintladder.database.fits.standing import studio_standing
from tintladder.database.store.store import Store

from tests.page_server import LET_IN, Visitor, serving

from .harness import Skipped, Timing, benchmark, timed

OPENED = ("/", "/cards/1", "/fits", "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&lay=ROPE&lay=PITCH")


@contextmanager
def demo() -> Iterator[tuple[Path, Visitor]]:
    with tempfile.TemporaryDirectory() as place:
        folder = make_demo(Path(place) / "demo").folder
        with serving(folder) as visitor:
            yield folder, visitor


@benchmark(
    "page.answers_seconds", "s, the first page of the demo's studio", target=0.5,
    baseline="what it shows taken from the studio, and no page made of it", ratio_target=0.4,
)  # fmt: skip
def answers() -> Timing:
    with demo() as (folder, visitor):

        def bare() -> None:
            with Store.open(folder, create=False) as store:
                store.paints.all()
                studio_standing(store)

        return timed(lambda: visitor.get("/"), bare, repeats=9)


@benchmark(
    "page.opens_seconds", "s, the slowest of four pages in a browser, its pictures too", target=1.0,
    baseline="the same page kept as a file, without the studio behind it", ratio_target=0.2,
)  # fmt: skip
def opens() -> Timing:
    browser = shutil.which("chromium")
    if browser is None:
        raise Skipped("there is no chromium here")
    from playwright.sync_api import sync_playwright

    with demo() as (folder, visitor), sync_playwright() as made:
        started = made.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        window = started.new_page(viewport={"width": 1280, "height": 900})
        window.context.add_cookies([LET_IN])
        found = []
        for path in OPENED:
            window.goto(visitor.origin + path)
            still = folder / "still.html"
            still.write_text(window.content(), encoding="utf-8")
            ways: dict[str, list[float]] = {visitor.origin + path: [], still.as_uri(): []}
            for _ in range(7):
                for address, kept in ways.items():
                    start = time.perf_counter()
                    window.goto(address)
                    kept.append(time.perf_counter() - start)
            ours, bare = (median(kept) for kept in ways.values())
            found.append(Timing(ours, bare))
        started.close()
    return max(found, key=lambda timing: timing.seconds)
