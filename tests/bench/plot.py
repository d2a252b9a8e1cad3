"""What pictures take, and the size and opening of the page of two hundred paints."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import time
from functools import cache
from pathlib import Path
from statistics import median

import numpy as np
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.fit.problem.result import PaintFit
from tintladder.database.demo.demo import make_demo
from tintladder.database.paper.report.page import report
from tintladder.database.pictures.figures import tint_figure
from tintladder.database.pictures.films import plot_films
from tintladder.database.pictures.style import new_figure, save
from tintladder.database.releases.load import LoadedRelease, load_release
from tintladder.database.store.store import Store

from tests.many_paints import many_paints

from .harness import Skipped, Timing, benchmark, timed

MANY = 200
_BROWSER = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars", "--window-size=1280,1000",
)  # fmt: skip


@cache
def demo() -> tuple[LoadedRelease, PaintFit, tuple[Card, ...]]:
    with tempfile.TemporaryDirectory() as place:
        made = make_demo(Path(place) / "demo")
        with Store.open(made.folder) as store:
            fit, cards = store.fits.of("ANCHOR"), tuple(store.cards.all())
        return load_release(made.release.archive), fit, cards


def plain(folder: Path) -> None:
    """Save a figure of the same size with five plain axes and as many lines, as it comes."""
    figure = new_figure(11, 13)
    x = np.linspace(0, 1, 36)
    for i in range(5):
        ax = figure.add_subplot(3, 2, i + 1)
        for j in range(14):
            ax.plot(x, x * j, "-o", ms=3)
    figure.savefig(folder / "plain.png", dpi=200)


@benchmark(
    "plot.one_paint_seconds", "s, warm, as PNG of 200 dpi", target=1.5,
    baseline="matplotlib with five plain axes of as many lines, as large", ratio_target=0.5,
)  # fmt: skip
def one_paint() -> Timing:
    _, fit, cards = demo()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        return timed(
            lambda: save(tint_figure(fit, "Anchor Blue", cards), folder / "paint.png"),
            lambda: plain(folder),
            repeats=5,
        )


@benchmark(
    "plot.ten_films_seconds", "s, warm, ten paints from undertone to masstone", target=1.5,
    baseline="matplotlib with five plain axes of as many lines, as large", ratio_target=0.5,
)  # fmt: skip
def ten_films() -> Timing:
    release, _, _ = demo()
    c = release.coefficients
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)

        def draw() -> None:
            figure = plot_films(c, c.paints, {}).get_figure(root=True)
            save(figure, folder / "films.png")

        return timed(draw, lambda: plain(folder), repeats=5)


@cache
def page() -> tuple[bytes, float]:
    """The page of so many paints, and the seconds it took."""
    many = many_paints(demo()[0], MANY)
    start = time.perf_counter()
    made = report(many).encode()
    return made, time.perf_counter() - start


@benchmark("page.report_200_mb", "MB, a report of 200 paints", target=5.0)
def report_mb() -> float:
    return len(page()[0]) / 1e6


@benchmark(
    "page.report_200_seconds", "s, to make a report of 200 paints", target=30.0,
    baseline="twenty times that of ten", ratio_target=0.67,
)  # fmt: skip
def report_seconds() -> Timing:
    report(demo()[0])
    start = time.perf_counter()
    report(demo()[0])
    ten = time.perf_counter() - start
    return Timing(page()[1], 20 * ten)


@benchmark(
    "page.report_200_opens_seconds", "s, from starting a browser to its picture", target=2.0,
    baseline="the same with an empty page", ratio_target=0.4,
)  # fmt: skip
def opens() -> Timing:
    browser = shutil.which("chromium")
    if browser is None:
        raise Skipped("there is no chromium here")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "many.html").write_bytes(page()[0])
        (folder / "empty.html").write_text("<!DOCTYPE html><title>empty</title>", encoding="utf-8")
        seconds: dict[str, list[float]] = {"many": [], "empty": []}
        for i in range(6):
            for name, kept in seconds.items():
                start = time.perf_counter()
                subprocess.run(
                    [
                        browser, *_BROWSER, f"--user-data-dir={folder / f'{name}{i}'}",
                        f"--screenshot={folder / name}.png", (folder / f"{name}.html").as_uri(),
                    ],
                    check=True, capture_output=True, timeout=120,
                )  # fmt: skip
                kept.append(time.perf_counter() - start)
    # The first start of each reads the browser from the disk.
    return Timing(median(seconds["many"][1:]), median(seconds["empty"][1:]))
