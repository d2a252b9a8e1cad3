"""The project's words: plain present-day English, one word for one thing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tintladder.database.manual import TOPICS, chapter

ROOT = Path(__file__).parents[1]
OBSOLETE = r"fore[t]ell|fore[t]old|rec[k]on|followed along m[a]ny|fluxes of l[i]ght|plain s[u]ms"
"""Words that a newcomer did not understand (see the design's plain words)."""
PUBLISHED = {"schema.py", "v0010.py"}
"""Their sentences stand in releases and migrations that must stay as they are."""


def texts() -> list[Path]:
    found = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    for room in ("calibrate", "database", "tests", "charts", "measurements"):
        for kind in ("py", "html", "md", "js", "mako", "toml"):
            found += (ROOT / room).rglob(f"*.{kind}")
    return [each for each in found if each.name not in PUBLISHED]


def test_no_text_uses_a_word_that_was_not_understood():
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in texts()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(OBSOLETE, line, flags=re.IGNORECASE)
    ]
    assert not found, "say it in plain words:\n" + "\n".join(found)


@pytest.mark.parametrize("topic", TOPICS)
def test_the_manual_says_nothing_of_gates(topic):
    assert not re.search(r"\bgates?\b", chapter(topic).text, flags=re.IGNORECASE)
