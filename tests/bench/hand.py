"""Whether right answers reach the hand: what is printed, mixed as it stands, read back, and spoilt.

Everything is asked of the demo's studio through its commands, and of its page. Each face's amounts
are parsed back as they stand there, a tint as a tint only where it is called one, mixed literally
(`predict` of exact amounts is the judge), and held against the colour that the face claims.
CIEDE2000, D50 and 2 degrees. Whatever fails is printed to stderr, one example of each kind.

``printed.FACE.share_off``, ``.worst``
    Mixes that land more than 0.5 farther from their aim than claimed beside them; the farthest.
``printed.tints_unlabelled``
    Amounts that are right only if they are of a 1:9 tint, which nobody says.
``printed.sums_off``
    Mixes whose grams don't add up to what was asked within a step of the scale, unsaid.
``printed.finer_than_scale``
    Share of printed grams finer than the scale that the studio was told of.
``paper.FACE.share_off``, ``.worst``
    Squares whose printed colour lies more than 0.5 from the mix that their words say.
``read_back.share_off``, ``.worst``
    Colours and heaps that one command prints, as another reads them: more than 0.3 apart.
``plates.within_1``, ``.p95``, ``.paint``, ``.believed``
    Spoilt plates brought back (`hand_plate`): share that ends within 1.0, 95th percentile of the
    end, 95th percentile of paint used over the ideal, and share whose end `next` knew within 1.0.
``bands....``
    Share of what hands truly mixed that lies within the stated band (`hand_bands`).
``faults``
    Things that should simply work, of those in `hand_habits`, and don't.

``hand.unseen_...`` are other seeds, run by that name alone, for a final score.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pymupdf

from tests.golden import first, text_of
from tests.page_server import serving

from .hand_bands import Mixed, mixed
from .hand_habits import faults
from .hand_paper import OnPaper, hex_lab, of_chart, of_labels, of_pots
from .hand_plate import End, plates
from .hand_table import SCALE_G, Table, apart, targets
from .hand_words import (
    NEAR,
    Printed,
    of_lesson,
    of_mix_page,
    of_recipe,
    of_setout,
    of_setout_page,
)
from .harness import benchmark

SEED, UNSEEN = 4201, 9501
TARGETS, ON_PAGE, PLATES, BANDS = 6, 2, 24, 8
MAKE_G = 20.0
EXAMPLE = ("#7d99a8", "62,-18,-9", "#101010", "#c04030", "BUOY 3:1")
"""A picture of colours as the README and the manual say them."""
READ_BACK = 0.3
FACES = (
    "recipe", "measures", "page", "page_measures", "setout", "setout_page",
    "lesson_spoon", "lesson_g", "lesson_ml",
)  # fmt: skip
PAPERS = ("chart", "labels", "pots")
CHARTED = ("DUSK", "STARBOARD", "RESIN", "BUOY", "PITCH")


def tell(kind: str, value: float, example: str) -> None:
    """Say what fails, once for each kind."""
    print(f"  {kind} ({value:.2f}): {example[:320]}", file=sys.stderr)


@dataclass(frozen=True)
class Judged:
    """A printed mix, and how it came out."""

    printed: Printed
    excess: float
    hidden_tint: str | None


@dataclass(frozen=True)
class Faces:
    """What the faces printed for the same targets."""

    mixes: tuple[Judged, ...]
    grams: tuple[str, ...]
    papers: tuple[tuple[OnPaper, float], ...]

    def of(self, face: str) -> list[float]:
        return [j.excess for j in self.mixes if j.printed.face == face]


@cache
def printed(seed: int) -> Faces:
    """Ask every face, and mix what it printed."""
    with tempfile.TemporaryDirectory() as name:
        table = Table.laid(Path(name) / "demo")
        aims = targets(seed, TARGETS)
        found = [*_recipes(table, aims), *_settings(table, aims), *_on_page(table, aims[:ON_PAGE])]
        judged = tuple(Judged(p, p.excess(table), p.hidden_tint(table)) for p in found)
        papers = tuple((paper, paper.off(table)) for paper in _on_paper(table, aims[0]))
        faces = Faces(judged, tuple(_plain_grams(table, aims)), papers)
    for face in FACES:
        of = [j for j in judged if j.printed.face == face]
        if of and (worst := max(of, key=lambda j: j.excess)).excess > NEAR:
            tell(f"printed.{face}", worst.excess, worst.printed.words)
    for j in [j for j in judged if j.hidden_tint][:1]:
        tell("tint unlabelled", j.excess, f"{j.hidden_tint} in {j.printed.words}")
    for face in PAPERS:
        on = [(off, p.words) for p, off in papers if p.face == face]
        if on and max(on)[0] > NEAR:
            tell(f"paper.{face}", *max(on))
    return faces


def _recipes(table: Table, aims: tuple[str, ...]) -> list[Printed]:
    found = []
    for aim in aims:
        asked = ("recipe", aim, "--make", f"{MAKE_G:g}g", "--scale", SCALE_G)
        found += of_recipe(table.run(*asked).out, table.asked(*asked), table, MAKE_G)
    return found


def _settings(table: Table, aims: tuple[str, ...]) -> list[Printed]:
    """What is set out, its printed page, and the handout, for some colours together each time."""
    found: list[Printed] = []
    for some in (aims[::2], aims[1::2], EXAMPLE):
        said, file = table.asked("setout", *some), table.folder / "setout.pdf"
        words = table.run("setout", *some, "--print", file).out
        found += of_setout(words, said, table)
        with pymupdf.open(file) as document:
            text = "\n".join(page.get_text() for page in document)
        found += of_setout_page(text, said, table)
        handout = table.folder / "lesson.html"
        written = table.run("lesson", *some, "--out", handout)
        assert written.status == 0, written.err
        found += of_lesson(text_of(handout.read_text(encoding="utf-8")), said, table)
    return found


def _on_page(table: Table, aims: tuple[str, ...]) -> list[Printed]:
    found: list[Printed] = []
    lay = list(table.names.values())
    with serving(table.folder) as visit:
        for aim in aims:
            said = table.asked("recipe", aim, "--make", f"{MAKE_G:g}g", "--scale", SCALE_G)
            fields = {"lay": lay, "target": aim, "make": f"{MAKE_G:g}g", "scale": f"{SCALE_G:g}"}
            ways = visit.get(f"/mix?{urlencode(fields, doseq=True)}").text
            way = first(r"[?&]way=([^&#\"]+)", ways.replace("&amp;", "&"), "way")
            fields["way"] = way.replace("%2C", ",")
            shown = visit.get(f"/mix?{urlencode(fields, doseq=True)}").text
            found += of_mix_page(text_of(shown), said, table, MAKE_G)
    return found


def _on_paper(table: Table, aim: str) -> list[OnPaper]:
    """Chart and labels; and a kept batch, its label beside what the recipe claims."""
    table.run("recipe", aim, "--keep", "sea")
    table.run("recipe", "sea", "--make", f"{MAKE_G:g}g", "--made")
    found: list[OnPaper] = []
    files = {face: table.folder / f"{face}.pdf" for face in PAPERS}
    for verb, face in (("chart", "chart"), ("tubes", "labels"), ("pots", "pots")):
        some = CHARTED if verb == "chart" else ()
        said = table.run("sheet", verb, *some, "--out", files[face])
        assert said.status == 0, said.err
    found += of_chart(files["chart"], table)
    found += of_labels(files["labels"], table)
    colour, amounts = of_pots(files["pots"], table)
    grams = {each.paint: each.value for each in amounts}
    return [*found, OnPaper("pots", colour, grams, f"pot label: {grams}")]


def _plain_grams(table: Table, aims: tuple[str, ...]) -> list[str]:
    """Every gram that is printed where nobody names a scale again."""
    texts = [table.run("recipe", aims[0], "--make", f"{MAKE_G:g}g").out]
    texts.append(table.run("setout", *aims[:3]).out)
    texts.append(table.run("next", aims[0], "--clear", "--add", "HULL=5").out)
    return [g for text in texts for g in re.findall(r"(\d+(?:\.\d+)?) g [A-Z]", text)]


def _sums_off(faces: Faces) -> float:
    asked = [j.printed for j in faces.mixes if j.printed.asked_g is not None]
    off = []
    for p in asked:
        total = sum(a.value for a in p.amounts if a.unit == "g")
        if abs(total - (p.asked_g or 0.0)) > SCALE_G + 1e-6 and "more than" not in p.words:
            off.append(
                (abs(total - (p.asked_g or 0.0)), f"{total:.1f} g of {p.asked_g:g}: {p.words}")
            )
    if off:
        tell("sums", *max(off))
    return len(off) / len(asked)


def _finer(faces: Faces) -> float:
    finer = [g for g in faces.grams if abs(10 * float(g) - round(10 * float(g))) > 1e-6]
    if finer:
        tell("finer than the scale", len(finer), ", ".join(finer[:8]) + " g")
    return len(finer) / len(faces.grams)


@cache
def read_back(seed: int) -> tuple[tuple[str, float], ...]:
    """Colours and heaps that one command prints, as another reads them: what and how far apart."""
    found: list[tuple[str, float]] = []
    with tempfile.TemporaryDirectory() as name:
        table = Table.laid(Path(name) / "demo")

        def heap(target: object, grams: Mapping[str, float], *options: object) -> float:
            off: float = table.heap(target, grams, *options)["off_de00"]
            return off

        for i, aim in enumerate(targets(seed, TARGETS)[: TARGETS // 2]):
            said = table.asked("recipe", aim, "--tubes", "3")
            way = said["recipes"][-1]
            parts = way["parts"]
            finish = said["viewing"].get("finish")
            seen = ("--finish", finish) if finish else ()
            found.append((f"recipe -> next {aim}", abs(heap(aim, parts) - way["difference_de00"])))
            matt = table.asked("recipe", aim, "--tubes", "3", "--finish", "matt")
            found.append((
                f"recipe --finish matt -> next --finish matt {aim}",
                abs(
                    heap(aim, matt["recipes"][0]["parts"], "--finish", "matt")
                    - matt["recipes"][0]["difference_de00"]
                ),
            ))  # fmt: skip
            for told in (("--finish", "gloss"), ()):
                mix = ",".join(f"{p}={g:.6f}" for p, g in parts.items())
                (look,) = table.asked("predict", mix, *told)["looks"]
                typed = ",".join(f"{v:.1f}" for v in look["lab"]["D50/2°"])
                what = " ".join(("predict", *told))
                found.append((f"{what} -> next {typed} with that mix {mix}", heap(typed, parts)))
                if not look["out_of_gamut"]:
                    hexed = max(heap(look["srgb"], parts) - 0.3, 0)  # of 8 bits
                    found.append((f"{what} -> next {look['srgb']} with that mix {mix}", hexed))
            set_out = table.asked("setout", aim, "--within", "1")["colours"][0]
            off = heap(aim, set_out["made_of"]["grams"])
            found.append((f"setout -> next {aim}", abs(off - set_out["difference_de00"])))
            reached = table.run("reach", aim).out
            away = first(r"CIEDE2000 (\d+\.\d+) away", reached, "nearest")
            nearest = said["recipes"][0]["difference_de00"]
            if i % 2 == 0 and ":" not in aim:
                four = table.asked("recipe", aim)
                nearest = min(way["difference_de00"] for way in four["recipes"])
                found.append((f"reach -> recipe {aim}", abs(float(away) - nearest)))
            if seen:
                literal = apart(table.lab(parts, finish), said["target"]["lab"])
                found.append((
                    f"recipe -> predict {aim}", abs(literal - way["difference_de00"])
                ))  # fmt: skip
            if aim.startswith("#"):
                asked = np.array(said["target"]["lab"])
                found.append(
                    (f"{aim} as recipe takes it", max(apart(asked, hex_lab(aim)) - 0.1, 0))
                )
    seen_kinds = set()
    for what, off in sorted(found, key=lambda f: -f[1]):
        kind = what.partition(" with")[0].split(" -> ")[0] + what.partition("-> ")[2][:6]
        if off > READ_BACK and kind not in seen_kinds:
            seen_kinds.add(kind)
            tell("read back", off, what)
    return tuple(found)


@cache
def ends(seed: int) -> tuple[End, ...]:
    """Spoilt plates, the worst said."""
    found = plates(seed, PLATES)
    for end in sorted(found, key=lambda e: -e.off)[:3]:
        if end.off > 1:
            tell("plate", end.off, f"{end} (next thought {end.thought:.1f})")
    return found


@cache
def hands(seed: int) -> tuple[Mixed, ...]:
    """Mixes by hand, the worst said."""
    found = mixed(seed, BANDS)
    worst = max(found, key=lambda m: m.over_band)
    tell("band", worst.over_band, worst.words)
    return found


def _held(which: Callable[[Mixed], bool], seed: int) -> float:
    return float(np.mean([m.over_band <= 1 for m in hands(seed) if which(m)]))


def _least_paint(seed: int) -> float:
    paints = {p for m in hands(seed) for p in m.paints}
    shares = {p: [m.over_band <= 1 for m in hands(seed) if p in m.paints] for p in paints}
    return float(min(np.mean(held) for held in shares.values() if len(held) >= 12))


_FAR: Callable[[list[float]], float] = lambda offs: float(np.mean(np.array(offs) > NEAR))  # noqa: E731
_STRATA: Mapping[str, Callable[[Mixed], bool]] = {
    "all": lambda m: True,
    "light": lambda m: m.lightness > 60,
    "middle": lambda m: 35 < m.lightness <= 60,
    "dark": lambda m: m.lightness <= 35,
}


def _register(seed: int, name: str, only: str | None) -> None:
    def add(what: str, unit: str, run: Callable[[], float], **judged: object) -> None:
        benchmark(f"{name}{what}", unit, only=only, **judged)(run)

    for face in FACES:
        add(f"printed.{face}.share_off", "mixes, share farther off than claimed",
            lambda face=face: _FAR(printed(seed).of(face)), target=0.0)  # fmt: skip
        add(f"printed.{face}.worst", "CIEDE2000 beyond the claim",
            lambda face=face: max(printed(seed).of(face)), target=NEAR)  # fmt: skip
    add("printed.tints_unlabelled", "mixes",
        lambda: sum(j.hidden_tint is not None for j in printed(seed).mixes),
        target=0.0)  # fmt: skip
    add("printed.sums_off", "share of mixes", lambda: _sums_off(printed(seed)), target=0.0)
    add("printed.finer_than_scale", "share of grams", lambda: _finer(printed(seed)), target=0.0)
    for face in PAPERS:
        offs = lambda face=face: [off for p, off in printed(seed).papers if p.face == face]  # noqa: E731
        add(f"paper.{face}.share_off", "squares, share", lambda o=offs: _FAR(o()), target=0.0)
        add(f"paper.{face}.worst", "CIEDE2000", lambda o=offs: max(o()), target=NEAR)
    add("read_back.share_off", "share of readings more than 0.3 apart",
        lambda: float(np.mean([off > READ_BACK for _, off in read_back(seed)])),
        target=0.0)  # fmt: skip
    add("read_back.worst", "CIEDE2000",
        lambda: max(off for _, off in read_back(seed)), target=READ_BACK)  # fmt: skip
    add("plates.within_1", "share of spoilt plates",
        lambda: float(np.mean([e.off <= 1 for e in ends(seed)])),
        target=0.95, sense="at least")  # fmt: skip
    add("plates.p95", "CIEDE2000", lambda: float(np.percentile([e.off for e in ends(seed)], 95)))
    add("plates.paint", "paint used over the ideal, 95th percentile",
        lambda: float(np.percentile([e.used / e.ideal for e in ends(seed)], 95)),
        target=1.1)  # fmt: skip
    add("plates.believed", "share whose end it knew within 1.0",
        lambda: float(np.mean([abs(e.off - e.thought) <= 1 for e in ends(seed)])))  # fmt: skip
    for stratum, which in _STRATA.items():
        add(f"bands.{stratum}", "share in the band for 95 of 100",
            lambda which=which: _held(which, seed), target=0.92, sense="at least")  # fmt: skip
        add(f"bands.{stratum}_high", "the same",
            lambda which=which: _held(which, seed), target=0.97)  # fmt: skip
    add("bands.paint_least", "the same, of the paint that fares worst",
        lambda: _least_paint(seed), target=0.92, sense="at least")  # fmt: skip


_register(SEED, "hand.", None)
_register(UNSEEN, "hand.unseen_", "hand.unseen_")


@benchmark("hand.faults", "habits that don't work", target=0.0)
def habits() -> float:
    found = faults()
    for what, said in found:
        tell("fault", 1, f"{what}: {said}")
    return len(found)
