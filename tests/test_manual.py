"""The chapters of the manual, in the terminal and on the page."""

from __future__ import annotations

import re
from html import unescape

import pytest
from tintladder.database.manual import TOPICS, chapter

from .page_server import Visitor


def test_the_list_names_every_chapter(tool):
    rows = tool("manual", "--json").json
    assert [row["topic"] for row in rows] == list(TOPICS)
    assert all(row["title"] in tool("manual").out for row in rows)


@pytest.mark.parametrize("topic", TOPICS)
def test_a_chapter_is_shown(tool, topic):
    said = tool("manual", topic)
    assert said.status == 0 and said.out.rstrip() == chapter(topic).text.rstrip()
    assert tool("manual", topic, "--json").json["title"] == chapter(topic).title


def test_a_chapter_is_found_by_its_beginning_and_a_slip_is_answered(tool):
    assert tool("manual", "scan").out == tool("manual", "scanning").out
    for typed, said in (("scnaning", "did you mean scanning?"), ("zzz", "the chapters are")):
        wrong = tool("manual", typed)
        assert (wrong.status, wrong.err.count("\n")) == (2, 1) and said in wrong.err


def test_the_page_shows_every_chapter(page: Visitor):
    listed = page.get("/manual").text
    for topic in TOPICS:
        assert f'href="/manual/{topic}"' in listed
        answer = page.get(f"/manual/{topic}")
        assert answer.status == 200
        assert f"<h1>{chapter(topic).title}</h1>" in unescape(answer.text)
        assert not re.search(r"<style|style=|onclick=|javascript:", answer.text)
    assert 'href="/manual"' in page.get("/").text


def test_chapters_link_to_each_other_on_the_page(page: Visitor):
    cards = page.get("/manual/cards").text
    assert '<a href="/manual/fitting">Fitting</a>' in cards
    assert page.get("/manual/none").status != 200
