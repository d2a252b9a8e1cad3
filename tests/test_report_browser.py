"""The page of a release in a real browser, as narrow as a phone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tintladder.database.paper.report.page import report
from tintladder.database.releases.load import load_release

BEYOND = """
[...document.querySelectorAll('main *, body > * *')]
  .filter(e => e.getBoundingClientRect().width && !e.closest('.strip, svg, .hidden'))
  .filter(e => !e.closest('.scroll') || e.matches('caption'))
  .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
  .map(e => `${e.tagName} ${e.textContent.slice(0, 40)}`)
"""
VISIBLE = """
document.querySelectorAll('.paint').forEach(e => { e.style.contentVisibility = 'visible' })
"""


def test_no_words_run_off_a_phone(window: Any, demo: Any, tmp_path: Path) -> None:
    file = tmp_path / "paints.html"
    file.write_text(report(load_release(demo.release.archive), "ab" * 32), encoding="utf-8")
    window.set_viewport_size({"width": 390, "height": 900})
    window.goto(file.as_uri())
    # Paints out of sight are laid out when they come into it, or when all are asked for.
    window.evaluate(VISIBLE)
    assert window.evaluate(BEYOND) == []
