"""Both faces give one answer: the page and the command show the same figures, to the last digit."""

from __future__ import annotations

import re
import tomllib
from urllib.parse import urlencode

import pytest

from . import golden, golden_mixes
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


PLATES = {
    "much the same": ("BUOY 3:1", {"HULL": 15, "BUOY": 5}, {}),
    "a colour said": ("62,-18,-9", {"HULL": 8, "STARBOARD": 1}, {}),
    "a reading": ("mixtures/moss", {"HULL": 3, "ROPE": 2}, {}),
    "a reading under a finish": ("mixtures/moss", {"HULL": 3, "ROPE": 2}, {"finish": "matt"}),
    "a satin colour": ("40,10,10", {"ROPE": 6, "PITCH": 0.5}, {"finish": "satin"}),
    "medium on the plate": ("62,-18,-9", {"HULL": 8, "STARBOARD": 1, "MEDIUM": 2}, {}),
    "much medium under a finish": (
        "mixtures/moss", {"ROPE": 3, "MEDIUM": 6.5}, {"finish": "gloss"},
    ),
    "a large batch wanted": ("BUOY 3:1", {"BUOY": 3}, {"make": "60g"}),
    "too much of a strong one": ("80,-10,-20", {"ANCHOR": 20, "HULL": 2}, {"make": "5g"}),
    "out of reach": ("55,90,60", {"BUOY": 10}, {}),
    "a screen colour": ("#7d99a8", {"HULL": 12.5, "ANCHOR": 0.75, "ROPE": 0.4}, {"make": "30ml"}),
}  # fmt: skip


MIXES = {
    "by weight": ({"ANCHOR": "2", "ROPE": "1", "HULL": "7"}, {}, ()),
    "under a finish": ({"BUOY": "1", "HULL": "1"}, {"finish": "satin"}, ("--finish", "satin")),
    "by volume": ({"ANCHOR": "1", "HULL": "2"}, {"by": "volume"}, ("--volume",)),
    "a film": (
        {"ANCHOR": "1", "DUSK": "0.5"}, {"film": "40", "finish": "gloss"},
        ("--thickness", "40", "--finish", "gloss"),
    ),
    "a glaze over a tube": (
        {"ANCHOR": "1", "MEDIUM": "3"}, {"film": "25", "over": "ROPE"},
        ("--thickness", "25", "--over", "ROPE"),
    ),
    "a film over a reading": (
        {"BUOY": "1", "LANTERN": "2", "MEDIUM": "4"}, {"film": "60", "over": "mixtures/moss"},
        ("--thickness", "60", "--over", "mixtures/moss"),
    ),
    "complements": ({"ANCHOR": "1", "LANTERN": "3"}, {}, ()),
    "complements under a finish": (
        {"STARBOARD": "1", "BUOY": "3", "HULL": "4"}, {"finish": "matt"}, ("--finish", "matt"),
    ),
    "complements by volume": ({"DUSK": "1", "LANTERN": "4"}, {"by": "volume"}, ("--volume",)),
}  # fmt: skip


FAR = {
    "a clean red": ("55,70,40", "HULL,ROPE,ANCHOR", {"tubes": "2"}),
    "a clean green under a finish": (
        "50,-60,20",
        "HULL,ROPE,BUOY,ANCHOR",
        {"finish": "satin", "tubes": "2"},
    ),
    "a tint": ("STARBOARD 1:1", "HULL,ANCHOR,BUOY", {"tubes": "2"}),
    "a reading": ("mixtures/moss", "HULL,BUOY", {"tubes": "2"}),
}


PICTURES = {
    "colours said and read": (("62,-18,-9", "#7d5a3c", "mixtures/moss"), {}, ()),
    "colours read": (("mixtures/moss", "mixtures/kelp"), {"ml": "40"}, ("--make", "40")),
    "under a finish": (
        ("mixtures/moss", "40,20,10"), {"finish": "matt", "size": "30x40cm", "coats": "3"},
        ("--finish", "matt", "--area", "30x40cm", "--coats", "3"),
    ),
    "tubes named": (
        ("BUOY 3:1", "70,5,40"), {"must": "ROPE", "without": "HULL", "within": "5"},
        ("--with", "ROPE", "--without", "HULL", "--within", "5"),
    ),
    "a photograph": (
        (), {"white": "44,405", "tubes": "2", "within": "6"},
        ("--white", "44,405", "--tubes", "2", "--within", "6"),
    ),
}  # fmt: skip


OUT = ("RESIN", "PENNANT", "LANTERN", "PITCH", "DUSK", "STARBOARD")
"""Used up: of fewer tubes there are fewer sets to search."""


@pytest.fixture(scope="module")
def visit(own_demo):
    with serving(own_demo) as visitor:
        for tube in OUT:
            assert visitor.send(f"/tubes/{tube}", {"seen": "yes", "on_hand": "no"}).status == 200
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


