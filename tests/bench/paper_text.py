"""Text as it stands on paper, read back from PDF files, and in a browser."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pymupdf

A4 = (595.28, 841.89)
"""Points."""
MARGIN = 34.0
"""That a printer leaves, points (12 mm; common practice, no source)."""
_RISE, _FALL = 0.70, 0.20
"""Of a letter above and below its foot, as a share of its size."""
_TOUCH = 0.6
"""Points that two words may share, for boxes are wider than their ink."""


@dataclass(frozen=True)
class Word:
    """Words of one run.

    Attributes
    ----------
    page : int
    text : str
    size : float
        pt, as large as it is on A4.
    box : Rect
        Of its ink, nearly.
    inside : bool
        Whether it lies on the page.
    """

    page: int
    text: str
    size: float
    box: Any
    inside: bool


def words(file: Path) -> Iterator[Word]:
    """Every run of text; a picture wider or taller than A4 within its margins is made smaller."""
    with pymupdf.open(file) as document:
        for number, page in enumerate(document):
            wide, tall = page.rect.width, page.rect.height
            paper = abs(wide - A4[0]) < 25 and abs(tall - A4[1]) < 60
            room = (A4[0] - 2 * MARGIN, A4[1] - 2 * MARGIN)
            scale = 1.0 if paper else min(1.0, room[0] / wide, room[1] / tall)
            for block in page.get_text("dict")["blocks"]:
                for line in block.get("lines", ()):
                    for span in line["spans"]:
                        if span["text"].strip():
                            box = _ink(span, line["dir"])
                            inside = pymupdf.Rect(-1, -1, wide + 1, tall + 1)
                            yield Word(
                                number, span["text"].strip(), span["size"] * scale, box,
                                box in inside,
                            )  # fmt: skip


def _ink(span: dict[str, Any], way: tuple[float, float]) -> Any:
    """Box of a run's letters without the room above and below them."""
    box, size, (x, y) = pymupdf.Rect(span["bbox"]), span["size"], span["origin"]
    if abs(way[0]) > 0.99:
        return pymupdf.Rect(box.x0, y - _RISE * size, box.x1, y + _FALL * size)
    if abs(way[1]) > 0.99:
        up, down = (x - _RISE * size, x + _FALL * size)
        return pymupdf.Rect(min(up, down), box.y0, max(up, down), box.y1)
    # Words at a slant: the middle of their box.
    x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
    return pymupdf.Rect(x - 1, y - 1, x + 1, y + 1)


def clipped(file: Path) -> list[str]:
    """Words that are cut short, or run off their page."""
    return [w.text for w in words(file) if not w.inside or "…" in w.text]


def overlapping(file: Path) -> list[str]:
    """Pairs of runs that lie on each other."""
    found = []
    by_page: dict[int, list[Word]] = {}
    for word in words(file):
        by_page.setdefault(word.page, []).append(word)
    for here in by_page.values():
        here.sort(key=lambda w: w.box.y0)
        for i, one in enumerate(here):
            for other in here[i + 1 :]:
                if other.box.y0 > one.box.y1:
                    break
                both = pymupdf.Rect(one.box).intersect(other.box)
                if both.width > _TOUCH and both.height > _TOUCH:
                    found.append(f"p{one.page + 1} {one.text!r} / {other.text!r}")
    return found


def full(file: Path) -> list[float]:
    """How far down each page is filled, as a share of what its margins leave."""
    found = []
    with pymupdf.open(file) as document:
        for page in document:
            feet = [w[3] for w in page.get_text("words")]
            drawn = [d["rect"] for d in page.get_drawings()]
            feet += [r.y1 for r in drawn if 3 < r.height < 0.9 * page.rect.height]
            low, high = MARGIN, page.rect.height - MARGIN
            found.append((min(max(feet, default=0.0), high) - low) / (high - low))
    return found


def text_of(file: Path) -> str:
    """All text of a PDF, its white space evened."""
    with pymupdf.open(file) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


OVERLAPS = """
() => {
  const runs = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, of = node.parentElement;
    if (!node.textContent.trim()) continue;
    if (of.closest('.hidden, .skip, script, style, defs, option')) continue;
    if (getComputedStyle(of).visibility === 'hidden') continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects())
      if (r.width > 1 && r.height > 1)
        runs.push({x0: r.left, x1: r.right, y0: r.top + 0.22 * r.height,
          y1: r.bottom - 0.22 * r.height, text: node.textContent.trim().slice(0, 30), of});
  }
  runs.sort((a, b) => a.y0 - b.y0);
  const found = [];
  for (let i = 0; i < runs.length; i++)
    for (let j = i + 1; j < runs.length && runs[j].y0 < runs[i].y1; j++) {
      const a = runs[i], b = runs[j];
      if (a.of.closest('.bar') || b.of.closest('.bar')) continue;
      if (Math.min(a.x1, b.x1) - Math.max(a.x0, b.x0) > 1 &&
          Math.min(a.y1, b.y1) - Math.max(a.y0, b.y0) > 1)
        found.push(a.text + ' / ' + b.text);
    }
  return found;
}
"""
"""Runs of text that lie on each other in a browser's window."""


def overlaps_in_a_window(file: Path, width: int) -> list[str]:
    """Runs of a page's text that lie on each other in a window of some width."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        try:
            window = browser.new_page(viewport={"width": width, "height": 900})
            window.goto(file.as_uri())
            window.evaluate(
                "document.querySelectorAll('.paint').forEach("
                "e => { e.style.contentVisibility = 'visible' });"
                "document.querySelectorAll('details').forEach(e => { e.open = true })"
            )
            found: list[str] = window.evaluate(OVERLAPS)
            return found
        finally:
            browser.close()
