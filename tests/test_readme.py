"""README, manual and ``--help`` say one thing, and the README's first recipe can be walked."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pandas as pd
import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.database import cli
from tintladder.database.demo.demo import make_demo
from tintladder.database.manual import TOPICS, chapter

from .command import run
from .lab.scans import first_card

HOUSE = Path(__file__).parents[1]
TEXT = (HOUSE / "README.md").read_text(encoding="utf-8")
PAGES = {"README": TEXT} | {topic: chapter(topic).text for topic in TOPICS}
NAMES = list(cli.COMMANDS)
SCANS = HOUSE / "measurements" / "boatyard" / "scans"
FIRST = re.search(r"((?:^    tintladder .+\n){3,})", TEXT, flags=re.M)


def written(text: str) -> list[list[str]]:
    """Commands written out in a text, a line each; a line that ends in a backslash goes on."""
    lines = re.findall(r"^    tintladder (.+)$", text.replace("\\\n", " "), flags=re.M)
    return [shlex.split(line, comments=True) for line in lines]


def test_the_commands_stand_as_help_says_them(monkeypatch, capsys):
    said = run(monkeypatch, capsys, "--help").out
    groups = said[said.index(next(iter(cli.GROUPS))) : said.index("  Example:")].rstrip()
    assert f"```text\n{groups}\n```" in TEXT
    assert re.findall(r"^  (\w+) ", groups, flags=re.M) == NAMES
    assert "..." not in groups and max(map(len, groups.splitlines())) <= 80


def test_the_readme_is_short():
    assert TEXT.count("\n") <= 160


@pytest.mark.parametrize("page", PAGES)
def test_commands_and_options_written_out_exist(page, capsys):
    for name, *rest in written(PAGES[page]):
        assert name in NAMES, name
        inner = rest[:1] if name in ("tubes", "device", "sheet") and rest[:1] else []
        inner = [word for word in inner if word.isalpha() and word.islower()]
        for option in (word for word in rest if word.startswith("--")):
            with pytest.raises(SystemExit):
                cli.app([name, *inner, "--help"], prog_name="tintladder")
            assert option in capsys.readouterr().out, (name, option)


@pytest.mark.parametrize("page", PAGES)
def test_chapters_that_are_named_exist(page):
    assert set(re.findall(r"tintladder manual\s+([a-z][\w-]*)", PAGES[page])) <= set(TOPICS)


def test_pictures_are_there():
    for path in re.findall(r"\]\(([^)#:]+\.png)\)", TEXT):
        assert (HOUSE / path).is_file(), path


def test_every_chapter_has_its_file():
    assert {path.stem for path in (HOUSE / "database" / "manual").glob("*.md")} == set(TOPICS)


@pytest.mark.parametrize("with_target", [True, False], ids=["target", "no target"])
def test_the_first_recipe_takes_six_commands_and_two_questions(
    monkeypatch, capsys, tmp_path, with_target
):
    assert FIRST is not None
    commands = written(FIRST[1])
    assert len(commands) <= 6
    if not with_target:
        commands = [words[: [*words, "--target"].index("--target")] for words in commands]
    monkeypatch.chdir(tmp_path)
    asked = 0
    for words in commands:
        scans = {"first-card.png": "first-card.png", "target.png": "target-8.png"}
        scans |= {"target.txt": "target.txt"}
        typed = [str(SCANS / scans[word]) if word in scans else word for word in words]
        outcome = run(monkeypatch, capsys, *typed, typed="\n\n")
        assert outcome.status == 0, outcome.err
        asked += len(re.findall(r"\]: ", outcome.err))
    assert asked == 2
    assert "Hull White" in outcome.out and "sure to within" in outcome.out


def test_the_scan_that_ships_is_of_the_card_that_is_printed(monkeypatch, capsys, tmp_path):
    assert FIRST is not None
    monkeypatch.chdir(tmp_path)
    for words in written(FIRST[1])[:2]:
        assert run(monkeypatch, capsys, *words).status == 0
    names = ("ANCHOR", "ROPE", "BUOY", "HULL")
    printed = read_card(tmp_path / "cards" / "tubes-1.toml", names)
    assert [(d.step, d.masses, d.taken_g) for d in printed.drawdowns] == [
        (d.step, d.masses, d.taken_g) for d in first_card().drawdowns
    ]


def test_three_lines_of_pandas_read_a_release(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    made = make_demo(tmp_path / "demo")
    monkeypatch.chdir(made.folder)
    code = re.search(r"```python\n(.*?)```", PAGES["releases"], flags=re.S)
    assert code is not None
    found: dict[str, object] = {}
    exec(code.group(1), found)  # as the reader would type it
    ks = found["ks"]
    assert isinstance(ks, pd.DataFrame)
    coefficients = made.fitted.fit.coefficients
    row = coefficients.index("ANCHOR")
    assert ks.loc[("ANCHOR", 550.0), "K"] == pytest.approx(coefficients.k[row, 17], rel=1e-12)
