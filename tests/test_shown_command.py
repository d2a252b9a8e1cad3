"""Things to look at from the command line: handout, set-out page, picture of the ways."""

from __future__ import annotations

import pymupdf
import pytest
from tintladder.database.demo.demo import make_demo

from .command import run


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return make_demo(tmp_path_factory.mktemp("lesson") / "demo")


@pytest.fixture
def tool(demo, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return lambda *said: run(monkeypatch, capsys, *said, "--studio", demo.folder)


def test_a_handout_of_colours(tool, tmp_path):
    done = tool(
        "lesson", "62,-18,-9", "40,30,20", "--people", 12, "--title", "Sky & rust", "--json"
    )
    assert done.status == 0, done.err
    assert len(done.json["colours"]) == 2 and not done.json["unreached"]
    text = (tmp_path / "lesson.html").read_text(encoding="utf-8")
    assert "Sky &amp; rust" in text and 'value="12"' in text


def test_a_colour_out_of_reach_is_said(tool):
    done = tool("lesson", "55,90,-90")
    assert done.status == 0 and "don't reach" in done.out


def test_a_set_out_is_printed_when_asked(tool, tmp_path):
    done = tool("setout", "62,-18,-9", "40,30,20", "--print", "page.pdf")
    assert done.status == 0 and "Printed to page.pdf" in done.out
    with pymupdf.open(tmp_path / "page.pdf") as document:
        said = " ".join(document[0].get_text().split())
    assert "Set out for 2 colours" in said and "Hull White" in said


def test_ways_to_a_colour_are_drawn_when_asked(tool, tmp_path):
    done = tool("recipe", "62,-18,-9", "--ways", 2, "--picture", "ways.png")
    assert done.status == 0 and "Picture: ways.png" in done.out
    assert (tmp_path / "ways.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("lesson", "no such colour"), "no such colour"),
        (("lesson", "62,-18,-9", "--grey", "1,1"), "--grey"),
        (("lesson", "62,-18,-9", "--out", "/proc/none/a.html"), "can't be written"),
        (("setout", "62,-18,-9", "--print", "a.pdf", "--page", "a3"), "a4 or letter"),
        (("recipe", "62,-18,-9", "--picture", "ways.gif"), ".svg or .pdf"),
    ],
)
def test_refuses_in_one_line_and_leaves_nothing(tool, tmp_path, arguments, said):
    done = tool(*arguments)
    assert done.status == 2 and said in done.err and done.err.count("\n") == 1
    assert not list(tmp_path.iterdir())
