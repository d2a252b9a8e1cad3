"""What a check of the studio finds: damage, what hangs loose, what is out of date."""

from __future__ import annotations

import re
import shutil
import sqlite3
from dataclasses import replace
from functools import partial

import pytest
from tintladder.database.care.integrity import check_studio
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import fill, joint_fit, ladder, session


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        publish(fill(opened))
        yield opened


def found(store):
    return [(f.kind, f.broken, f.words) for f in check_studio(store)]


def spoil(store, *statements):
    """Change the database behind the store's back, past its keys and triggers."""
    with sqlite3.connect(store.studio.database) as raw:
        triggers = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            raw.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            raw.execute(statement)


def test_a_sound_studio(store):
    assert found(store) == []


@pytest.mark.parametrize(
    "statement, kind, said",
    [
        ("DELETE FROM readings WHERE session_id = 1", "orphan", "session 1 .* has no readings"),
        ("DELETE FROM cards WHERE id = 1", "orphan", "belongs to a row of cards that is gone"),
        ("UPDATE fits SET coefficients = x'00'", "integrity", "numbers of fit 1 were changed"),
        ("UPDATE sessions SET sha256 = 'ab'", "orphan", "rests on session 1, which is gone"),
        ("UPDATE card_versions SET text = ''", "integrity", "card .* isn't as its file was"),
    ],
)
def test_damage_is_found(store, statement, kind, said):
    spoil(store, statement)
    broken = [(k, words) for k, bad, words in found(store) if bad]
    assert any(k == kind and re.search(said, words) for k, words in broken), broken


def test_what_hangs_loose(store):
    store.cards.add(ladder("stern"), "text")
    (store.studio.releases / "notes.txt").write_text("mine")
    said = found(store)
    assert [(kind, bad) for kind, bad, _ in said] == [("orphan", False)] * 2
    assert "card stern was never read" in said[0][2] and "notes.txt" in said[1][2]


def test_a_release_that_was_tampered_with_or_lost(store):
    folder = store.studio.releases / "paints-1.0.0"
    (folder / "README.md").write_text("buy more of it")
    assert [bad for _, bad, _ in found(store)] == [True]
    shutil.rmtree(folder)
    assert found(store) == [], "the zip is there yet"
    (store.studio.releases / "paints-1.0.0.zip").unlink()
    assert "was published, but isn't in" in found(store)[0][2]


def test_what_is_out_of_date(store):
    store.cards.add(replace(ladder(), note="weighed again"), "other text")
    assert found(store) == [
        ("stale", False, "fit 1 of HULL, KEEL rests on a card that was corrected since")
    ]
    store.fits.record(joint_fit(), store.readings.all())
    assert found(store) == []


@pytest.mark.parametrize("done, stale", [("2026-03-03T08:00:00Z", False), ("2026-02-20", True)])
def test_a_calibration_that_was_too_old(store, done, stale):
    """The session was read on 2026-03-03."""
    spoil(
        store,
        "INSERT INTO calibrations (device_id, done, kind, result) "
        f"VALUES (1, '{done}', 'tile', '{{}}')",
        "UPDATE sessions SET calibration_id = 1 WHERE id = 1",
    )
    said = found(store)
    assert [kind for kind, _, _ in said] == ["stale"] * stale
    assert not stale or "11 days after its calibration" in said[0][2]


def test_check_from_the_command_line(store, monkeypatch, capsys):
    tool = partial(run, monkeypatch, capsys)
    at = ("--studio", store.studio.folder)
    said = tool("verify", *at)
    assert said.status == 0 and "whole" in said.out
    store.readings.add("keel-1", session(ladder(), 4))
    spoil(store, "DELETE FROM readings WHERE session_id = 3")
    said = tool("verify", *at)
    assert said.status == 2 and "Broken: session 3" in said.out and "tintladder:" in said.err
    assert tool("verify", "--json", *at).json[0]["broken"] is True
