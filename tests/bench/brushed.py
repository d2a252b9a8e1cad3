"""Quick cards brushed in films that do not hide: how true mixes come out, and who is refused.

A box of six invented paints and a white (`brushed_paints`), none of the virtual lab. Their card is
printed by the command line, weighed on a scale that shows 0.1 g, and brushed: films of 0.1 to
0.3 mm dry, each of one unknown thickness with +-25 % within a patch, masstones included, over black
and over white. It is read three ways: ``spectra``, by a plain spectrophotometer (45:0); ``raw``, by
a flatbed's raw 16 bit colours, characterised by a bought target; ``driver``, by the same flatbed
whose driver applies a colour matrix, clips, and encodes. Optics are a two-flux film, which is not
far from the fit's model, and radiative transfer, which is.

Everything goes through the commands that a painter types; figures come from ``predict --json``.
Held out are mixes of two to four paints, half of them with white, as films that hide, against the
truth without errors: CIEDE2000, D50 and 2 degrees. A mix that ``predict`` refuses counts as
`MISSED`, and lies in no band; ``answered_...`` leaves it out.

``refused``
    Paints of which not even the tint 1:1 is predicted.
``coverage``
    Share of mixes that lie within the band stated for 95 of 100.
``band_width``
    Mean of those bands over the 95th percentile of the differences.

``brushed.unseen_...`` are paints of no family, wider films, another lamp and other seeds. They are
run by that name alone, for a final score: nobody tunes on them, nor looks at them on the way.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.card_plan import seats
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import GRID, Array

from .brushed_paints import OPTICS, WHITE, Box, bare, box, brushed, hiding, mixtures
from .brushed_pictures import COLUMNS, ROWS, flatbed, save_card, save_target, values_text
from .harness import benchmark
from .shell import Outcome, tool

SEEDS = (3101, 3102)
UNSEEN_SEEDS = (9401, 9402, 9403)
MIXTURES = 40
MISSED = 25.0
STEP_G = 0.1
WAYS = ("spectra", "raw", "driver")
NOISE = (0.0005, 0.002)


@dataclass(frozen=True)
class Painted:
    """A painted card: its file, what was brushed and the bare grounds, as `brushed` has them."""

    card: Card
    over: Mapping[str, Array]
    bare: Mapping[str, Array]


@dataclass(frozen=True)
class Score:
    """Of one box, read one way.

    Attributes
    ----------
    de00, band : (N,) array
        Of each held-out mix; NaN where it was refused.
    white : (N,) bool array
        Whether it holds white.
    refused : int
        Paints.
    """

    de00: Array
    band: Array
    white: Array
    refused: int

    @property
    def counted(self) -> Array:
        """Differences with what was refused as `MISSED`."""
        return np.where(np.isnan(self.de00), MISSED, self.de00)


def _told(seed: int, way: str, said: Outcome) -> None:
    """Print what a command refused, for whoever looks at the figures."""
    if said.status:
        print(f"  {seed} {way}: {' '.join(said.err.split())[:300]}", file=sys.stderr)


def _weighed(card: Card, of: Box, rng: np.random.Generator) -> Array:
    """Shares by dry volume as truly mixed, (D, P): each weighing errs by up to half a step."""

    def weigh(grams: float) -> float:
        return grams + float(rng.uniform(-STEP_G / 2, STEP_G / 2))

    pots: dict[str, Array] = {}
    for d in card.drawdowns:
        pot = np.zeros(len(of.paints))
        if d.taken_from is not None:
            assert d.taken_g is not None
            pot += weigh(d.taken_g) * pots[d.taken_from] / pots[d.taken_from].sum()
        for paint, grams in d.masses.items():
            pot[of.paints.index(paint)] += weigh(grams)
        pots[d.step] = pot
    return np.array(
        [of.shares(dict(zip(of.paints, pots[d.step], strict=True))) for d in card.drawdowns]
    )


@cache
def _cards(seed: int, optics: str, unseen: bool) -> tuple[Path, tuple[Painted, ...]]:
    """Add tubes, print their card, fill it in and brush it; a studio to copy, and the cards."""
    of, folder = box(seed, unseen), Path(tempfile.mkdtemp(prefix="brushed-"))
    colours = [p for p in of.paints if p != WHITE]
    for typed in (
        ("tubes", "add", *of.labels.values()),
        ("card", *colours, "--scale", STEP_G),
    ):
        _told(seed, "card", tool(folder, *typed))
    painted = []
    for i, file in enumerate(sorted((folder / "cards").glob("*.toml")), 1):
        _told(seed, "card", tool(folder, "card", "fill", i, "--as-printed"))
        # Painted long ago, so that what was not dry in time plays no part here.
        text = re.sub(r"(?m)^date = .*$", "date = 2026-05-07", file.read_text(encoding="utf-8"))
        file.write_text(text, encoding="utf-8")
        _told(seed, "card", tool(folder, "read", file))
        card, rng = read_card(file), np.random.default_rng([seed, i, 0xB8])
        film = brushed(of, OPTICS[optics], _weighed(card, of, rng), rng)
        painted.append(Painted(card, film, bare(of, OPTICS[optics])))
    return folder, tuple(painted)


def _spectra(painted: Painted, to: Path, rng: np.random.Generator) -> None:
    """Write an instrument's readings: what lies below its aperture, and noise."""
    rows = {f"bare/{name}": values for name, values in painted.bare.items()}
    for i, d in enumerate(painted.card.drawdowns):
        for name in d.over:
            below = rng.dirichlet(np.full(painted.over[name].shape[1], 4.0))
            rows[f"{d.step}/{name}"] = below @ painted.over[name][i]
    lines = ["# geometry: 45:0", "# specular: excluded", "# unit: fraction"]
    lines.append(",".join(["sample", *(f"{nm:g}" for nm in GRID)]))
    for label, row in rows.items():
        noisy = row + (NOISE[0] + NOISE[1] * row) * rng.standard_normal(row.size)
        lines.append(",".join([label, *(f"{v:.5f}" for v in noisy)]))
    to.write_text("\n".join([*lines, ""]), encoding="utf-8")


