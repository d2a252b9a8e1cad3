"""Another studio's release on the page: shown first, adopted as chosen, or refused whole."""

from __future__ import annotations

import re

import pytest
from tintladder.database.store.store import Store

from .page_server import SCRIPT


@pytest.fixture(scope="module")
def theirs(demo):
    return demo.release.archive


def shown(page, theirs):
    path = page.drop("/adopt/file", [theirs]).json["path"]
    text = page.get(path).text
    return text, re.search(r'name="seen" value="(\w+)"', text)[1]


def test_an_empty_studio_adopts_a_release(page, theirs, tmp_path):
    assert page.get("/adopt").status == 200 and not (tmp_path / "studio").exists()
    text, seen = shown(page, theirs)
    assert "Anchor Blue" in text and "not here yet" in text
    form = {"file": theirs.name, "seen": seen, "do:ROPE": "leave"}
    assert page.wait(page.send("/adopt", form))["path"] == "/fits"
    with Store.open(tmp_path / "studio") as store:
        fitted = set(store.fits.current())
        assert "ANCHOR" in fitted and "ROPE" not in fitted
    again = page.send("/adopt", form)
    assert again.status == 409 and "changed elsewhere" in again.json["line"]


def test_a_release_is_mixed_with_after_two_steps(page, theirs, tmp_path):
    """Dropped where any file may be, and adopted as on hand: its tubes lie on the mixing table."""
    path = page.drop("/read", [theirs]).json["path"]
    text = page.get(path).text
    assert "lay them out to mix with" in text
    form = {"file": theirs.name, "seen": re.search(r'name="seen" value="(\w+)"', text)[1]}
    done = page.wait(page.send("/adopt", form | {"here": "yes", "do:ROPE": "leave"}))
    assert done["path"].startswith("/mix?") and "lay=ANCHOR" in done["path"]
    table = page.get(done["path"]).text
    assert re.search(r'name="lay" value="ANCHOR" checked', table) and 'type="range"' in table
    assert "ROPE" not in table
    with Store.open(tmp_path / "studio") as store:
        assert all(paint.on_hand for paint in store.paints.all() if paint.nickname != "ROPE")


def test_a_paint_that_is_here_too_is_kept_taken_or_set_beside(own_page, theirs):
    page, folder = own_page
    text, seen = shown(page, theirs)
    assert "keep ours" in text
    form = {"file": theirs.name, "seen": seen, "do:ANCHOR": "beside", "name:ANCHOR": "ANCHOR-2"}
    # A paint comes with its white, for its numbers rest on that.
    assert page.wait(page.send("/adopt", form | {"do:HULL": "theirs"}))["path"] == "/fits"
    with Store.open(folder) as store:
        assert {"ANCHOR", "ANCHOR-2"} <= set(store.fits.current())


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"do:ANCHOR": "beside"}, "expected a nickname"),
        ({"do:ANCHOR": "beside", "name:ANCHOR": SCRIPT}, "expected a nickname"),
        ({"do:ANCHOR": "beside", "name:ANCHOR": "HULL"}, "nickname"),
        ({}, "nothing is left to adopt"),
    ],
)
def test_what_cannot_be_adopted_changes_nothing(demo_page, theirs, form, words):
    _, seen = shown(demo_page, theirs)
    answer = demo_page.send("/adopt", {"file": theirs.name, "seen": seen} | form)
    assert answer.status == 400 and words in answer.json["line"]


def test_a_release_that_was_tampered_with_is_refused(demo_page, theirs, tmp_path):
    spoilt = tmp_path / "spoilt.zip"
    raw = bytearray(theirs.read_bytes())
    raw[len(raw) // 2] ^= 255
    spoilt.write_bytes(raw)
    path = demo_page.drop("/adopt/file", [spoilt]).json["path"]
    answer = demo_page.get(path)
    assert answer.status == 400 and "Traceback" not in answer.text
    assert "spoilt.zip" in answer.text and "dropped" not in answer.text
    wrong = demo_page.get(f"/adopt?file={theirs.name}&digest={'0' * 64}")
    demo_page.drop("/adopt/file", [theirs])
    assert wrong.status == 400 or "digest" in wrong.text
    kind = demo_page.drop("/adopt/file", [theirs], "paints.txt")
    assert kind.status == 400 and "drop .zip" in kind.json["line"]
    form = {"file": theirs.name, "seen": shown(demo_page, theirs)[1], "do:ANCHOR": "eat"}
    unknown = demo_page.send("/adopt", form)
    assert unknown.status == 400 and "expected leave or theirs" in unknown.json["line"]
    assert demo_page.get("/adopt?file=nosuch.zip").status == 400
