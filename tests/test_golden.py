"""Both faces give one answer: the page and the command show the same figures, to the last digit."""

from __future__ import annotations

import tomllib

import pytest

from . import golden
from .command import run
from .page_server import serving

RECIPES = {
    "a colour said": (("62,-18,-9",), {"target": "62,-18,-9"}),
    "a screen colour": (("#7d99a8", "--tubes", "3"), {"target": "#7d99a8", "tubes": "3"}),
    "a tint": (("BUOY 3:1",), {"target": "BUOY 3:1"}),
    "a tube": (("STARBOARD", "--tubes", "2"), {"target": "STARBOARD", "tubes": "2"}),
    "a reading": (("mixtures/moss",), {"target": "mixtures/moss"}),
    "a reading under a finish": (
        ("mixtures/moss", "--finish", "satin"), {"target": "mixtures/moss", "finish": "satin"},
    ),
    "a matt colour": (
        ("30,5,10", "--finish", "matt"), {"target": "30,5,10", "finish": "matt"},
    ),
    "a tube that must be in it": (
        ("55,10,20", "--with", "DUSK"), {"target": "55,10,20", "must": "DUSK"},
    ),
    "out of reach": (("55,90,60",), {"target": "55,90,60"}),
    "millilitres": (("70,10,30", "--make", "40ml"), {"target": "70,10,30", "make": "40ml"}),
    "a coarse scale": (
        ("48,20,-10", "--make", "25g", "--scale", "0.1"),
        {"target": "48,20,-10", "make": "25g", "scale": "0.1"},
    ),
    "an area": (
        ("48,20,-10", "--area", "40x50cm", "--coats", "3"),
        {"target": "48,20,-10", "make": "40x50cm", "coats": "3"},
    ),
    "a glaze": (
        ("80,-10,-20", "--thickness", "20", "--tubes", "3"),
        {"target": "80,-10,-20", "film": "20", "tubes": "3"},
    ),
    "a film over black without medium": (
        ("45,20,20", "--thickness", "60", "--over", "black", "--without", "MEDIUM", "--tubes", "2"),
        {"target": "45,20,20", "film": "60", "over": "black", "medium": "out", "tubes": "2"},
    ),
    "a glaze with medium": (
        ("80,-10,-20", "--thickness", "20", "--with", "MEDIUM", "--area", "9x9cm", "--tubes", "2"),
        {"target": "80,-10,-20", "film": "20", "medium": "must", "make": "9x9cm", "tubes": "2"},
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def visit(own_demo):
    with serving(own_demo) as visitor:
        yield visitor


@pytest.fixture
def ask(own_demo, monkeypatch, capsys):
    def command(*arguments):
        said = run(monkeypatch, capsys, *arguments, "--studio", own_demo)
        assert said.status == 0, said.err
        return said

    return command


@pytest.fixture(scope="module")
def names(own_demo):
    """Name of each tube, as the demo's own file of paints has it; and what may be laid out."""
    paints = tomllib.loads((own_demo / "paints.toml").read_text())["paint"]
    return {paint["nickname"]: paint["name"] for paint in paints} | {"MEDIUM": "clear medium"}


@pytest.mark.parametrize("asked", RECIPES)
def test_recipes_are_the_same_on_both_faces(asked, visit, ask, names):
    command, page = RECIPES[asked]
    if "make" not in page:
        command, page = (*command, "--make", "20g"), page | {"make": "20g"}
    shown = golden.recipe_on_page(visit, page, [name for name in names if name != "MEDIUM"])
    said = golden.recipe_in_json(ask("recipe", *command, "--json").json, names)
    assert shown == said
    assert golden.recipe_in_text(ask("recipe", *command).out) == said
