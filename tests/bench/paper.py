"""Papers and pictures as a painter holds them: type, room, facts, bands, and one colour a tube.

All is read back from the files that the commands write. A file that could not be made counts as a
fault of each kind.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pymupdf
from PIL import Image
from scipy.spatial import KDTree
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.viewing import AS_SEEN
from tintladder.database.pictures.of_studio import drawn
from tintladder.database.store.store import Store

from .harness import benchmark
from .paper_colours import TUBES
from .paper_made import (
    COUNTS,
    FORTY,
    ONE,
    SOLE,
    TEN,
    Output,
    handout,
    pictures,
    place,
    printed,
    report_page,
    report_printed,
    studio,
)
from .paper_text import clipped, full, overlapping, overlaps_in_a_window, text_of, words
from .shell import tool

_SMALL_PT = 7.0
_MIXES = 100_000
_SHOWN = 12
"""So many tubes are named on what shows them; of more the source alone is asked for."""


def every() -> list[Output]:
    """All that is read back from PDF."""
    reports = [Output("report", tubes, report_printed(tubes)) for tubes in COUNTS]
    return [*printed(), *pictures(".pdf"), *reports]


def faults(of: Callable[[Path], list[str]], name: str) -> int:
    """How many faults of a kind all files have; each is printed once."""
    count = 0
    for output in every():
        found = [output.why or "not made"] if output.file is None else of(output.file)
        count += len(found)
        if found:
            print(f"{name}: {output.kind}, {output.tubes} tubes: {len(found)}: {found[:4]}")
    return count


@benchmark("paper.clipped_words", "runs of text cut short or off their page", target=0)
def clipped_words() -> float:
    return faults(clipped, "clipped")


@benchmark("paper.overlapping_words", "pairs of runs of text on each other", target=0)
def overlapping_words() -> float:
    return faults(overlapping, "overlapping")


@benchmark("paper.smallest_type_pt", "pt, on A4", target=_SMALL_PT, sense="at least")
def smallest_type() -> float:
    least = np.inf
    for output in every():
        sizes = [0.0] if output.file is None else [w.size for w in words(output.file)]
        # Sizes come back rounded to a few digits.
        size = round(min(sizes), 2)
        if size < _SMALL_PT:
            print(f"type: {output.kind}, {output.tubes} tubes: {size} {output.why}")
        least = min(least, size)
    return least


@benchmark("paper.report_pages", "pages of A4, a report of ten paints", target=13)
def report_pages() -> float:
    return len(full(report_printed(TEN)))


@benchmark(
    "paper.report_emptiest_page", "share of the page, reports of 1, 10 and 40 paints",
    target=0.25, sense="at least",
)  # fmt: skip
def emptiest() -> float:
    shares = {tubes: full(report_printed(tubes)) for tubes in COUNTS}
    for tubes, found in shares.items():
        print(f"report of {tubes}: {len(found)} pages, {[round(x, 2) for x in found]}")
    return min(min(found) for found in shares.values())


@benchmark("paper.overlaps_at_320_px", "pairs of runs on each other, reports and handout", target=0)
def overlaps_on_a_phone() -> float:
    count = 0
    for file in (*map(report_page, COUNTS), handout()):
        found = overlaps_in_a_window(file, 320)
        count += len(found)
        if found:
            print(f"320 px: {file.name}: {len(found)}: {found[:5]}")
    return count


def _facts(output: Output) -> Iterator[tuple[str, bool]]:
    """Each fact that an output must carry, and whether it does."""
    text = "" if output.file is None else text_of(output.file)
    with Store.open(studio(min(output.tubes, FORTY))) as store:
        tubes = {paint.nickname: paint for paint in store.paints.all()}
    named = [SOLE] if output.tubes == ONE or output.kind == "leftover" else list(tubes)
    if output.kind.startswith("triangle"):
        named = ["ROPE", "ANCHOR", "PENNANT"]
    if output.kind.startswith("chart") and output.tubes == ONE:
        named = [SOLE, "ROPE"]
    if not output.kind.startswith(("setout", "ways", "chart")) and len(named) <= _SHOWN:
        yield "names", all(tubes[p].name in text for p in named)
        lots = [tubes[p].current_lot.lot for p in named if tubes[p].current_lot is not None]
        yield "lots", all(re.search(rf"\b{re.escape(lot)}\b", text) is not None for lot in lots)
    yield "source", bool(re.search(r"[Rr]elease \S*\d|[Ff]its? \d+", text))
    yield "model", "radiative-transfer model" in text or "two-flux" in text
    yield "light and observer", bool(re.search(r"(D50|D65|A)/(2|10)°", text))
    yield "seen or read", bool(re.search(r"as the eye sees|as an instrument of geometry", text))
    yield "finish", bool(re.search(r"\b(gloss|satin|matt)\b", text))
    yield "film", bool(re.search(r"films? that hides?|µm", text))
    yield "date", bool(re.search(r"\b20\d\d-\d\d-\d\d\b", text))
    yield "uncertainty", bool(re.search(r"95( %| of 100)", text))


@benchmark(
    "paper.records_carried", "share of the facts that every output must carry", target=1.0,
    sense="at least",
)  # fmt: skip
def records() -> float:
    said = []
    for output in every():
        facts = list(_facts(output))
        missing = [name for name, there in facts if not there]
        said += [there for _, there in facts]
        if missing:
            print(f"record: {output.kind}, {output.tubes} tubes lacks {missing}")
    return float(np.mean(said))


def _bands(file: Path) -> int:
    tree = ElementTree.parse(file)
    ids = [e.get("id", "") for e in tree.iter()] + [e.get("class", "") for e in tree.iter()]
    return sum(1 for each in ids if each.startswith("band"))


@benchmark("paper.bands_missing", "95 % bands that a picture or the report doesn't draw", target=0)
def bands_missing() -> float:
    missing = 0
    for output in pictures(".svg"):
        alone = output.tubes == ONE
        wanted = {
            "tint": 2 if alone else output.tubes - output.tubes // TEN,
            "hiding": 1 if alone else output.tubes,
            "strength": 1 if alone else output.tubes - output.tubes // TEN - 1,
            "film": 1 if alone else output.tubes,
            "leftover": 1,
        }.get(output.kind, 0)
        found = 0 if output.file is None else _bands(output.file)
        if found < wanted or output.file is None:
            print(f"bands: {output.kind}, {output.tubes} tubes: {found} of {wanted} {output.why}")
        missing += max(wanted - found, int(output.file is None))
    text = report_page(TEN).read_text(encoding="utf-8")
    for of, wanted in (("strength", 9), ("coats", 10), ("hue", 9)):
        found = len(re.findall(rf'class="band band-{of}', text))
        if found < wanted:
            print(f"bands: report, {of}: {found} of {wanted}")
        missing += max(wanted - found, 0)
    return missing


@benchmark("paper.tagged", "share of files that say which colours they hold", target=1.0,
           sense="at least")  # fmt: skip
def tagged() -> float:
    said = []
    for output in pictures(".png"):
        there = False
        if output.file is not None:
            with Image.open(output.file) as opened:
                there = bool(opened.info.get("icc_profile")) or "srgb" in opened.info
        said.append(there)
    for output in (*printed(), *pictures(".pdf")):
        there = output.file is not None and b"/OutputIntent" in _unpacked(output.file)
        said.append(there)
    return float(np.mean(said))


def _unpacked(file: Path) -> bytes:
    with pymupdf.open(file) as document:
        return b"".join(document.xref_object(i).encode() for i in range(1, document.xref_length()))


@benchmark("paper.finer_than_the_scale", "amounts in grams that a scale of 0.1 g can't show",
           target=0)  # fmt: skip
def finer() -> float:
    texts = [text_of(o.file) for o in printed() if o.kind == "setout a4" and o.file is not None]
    texts += [text_of(o.file) for o in pictures(".pdf") if o.kind == "ways" and o.file is not None]
    page = handout().read_text(encoding="utf-8")
    texts += [f"{x} g" for x in re.findall(r'data-digits="\d">([\d.]+)</td>', page)[0::2]]
    fine = [x for t in texts for x in re.findall(r"(\d+\.\d{2,}) ?g\b", t)]
    if fine:
        print(f"finer: {fine[:8]}")
    return len(fine)


def _skin(figure: object) -> Array:
    """The outline that a picture of reach draws, a* and b* (N, 2); empty where it draws none."""
    lines = [line for ax in figure.axes for line in ax.lines if line.get_gid() == "skin"]  # type: ignore[attr-defined]
    points = np.concatenate([np.zeros((0, 2)), *(np.asarray(line.get_xydata()) for line in lines)])
    if len(points) < 2:
        return np.zeros((0, 2))
    ends = np.concatenate([np.linspace(a, b, 12) for a, b in pairwise(points)])
    return np.asarray(ends[np.isfinite(ends).all(axis=1)])


def _mixable(palette: Palette, rng: np.random.Generator) -> KDTree:
    """Mixes of each three tubes, a* and b*, thick along the edges: random ones of many tubes at
    once leave out most of what two or three come to."""
    count, found = len(palette.paints), []
    every = list(combinations(range(count), min(3, count)))
    for some in every:
        counted = np.zeros((max(_MIXES // len(every), _MIXES // 50), count))
        counted[:, some] = rng.dirichlet(np.full(len(some), 0.35), len(counted))
        found.append(palette.lab(counted / palette.strength)[:, 1:])
    return KDTree(np.concatenate(found))


@benchmark(
    "paper.reach_beyond_any_mix", "CIELAB from the outline to the nearest mix, worst", target=2.0
)
def reach_beyond() -> float:
    worst, rng = 0.0, np.random.default_rng(19)
    with Store.open(studio(TEN)) as store:
        every = tuple(paint.nickname for paint in store.paints.all())
        for tubes in (("ROPE",), ("ROPE", "HULL"), ("ANCHOR", "HULL", "LANTERN"), TUBES, every):
            figure, _ = drawn(store, list(tubes), "reach")
            skin = _skin(figure)
            if len(skin):
                palette = Palette(AS_SEEN.of(store.fits.coefficients(list(tubes))))
                off = float(_mixable(palette, rng).query(skin)[0].max())
                print(f"reach: {len(tubes)} tubes: {off:.1f}")
                worst = max(worst, off)
    return worst


@benchmark("paper.thin_film_of_a_recipe", "µm that the picture's film is off the recipe's",
           target=0)  # fmt: skip
def thin_film() -> float:
    file = place() / "glaze.pdf"
    tool(studio(TEN), "recipe", "70,-25,-5", "--thickness", "20", "--picture", file)
    if not file.exists():
        tool(studio(TEN), "recipe", "70,-25,-5", "--thickness", "20", "--picture",
             file.with_suffix(".svg"))  # fmt: skip
        return np.inf
    films = [float(um) for um in re.findall(r"(\d+) µm", text_of(file))]
    return max((abs(um - 20) for um in films), default=np.inf)


@benchmark("paper.strength_of_another", "paints that a strength asked of one answers of", target=0)
def strength_of_another() -> float:
    said = tool(
        studio(TEN), "plot", SOLE, "--show", "strength", "--out", place() / "s.svg", "--json"
    )
    return 0 if said.json["sentence"].startswith("Anchor Blue") else 1