def _read(folder: Path, made: tuple[Painted, ...], way: str, seed: int, unseen: bool) -> None:
    """Read every card one way, as a painter does."""
    rng = np.random.default_rng([seed, 0x1E])
    device = flatbed(seed, way == "driver", unseen)
    if way != "spectra":
        corners = save_target(device, seed, folder / "target.tif")
        (folder / "target.txt").write_text(values_text(), encoding="utf-8")
        shown = tool(
            folder, "device", "scanner", folder / "target.tif", folder / "target.txt",
            "--name", "flatbed", "--grid", f"{COLUMNS}x{ROWS}", "--corners", corners,
        )  # fmt: skip
        _told(seed, way, shown)
    for painted in made:
        card = painted.card
        if way == "spectra":
            _spectra(painted, folder / f"{card.name}.csv", rng)
            _told(seed, way, tool(folder, "read", folder / f"{card.name}.csv"))
            continue
        layout = read_layout(card.layout or "")
        at = seats(layout, card)
        films = {
            (at[d.step], name): painted.over[name][i]
            for i, d in enumerate(card.drawdowns)
            for name in d.over
        }
        pdf, picture = folder / "cards" / f"{card.name}.pdf", folder / f"{card.name}.tif"
        save_card(pdf, layout, films, painted.bare, device, seed, picture)
        _told(seed, way, tool(folder, "scan", picture, "--card", card.name, "--device", "flatbed"))


def _predicted(folder: Path, mix: Mapping[str, float]) -> tuple[Array, float] | None:
    """L*, a*, b* and its band, of a film that hides."""
    said = tool(folder, "predict", ",".join(f"{p}={g}" for p, g in mix.items()), "--json")
    if said.status:
        return None
    (look,) = (each for each in said.json["looks"] if each["over"] == "opaque")
    return np.array(look["lab"]["D50/2°"]), float(look["band_de00"])