@pytest.mark.parametrize("asked", PLATES)
def test_what_to_add_is_the_same_on_both_faces(asked, visit, ask, names):
    target, plate, more = PLATES[asked]
    shown = golden.additions_on_page(visit, {"target": target, **more}, plate)
    mix = ",".join(f"{paint}={grams}" for paint, grams in plate.items())
    made = more.get("make", "20g")
    # Millilitres are the page's own: the command is told the grams that the page names.
    grams = made.removesuffix("g") if made.endswith("g") else None
    finish = ("--finish", more["finish"]) if "finish" in more else ()
    wanted = ("--wanted", grams) if grams else ()
    command = ("next", target, "--clear", "--add", mix, *finish, *wanted)
    said = golden.additions_in_json(ask(*command, "--json").json, names)
    if grams is None:
        shown.pop("over"), said.pop("over")
    assert shown == said
    assert golden.additions_in_text(ask(*command).out).items() >= said.items()


def test_a_heap_of_unknown_parts_is_the_same_on_both_faces(visit, ask, names):
    command = ("next", "62,-18,-9", "--dab", "mixtures/kelp", "--heap", "10")
    tubes = ("HULL", "ROPE", "STARBOARD")
    of = ("--of", ",".join(tubes), "--wanted", "20")
    said = golden.additions_in_json(ask(*command, *of, "--json").json, names)
    assert golden.additions_in_text(ask(*command, *of).out) == said
    ask("next", "62,-18,-9", "--clear", "--add", "HULL=1")
    form = [("colour", "mixtures/kelp"), ("grams", "10"), *(("of", tube) for tube in tubes)]
    back = "/mix?target=62,-18,-9"
    there = visit.get(f"/heap?{urlencode({'back': back})}").text
    plate = re.search(r'action="/heap">.*?name="seen" value="(\w+)"', there, re.S)
    form += [("seen", plate[1]), ("back", back)]
    assert visit.wait(visit.send("/heap", form))["path"] == back
    assert golden.additions_on_page(visit, {"target": "62,-18,-9"}, {}) == said


@pytest.mark.parametrize("asked", MIXES)
def test_a_mix_looks_the_same_on_both_faces(asked, visit, ask, names):
    parts, page, options = MIXES[asked]
    shown = golden_mixes.prediction_on_page(visit, {f"p:{p}": n for p, n in parts.items()} | page)
    command = ("predict", ",".join(f"{p}={n}" for p, n in parts.items()), *options)
    words = shown.pop("mix")
    said = golden_mixes.prediction_in_json(ask(*command, "--json").json, names)
    assert shown == said
    assert golden_mixes.prediction_in_text(ask(*command).out) == said | {"mix": words}


@pytest.mark.parametrize("asked", [each for each in MIXES if "film" not in MIXES[each][1]])
def test_a_mix_greys_for_the_same_reasons_on_both_faces(asked, visit, ask, names):
    parts, page, options = MIXES[asked]
    shown = golden_mixes.greying_on_page(visit, {f"p:{p}": n for p, n in parts.items()} | page)
    command = ("muddy", ",".join(f"{p}={n}" for p, n in parts.items()), *options)
    said = golden_mixes.greying_in_json(ask(*command, "--json").json, names)
    assert shown == said
    assert said.items() >= golden_mixes.greying_in_text(ask(*command).out).items()


@pytest.mark.parametrize("asked", FAR)
def test_the_tubes_reach_as_far_on_both_faces(asked, visit, ask, names):
    target, lay, more = FAR[asked]
    laid_out = lay.split(",")
    shown = golden_mixes.reach_on_page(visit, {"target": target, **more}, laid_out)
    out = ",".join(paint for paint in names if paint not in [*laid_out, "MEDIUM"])
    options = [word for key, value in more.items() for word in (f"--{key}", value)]
    command = ("reach", target, "--without", out, *options)
    said = golden_mixes.reach_in_json(ask(*command, "--json").json, names)
    assert shown == said
    assert golden_mixes.reach_in_text(ask(*command).out) == said


@pytest.mark.parametrize("asked", PICTURES)
def test_the_same_is_set_out_on_both_faces(asked, visit, ask, names, own_demo):
    colours, page, options = PICTURES[asked]
    photo = None if colours else own_demo / "photos" / "slipway.jpg"
    form = {"colours": "\n".join(colours), **page}
    shown = golden_mixes.setting_out_on_page(visit, form, photo)
    command = ("setout", *(colours or (str(photo),)), *options)
    said = golden_mixes.setting_out_in_json(ask(*command, "--json").json, names)
    assert shown == said
    words = golden_mixes.setting_out_in_text(ask(*command).out)
    assert words["matched"] == said["matched"] and words["tubes"] == list(said["tubes"])
    assert words["heaps"] == said["heaps"]


def test_the_studio_stands_alike_on_both_faces(visit, own_demo, monkeypatch, capsys):
    shown = " ".join(golden.text_of(visit.get("/").text).split())
    monkeypatch.chdir(own_demo)
    said = run(monkeypatch, capsys)
    assert said.status == 0, said.err
    counts, *lines = said.out.splitlines()
    for each in re.findall(r"\d+ (?:tube|card|paint)s?|release [\d.]*\d|nothing published", counts):
        assert each in shown
    todo = [re.match(r"- (.*?[.:]) (?=tintladder)", line)[1] for line in lines[:-1]]
    assert todo and all(each in shown for each in todo)
    assert "tintladder --help" in lines[-1]


def test_fifty_requests_are_compared():
    greyed = [each for each in MIXES if "film" not in MIXES[each][1]]
    assert sum(map(len, (RECIPES, PLATES, MIXES, greyed, FAR, PICTURES))) + 1 >= 50
