"""Slips on the command line: one line of ours, exit 2, whatever was mistyped."""

from __future__ import annotations

from functools import partial

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database import cli
from tintladder.database.mixing.prediction import parse_mix

from .command import run


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return partial(run, monkeypatch, capsys)


SLIPS = {
    "recpie": "expected a command, got 'recpie' (did you mean recipe?); see tintladder --help",
    "--wide": "expected no option --wide; see tintladder --help",
    "tubes ad": "expected a command, got 'ad' (did you mean add or load?); see tintladder tubes "
    "--help",
    "fit --ful": "expected no option --ful (did you mean --full?); see tintladder fit --help",
    "fit --full=3": "--full: expected no value after it; see tintladder fit --help",
    "fit --studio": "--studio: expected a value after it; see tintladder fit --help",
    "trace": "expected paint: Nickname, or a part of the name; see tintladder trace --help",
    "verify a b": "expected nothing more, got b; put quotes around what has spaces, or see "
    "tintladder verify --help",
    "verify --quick": "verify: expected a release to check; name its folder or zip",
    "recipe -5,3,2": "-5: looks like an option, beginning with a minus; put -- before it, or see "
    "tintladder recipe --help",
    "recipe x --tubes x": "--tubes: expected a whole number, got 'x'; see tintladder recipe --help",
    "recipe x --tubes 9": "--tubes: expected 6 or less, got 9; see tintladder recipe --help",
    "recipe x --ways 0": "--ways: expected 1 or more, got 0; see tintladder recipe --help",
    "recipe x --scale 2": "--scale: expected 0.001 to 1, got 2; see tintladder recipe --help",
    "plot A --show filme": "--show: expected one of tint, film, hiding, strength, leftover, reach, "
    "triangle, "
    "got filme; see tintladder plot --help",
    "trace A blue": "wavelength: expected a figure such as 2.72, got 'blue'; see tintladder trace "
    "--help",
    "tubes weigh A --ml x --grams 2": "--ml: expected a figure such as 2.72, got 'x'; see "
    "tintladder tubes weigh --help",
}


@pytest.mark.parametrize(("typed", "line"), SLIPS.items(), ids=SLIPS)
def test_a_slip_is_one_line_that_says_what_to_do(tool, typed, line):
    said = tool(*typed.split())
    assert (said.status, said.out, said.err) == (2, "", f"tintladder: {line}\n")


def test_without_a_command_the_help_is_shown(tool):
    said = tool()
    assert "Usage: tintladder" in said.out + said.err and "expected" not in said.err


@pytest.mark.parametrize(
    "typed",
    [
        "predict A=1 --thickness 60,5",
        "card --gap 250,5",
        "recipe x --scale 0,1",
        "recipe x --thickness 20,5",
        "lesson x --each 2,5",
        "setout x --within 2,5",
        "plan A --gap 250,5",
        "scan x --grey 0,18",
        "export spot A --thickness 20,5",
        "trace A 550,5",
    ],
)
def test_a_figure_may_have_a_decimal_comma(tool, typed):
    """What is missed afterwards is the studio or the file, never the figure."""
    assert "a figure" not in tool(*typed.split()).err


def test_a_decimal_comma_in_a_mix_is_told_from_the_comma_between_paints():
    with pytest.raises(InputError, match=r"'5' stands alone; .* such as 'ANCHOR=2.5,HULL=7'"):
        parse_mix("ANCHOR=2,5,HULL=1", str.upper)
    with pytest.raises(InputError, match="expected NAME=PARTS"):
        parse_mix("5", str.upper)


@pytest.mark.parametrize(("old", "new"), cli.RENAMED.items())
def test_a_name_of_the_release_before_still_works_and_says_so(tool, old, new):
    before, now = tool(old, "--help"), tool(new, "--help")
    assert before.status == 0 and before.out == now.out
    assert f"tintladder {old} is tintladder {new} from now on" in before.err
    assert f"  {old} " not in tool("--help").out