@cache
def score(seed: int, optics: str, way: str, unseen: bool = False) -> Score:
    """Paint, read, fit and judge one box."""
    of = box(seed, unseen)
    with threadpool_limits(1, "blas"), tempfile.TemporaryDirectory() as name:
        clean, made = _cards(seed, optics, unseen)
        folder = Path(name) / "studio"
        shutil.copytree(clean, folder)
        _read(folder, made, way, seed, unseen)
        _told(seed, way, tool(folder, "fit"))
        refused = sum(
            _predicted(folder, {p: 1.0, WHITE: 1.0}) is None for p in of.paints if p != WHITE
        ) + (_predicted(folder, {WHITE: 1.0}) is None)
        mixes = mixtures(of, MIXTURES, seed)
        truth = lab(hiding(of, OPTICS[optics], np.array([of.shares(m) for m in mixes])))
        de00, band = np.full(len(mixes), np.nan), np.full(len(mixes), np.nan)
        for i, mix in enumerate(mixes):
            if (found := _predicted(folder, mix)) is not None:
                de00[i], band[i] = float(ciede2000(found[0], truth[i])), found[1]
    return Score(de00, band, np.array([WHITE in mix for mix in mixes]), refused)


def together(way: str, unseen: bool = False, optics: str | None = None) -> Score:
    """All boxes, read one way, by both optics or by one."""
    found = [
        score(seed, each, way, unseen)
        for each in OPTICS
        if optics in (None, each)
        for seed in (UNSEEN_SEEDS if unseen else SEEDS)
    ]
    return Score(
        np.concatenate([s.de00 for s in found]),
        np.concatenate([s.band for s in found]),
        np.concatenate([s.white for s in found]),
        sum(s.refused for s in found),
    )


def _answered(take: Callable[[Array], float], scored: Score) -> float:
    kept = scored.de00[~np.isnan(scored.de00)]
    return take(kept) if kept.size else float("nan")


def _width(scored: Score) -> float:
    return float(np.nanmean(scored.band) / np.nanpercentile(scored.de00, 95))


_P95: Callable[[Array], float] = lambda off: float(np.percentile(off, 95))  # noqa: E731
_FIGURES: Mapping[str, Callable[[Score], float]] = {
    "mean": lambda s: float(s.counted.mean()),
    "p95": lambda s: _P95(s.counted),
    "worst": lambda s: float(s.counted.max()),
    "without_white_mean": lambda s: float(s.counted[~s.white].mean()),
    "answered_mean": lambda s: _answered(lambda off: float(off.mean()), s),
    "answered_p95": lambda s: _answered(_P95, s),
    "refused": lambda s: s.refused,
    "coverage": lambda s: float((s.de00 <= s.band).mean()),
    "band_width": _width,
}
_TARGETS: Mapping[str, Mapping[str, float]] = {
    "spectra": {"p95": 4.0},
    "raw": {"mean": 2.0, "p95": 4.5, "without_white_mean": 2.5},
    "driver": {"p95": 6.0},
}
_ALL = {"refused": 0.0, "coverage": 0.90, "band_width": 1.5}
_UNITS = {
    "refused": f"paints of {7 * len(SEEDS) * len(OPTICS)}",
    "coverage": "share of mixes in the band for 95 of 100",
    "band_width": "mean band over the differences' 95th percentile",
}


def _register(way: str, unseen: bool) -> None:
    only = "brushed.unseen_" if unseen else None
    name = f"{only or 'brushed.'}{way}"
    targets = _TARGETS[way] | _ALL
    for figure, take in _FIGURES.items():
        sense = {"sense": "at least"} if figure == "coverage" else {}
        unit = _UNITS.get(figure, "CIEDE2000 of held-out mixes")
        benchmark(f"{name}.{figure}", unit, target=targets.get(figure), only=only, **sense)(
            lambda take=take: take(together(way, unseen))
        )
    for optics in OPTICS:
        benchmark(f"{name}.{optics}.mean", "CIEDE2000, one optics", only=only)(
            lambda optics=optics: float(together(way, unseen, optics).counted.mean())
        )


def _over_raw(unseen: bool) -> float:
    return float(together("driver", unseen).counted.mean() - together("raw", unseen).counted.mean())


for _unseen in (False, True):
    for _way in WAYS:
        _register(_way, _unseen)
    benchmark(
        f"brushed.{'unseen_' if _unseen else ''}driver_over_raw", "CIEDE2000, means",
        target=0.5, only="brushed.unseen_" if _unseen else None,
    )(lambda unseen=_unseen: _over_raw(unseen))  # fmt: skip
