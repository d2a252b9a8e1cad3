"""Planning a ladder of a tube, and the one more drawdown, from the command line."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from .command import run

BLUE = ("--nickname", "DEEP", "--maker", "Slipway Colours", "--pigments", "PB15:3")


@pytest.fixture
def tool(monkeypatch, capsys, own_demo):
    """The demo's studio, with a tube that nobody painted yet (invented)."""
    monkeypatch.chdir(own_demo)
    call = partial(run, monkeypatch, capsys)
    if "DEEP" not in call("tubes").out:
        assert call("tubes", "add", "--name", "Deep Water", "--size", "60", "--lot", "D1", *BLUE,
                    ).status == 0  # fmt: skip
    return call


def test_a_tube_nobody_painted_is_planned_by_its_label(tool):
    said = tool("plan", "DEEP", "--json")
    assert said.status == 0, said.err
    found = said.json
    # Phthalocyanine blue tints strongly (common practice, no source).
    assert "strong" in found["planned_by"] and "PB15:3" in found["planned_by"]
    steps = found["steps"]
    assert steps[0]["step"] == "masstone" and len(steps) == 6
    for step in steps:
        taken = [step["taken_g"]] if step["from"] else []
        for grams in [*step["masses"].values(), *taken]:
            assert round(grams, 1) == pytest.approx(grams) and grams > 0
    assert 0 < found["expected_de00"] < 3
    named = tool("plan", "DEEP", "--strength", "weak", "--json").json
    assert "as you said" in named["planned_by"]
    # A weak tube is let down less.
    assert np.log(_ratios(named)).mean() < np.log(_ratios(found)).mean()


def _ratios(found):
    return [float(s["step"].partition(":")[0]) for s in found["steps"] if ":" in s["step"]]


def test_what_suffices_takes_fewer_steps(tool):
    rough = tool("plan", "DEEP", "--wanted", "2", "--scale", "0.01", "--json").json
    fine = tool("plan", "DEEP", "--wanted", "0.8", "--scale", "0.01", "--json").json
    assert rough["expected_de00"] <= 2 and fine["expected_de00"] <= 0.8
    assert len(rough["steps"]) < len(fine["steps"])
    # Enough colour that a 0.01 g scale is sure of it, and hardly more.
    assert all(0.4 <= s["masses"].get("DEEP", 1) <= 10 for s in fine["steps"])


def test_a_planned_ladder_is_printed(tool):
    """What plan says last, typed as it stands."""
    said = tool("plan", "DEEP", "--steps", "5")
    assert "hard to see" in said.out or "side by side" in said.out
    command = said.out.strip().rpartition("tintladder ")[2].split()
    printed = tool(*command, "--scale", "0.1", "--json")
    assert printed.status == 0, printed.err
    *tints, down, shade = [s["step"] for s in printed.json["steps"]]
    assert tints == ["masstone"] + [
        f"{r}:1" for r in command[command.index("--ladder") + 1].split(",")
    ]
    assert down.startswith("PITCH ") and shade.startswith("shade ")


def test_one_more_drawdown_of_a_fitted_paint(tool):
    said = tool("plan", "ANCHOR", "--next", "--json")
    assert said.status == 0, said.err
    found = said.json
    assert found["then_de00"] < found["now_de00"]
    best = found["considered"][0]
    assert best["then_de00"] == found["then_de00"] and best["step"] == found["drawdown"]["step"]
    assert "ANCHOR" in found["words"]
    assert "What each would bring" in tool("plan", "ANCHOR", "--next").out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("HULL",), "a white has no tints"),
        (("HULL", "--next"), "a white has no tints"),
        (("DEEP", "--next"), "DEEP"),
        (("ANCHOR", "--scale", "syringe"), "a plan is weighed"),
        (("ANCHOR", "--strength", "vivid"), "there is no vivid paint"),
        (("ANCHOR", "--steps", "5", "--wanted", "1"), "doesn't go with"),
        (("ANCHOR", "--steps", "40"), "expected 2 to 9"),
        (("ANCHOR", "--wanted", "0.1"), "allow a larger difference"),
    ],
)
def test_refusals(tool, arguments, words):
    said = tool("plan", *arguments)
    assert said.status == 2 and words in said.err and said.err.count("\n") == 1


def test_a_ladder_too_long_for_its_card_goes_on_on_another_sheet(tool):
    """Each sheet begins with the masstone; the white alone stands on the first, if at all."""
    ladder = ("--ladder", "1,2,3,4,5,6,7,8,9,10", "--scale", "0.1")
    said = tool("card", "ANCHOR", *ladder, "--name", "long", "--json")
    assert said.status == 0, said.err
    sheets = [said.json, *said.json["more"]]
    assert [sheet["card"] for sheet in sheets] == ["long", "long-sheet-2", "long-sheet-3"]
    steps = [[step["step"] for step in sheet["steps"] if step["painted"]] for sheet in sheets]
    tints = [name for each in steps for name in each if name.endswith(":1")]
    assert sorted(tints, key=lambda name: float(name[:-2])) == [f"{i}:1" for i in range(1, 11)]
    assert all(each[0] == "masstone" for each in steps)
    assert not any("white" in each for each in steps[1:])
    for sheet in sheets:
        assert all(Path(file).exists() for file in sheet["files"])
    again = tool("card", "ANCHOR", *ladder, "--name", "long")
    assert again.status == 2 and "there is a card long already" in again.err
    shown = tool("card", "ANCHOR", *ladder, "--name", "other").out
    assert shown.count("A further sheet of the same card") == 2
