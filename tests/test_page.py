"""The page's answers, asked as a browser would: what it shows, keeps, refuses and escapes."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from tintladder.database.page.views.fits import OF_ALL, OF_ONE
from tintladder.database.store import engine
from tintladder.database.store.store import Store

from .page_crowd import crowd
from .page_server import SCRIPT, Visitor, serving
from .studio_cards import PATCHES, readings_text, write_all


@pytest.fixture
def keel(page: Visitor, tmp_path: Path):
    """A studio with a card and its readings."""
    said = page.wait(page.drop("/read", write_all(tmp_path)))
    assert said["path"] == "/cards/1"
    return page


LOOKS = [
    ("/", "Where everything stands"),
    ("/tubes", "Anchor Blue"),
    ("/tubes/ANCHOR", "Its tube"),
    ("/cards", "mixtures"),
    ("/cards/new", "Plan a card"),
    ("/cards/1", "What was read"),
    ("/cards/mixtures", "judges fits"),
    ("/cards/1/sitting", "Rehearse without an instrument"),
    ("/scanners", "Scanners and phones"),
    ("/fits", "Good to mix by"),
    ("/paints/ANCHOR", "from masstone to white"),
    ("/paints/ANCHOR/next", "What each would bring"),
    ("/publish", "othing has changed since 1.0.0"),
    ("/releases", "the boatyard"),
    ("/compare", "No paint that is in both was refitted"),
    ("/paper", "Chart and tube labels"),
    ("/mix", "Aim"),
    ("/mix?target=62,-18,-9", "Tubes out"),
    ("/mix?target=BUOY+3:1&lay=HULL&lay=BUOY", "3 parts Hull White, 1 Buoy Red"),
]


@pytest.mark.parametrize(("path", "words"), LOOKS)
def test_every_page_shows(demo_page, path, words):
    answer = demo_page.get(path)
    assert answer.status == 200, answer.text
    assert words in answer.text
    assert not re.search(r"%\s*match|<style|style=|onclick=|javascript:", answer.text)


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        *[(f"/paints/ANCHOR/{kind}.png", "image/png") for kind in OF_ONE],
        *[(f"/fits/{kind}.png", "image/png") for kind in OF_ALL],
        ("/compare.png?old=1.0.0&new=now", "image/png"),
        ("/releases/1.0.0.zip", "application/zip"),
        ("/releases/1.0.0/report", "text/html"),
        ("/page.css", "text/css"),
        ("/page.js", "text/javascript"),
    ],
)
def test_pictures_and_files_are_served(demo_page, path, kind):
    answer = demo_page.get(path)
    assert answer.status == 200 and answer.headers["content-type"].startswith(kind)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/paints/NOSUCH", "fits no tube"),
        ("/cards/99", "there is no such card"),
        ("/releases/9.9.9.zip", "no such release"),
        ("/cards/1/papers/..%2Fstudio.db", "there is no such page"),
        ("/cards/1/papers/studio.db", "is no paper of this card"),
        ("/nowhere", "there is no such page"),
        ("/paints/ANCHOR/gloss.png", "there is no such picture"),
        ("/fits/leftover.png", "there is no such picture"),
        ("/jobs/nosuch", "That was cut short"),
        ("/paper/nosuch.pdf", "print it again"),
        ("/paper/..%2Fstudio.db", "there is no such page"),
    ],
)
def test_what_is_not_there_gets_one_line(demo_page, path, words):
    answer = demo_page.get(path)
    assert answer.status in (400, 404) and words in answer.text
    assert "Traceback" not in answer.text


def test_an_empty_studio_is_begun_with_two_names(page, tmp_path):
    for path in ("/", "/tubes", "/cards/1", "/mix"):
        answer = page.get(path)
        assert "Begin with two tubes" in answer.text or answer.headers["location"] == "/"
    assert not (tmp_path / "studio").exists()
    answer = page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    assert answer.json["path"] == "/cards/new?tube=ANCHOR&white=HULL"
    form = page.get(answer.json["path"]).text
    assert re.search(r'value="ANCHOR" checked', form)
    printed = page.send("/cards", {"tube": "ANCHOR", "white": "HULL", "scale": "0.1"})
    assert printed.json["path"] == "/cards/1"
    card = page.get("/cards/1").text
    papers = re.findall(r'href="(/cards/1/papers/[^"]+)"', card)
    assert [page.get(paper).body[:4] for paper in papers] == [b"%PDF", b"%PDF"]


def test_one_tube_of_two_that_cannot_be_leaves_neither(page):
    answer = page.send("/begin", {"white_name": "Hull White", "colour_name": " "})
    assert answer.status == 400 and "a tube needs a name" in answer.json["line"]
    assert "Begin with two tubes" in page.get("/").text


def test_names_are_escaped_wherever_they_show(page):
    page.send("/begin", {"white_name": "Hull White", "colour_name": SCRIPT})
    page.send("/cards", {"tube": "SCRIPTALERTHULLSCR", "white": "HULL", "name": "one"})
    page.drop("/read", [Path(__file__)], '"><script>.exe')
    for path in ("/", "/tubes", "/cards/new", "/cards", "/cards/1", "/fits", f"/paints/{SCRIPT}"):
        text = page.get(path).text
        assert "alert('" not in text, path
    assert "&lt;script&gt;" in page.get("/tubes").text


def test_what_was_weighed_is_kept_and_its_second_window_is_told(page):
    page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    page.send("/cards", {"tube": "ANCHOR", "white": "HULL"})
    seen = re.search(r'name="seen" value="(\d+)"', page.get("/cards/1").text)[1]
    form = {"seen": seen, "g:3:1/HULL": "2,1", "painted": str(date.today())}
    assert page.send("/cards/1/weighed", form).status == 200
    card = page.get("/cards/1").text
    assert 'name="g:3:1/HULL" value="2.1"' in card and f"painted {date.today()}" in card
    other = page.send("/cards/1/weighed", form | {"g:3:1/HULL": "9"})
    assert other.status == 409 and "changed elsewhere" in other.json["line"]
    assert 'value="2.1"' in page.get("/cards/1").text


@pytest.mark.parametrize(
    ("typed", "words"), [("much", "expected grams above 0"), ("-1", "expected grams above 0")]
)
def test_grams_that_are_none_are_refused(page, typed, words):
    page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    page.send("/cards", {"tube": "ANCHOR", "white": "HULL"})
    seen = re.search(r'name="seen" value="(\d+)"', page.get("/cards/1").text)[1]
    answer = page.send("/cards/1/weighed", {"seen": seen, "g:3:1/HULL": typed})
    assert answer.status == 400 and words in answer.json["line"]
    assert "As printed" in page.get("/cards/1").text


def test_a_tube_is_used_up_once(keel):
    assert keel.send("/tubes/HULL", {"seen": "yes", "on_hand": "no"}).status == 200
    again = keel.send("/tubes/HULL", {"seen": "yes", "on_hand": "no"})
    assert again.status == 409 and "changed elsewhere" in again.json["line"]


def test_readings_show_their_flags_and_can_be_taken_back(keel):
    card = keel.get("/cards/1").text
    assert "below zero at 400 nm" in card and "<polyline" in card
    seen = re.search(r'name="seen" value="(\d+)"><input type="hidden" name="back"', card)[1]
    assert keel.send("/take-back", {"seen": seen, "back": "/cards"}).status == 200
    assert keel.send("/take-back", {"seen": seen}).status == 409


def test_what_a_file_leaves_open_is_asked_and_the_file_is_still_there(keel, tmp_path):
    silent = tmp_path / "again.txt"
    text = readings_text(PATCHES, seed=2)
    silent.write_text("".join(line for line in text.splitlines(True) if "UNIT" not in line))
    asked = keel.drop("/cards/1/read", [silent])
    said = keel.wait(asked)
    assert "percent" in said["fault"]
    watched = keel.get(asked.json["path"]).text
    back = re.search(r'href="(/cards/1\?again=again.txt#read)"', watched)[1]
    assert "Still here: again.txt" in keel.get(back.partition("#")[0]).text
    done = keel.wait(keel.send("/cards/1/read", {"again": "again.txt", "unit": "percent"}))
    assert done["path"] == "/cards/1"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("paints.exe", "nothing here reads files of this kind"),
        ("..\\..\\studio.db", "nothing here reads files of this kind"),
        ("", "no file was chosen"),
    ],
)
def test_files_of_other_kinds_are_refused(keel, tmp_path, name, words):
    other = tmp_path / "other.txt"
    other.write_text("no readings")
    answer = keel.drop("/read", [other], name) if name else keel.send("/read")
    assert answer.status == 400 and words in answer.json["line"]


def test_a_name_with_folders_in_it_is_kept_in_the_studio(keel, tmp_path):
    other = tmp_path / "other.txt"
    other.write_text("no readings")
    said = keel.wait(keel.drop("/read", [other], "../../../climbed.txt"))
    assert said["fault"]
    assert (tmp_path / "studio" / "dropped" / "climbed.txt").exists()
    assert not list(tmp_path.parent.glob("climbed.txt"))


def test_a_job_that_fails_says_so_in_one_line_and_leads_back(page):
    page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    answer = page.send("/fits")
    said = page.wait(answer)
    assert "read its card first" in said["fault"] and "\n" not in said["fault"]
    assert "Go back and mend it" in page.get(answer.json["path"]).text


def test_a_card_is_let_down_with_the_white_of_the_last(page):
    page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    assert "which white?" in page.get("/cards/new").text
    page.send("/cards", {"tube": "ANCHOR", "white": "HULL"})
    page.send("/tubes", {"name": "Rope Earth"})
    page.send("/tubes/ANCHOR", {"seen": "yes", "on_hand": "no"})
    form = page.get("/cards/new").text
    assert '<option value="HULL" selected>' in form and "which white?" not in form
    assert 'value="ROPE" checked' in form and "aren't on hand" in form


@pytest.mark.parametrize(
    ("path", "part"), [("/paints/ANCHOR", "Fits"), ("/adopt", "Releases"), ("/heap", "Mix")]
)
def test_a_page_says_which_part_of_the_studio_it_is_in(demo_page, path, part):
    (current,) = re.findall(r'aria-current="page">(\w+)<', demo_page.get(path).text)
    assert current == part


def test_only_what_was_shown_is_published(demo_page):
    answer = demo_page.send("/publish", {"seen": "another"})
    assert "nothing has changed" in demo_page.wait(answer)["fault"]


def test_a_studio_that_another_program_holds_is_said_in_one_line(keel, tmp_path, monkeypatch):
    monkeypatch.setattr(engine, "BUSY_SECONDS", 0.2)
    database = tmp_path / "studio" / "studio.db"
    with closing(sqlite3.connect(database, isolation_level=None)) as held:
        held.execute("BEGIN EXCLUSIVE")
        answer = keel.send("/tubes", {"name": "Rope Earth"})
        assert answer.status == 400 and "no other program holds it" in answer.json["line"]
        assert "\n" not in answer.json["line"]
        held.execute("ROLLBACK")
    assert keel.send("/tubes", {"name": "Rope Earth"}).status == 200


def test_what_was_begun_by_a_server_since_stopped_is_said_to_be_cut_short(tmp_path):
    with serving(tmp_path / "studio") as page:
        page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
        path = page.send("/fits").json["path"]
    with serving(tmp_path / "studio") as page:
        assert page.get(path).status == 404
        assert "Nothing was half-written" in page.get(path).text
        assert page.get(path, Accept="application/json").json == {"lost": True}
        with Store.open(tmp_path / "studio") as store:
            assert len(store.paints.all()) == 2


def test_a_crowd_loses_nothing(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    assert crowd(tmp_path / "demo", 30) == []
