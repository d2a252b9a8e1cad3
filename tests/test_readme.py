"""The README says what is there: its commands, its pictures, and its three lines of pandas."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from tintladder.database import cli
from tintladder.database.demo.demo import make_demo

README = Path(__file__).parents[1] / "README.md"
TEXT = README.read_text(encoding="utf-8")
NAMES = [module.__name__.rpartition(".")[2] for module in cli.COMMANDS]


def test_every_command_stands_in_the_table_and_no_other():
    named = re.findall(r"^\| `tintladder (\w+)` \|", TEXT, flags=re.M)
    assert named == NAMES


def test_every_command_written_out_exists():
    used = set(re.findall(r"^    tintladder (\w+)", TEXT, flags=re.M))
    assert used <= set(NAMES)


def test_options_written_out_exist(capsys: pytest.CaptureFixture[str]):
    for line in re.findall(r"^    tintladder (.+?)(?:#.*)?$", TEXT, flags=re.M):
        name, *rest = line.split()
        for option in (word for word in rest if word.startswith("--")):
            inner = rest[:1] if name == "tubes" and rest[0].isalpha() else []
            with pytest.raises(SystemExit):
                cli.app([name, *inner, "--help"], prog_name="tintladder")
            assert option in capsys.readouterr().out, line


def test_pictures_are_there():
    for path in re.findall(r"\]\(([^)#:]+\.png)\)", TEXT):
        assert (README.parent / path).is_file(), path


def test_three_lines_of_pandas_read_a_release(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    made = make_demo(tmp_path / "demo")
    monkeypatch.chdir(made.folder)
    code = re.search(r"```python\n(.*?)```", TEXT, flags=re.S)
    assert code is not None
    found: dict[str, object] = {}
    exec(code.group(1), found)  # as the reader would type it
    ks = found["ks"]
    assert isinstance(ks, pd.DataFrame)
    coefficients = made.fitted.fit.coefficients
    row = coefficients.index("ANCHOR")
    assert ks.loc[("ANCHOR", 550.0), "K"] == pytest.approx(coefficients.k[row, 17], rel=1e-12)
