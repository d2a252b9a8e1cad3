"""One tube's colour on each face that shows it, against what `predict` says of it alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pymupdf
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.display import lab_to_srgb
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.store.store import Store

from tests.page_server import serving

from .hand_paper import hex_lab, lab_of_srgb, squares
from .harness import benchmark
from .paper_made import TEN, WHITE, place, printed, report_page, studio
from .shell import tool

TUBES = ("PITCH", "DUSK", "ROPE", "HULL", "ANCHOR", "RESIN")


def _as_shown(lab: Array) -> Array:
    """A colour as a display comes nearest to it."""
    return lab_of_srgb(lab_to_srgb(lab)[0][0])


@cache
def _predicted() -> dict[str, Array]:
    """Each tube alone, in a film that hides, as `predict` says it."""
    with Store.open(studio(TEN)) as store:
        return {
            t: _as_shown(predicted_mix(store, MixRequest(f"{t}=1")).looks[0].lab()) for t in TUBES
        }


def _on_faces() -> Iterator[tuple[str, str, Array | None]]:
    """Face, tube, and the colour that it has there; None where it isn't found."""
    folder = studio(TEN)
    with Store.open(folder) as store:
        names = {p.nickname: p.name for p in store.paints.all()}
    for kind, find in (("tubes", _label), ("chart", _chart), ("atlas", _atlas)):
        file = next(o.file for o in printed() if o.kind == f"{kind} a4" and o.tubes == TEN)
        for tube in TUBES:
            if kind != "chart" or tube != WHITE:
                yield kind, tube, None if file is None else find(file, names[tube])
    text = report_page(TEN).read_text(encoding="utf-8")
    for tube in TUBES:
        said = rf'aria-label="{names[tube]}, masstone[^"]*"[^>]*fill="(#\w{{6}})'
        found = re.search(said, text)
        yield "report", tube, None if found is None else hex_lab(found[1])
    for tube in TUBES:
        file, page = place() / "set.pdf", place() / "lesson.html"
        tool(folder, "setout", tube, "--with", tube, "--print", file)
        shown = [s.colour for s in squares(file) if s.label == "predicted"]
        yield "set-out page", tube, lab_of_srgb(shown[0]) if shown else None
        tool(folder, "lesson", tube, "--with", tube, "--out", page)
        chip = re.search(
            rf'background:(#\w{{6}})"></span> <span><b>{names[tube]}', page.read_text("utf-8")
        )
        yield "handout", tube, None if chip is None else hex_lab(chip[1])
    with serving(folder) as visitor:
        for tube in TUBES:
            answer = visitor.get(f"/predict?p:{tube}=1").text
            codes = re.findall(r"#[0-9a-f]{6}", answer[answer.find('id="seen"') :])
            yield "page", tube, hex_lab(codes[0]) if codes else None


def _chart(file: Path, name: str) -> Array | None:
    """A tube alone, at the head of a pair that it is the first of."""
    for square in squares(file):
        if square.label == "alone" and f"{name} + " in "\n".join(square.heading.splitlines()[-2:]):
            return lab_of_srgb(square.colour)
    return None


def _label(file: Path, name: str) -> Array | None:
    """A masstone on its tube's label."""
    for square in squares(file):
        if square.label == "masstone" and name in square.heading.splitlines()[-9:]:
            return lab_of_srgb(square.colour)
    return None


def _atlas(file: Path, name: str) -> Array | None:
    """The first square of a tube's row, below the head ``masstone``."""
    with pymupdf.open(file) as document:
        for page in document:
            heads = page.search_for("masstone")
            for row in page.search_for(name):
                for drawing in page.get_drawings():
                    r, fill = drawing["rect"], drawing["fill"]
                    if fill is None or r.width < 8 or not 4 < r.height < 80:
                        continue
                    level = r.y0 - 12 < (row.y0 + row.y1) / 2 < r.y1 + 12
                    if level and any(b.x0 - 3 < (r.x0 + r.x1) / 2 < b.x1 + 3 for b in heads):
                        return lab_of_srgb(fill)
    return None


@benchmark(
    "paper.one_colour_worst", "CIEDE2000 of a tube alone from `predict`, on seven faces", target=0.5
)
def one_colour() -> float:
    worst = 0.0
    for face, tube, colour in _on_faces():
        off = np.inf if colour is None else float(ciede2000(colour, _predicted()[tube]))
        if off > 0.5:
            print(f"colour: {tube} on {face}: {off:.2f}")
        worst = max(worst, off)
    return worst
