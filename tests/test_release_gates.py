"""What stands against publishing, and what becomes of it when it is forced."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from datetime import date
from functools import partial

import pandas as pd
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.judging.quality import FIRST_GUESS, LOOK_AT_STEP
from tintladder.database.common.words import caution
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import plan, publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.paints_file import NewLot
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML, fill, joint_fit, ladder, session


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        yield fill(opened)


def judged(verdict, paint="KEEL"):
    fit = joint_fit()
    worse = replace(fit.paints[paint], verdict=verdict, reasons=("for the test",))
    return replace(fit, paints={**fit.paints, paint: worse})


def stops(store, **said):
    return [gate.gate for gate in plan(store, **said).gates if gate.stops]


def test_a_sound_studio_has_nothing_against_it(store):
    assert plan(store).gates == ()


def test_a_paint_to_paint_again_stops_it(store):
    store.fits.record(judged(LOOK_AT_STEP), store.readings.all())
    with pytest.raises(InputError, match=r"KEEL: its fit is judged .*; mend it, leave"):
        publish(store)
    assert releases(store) == [] and not store.studio.releases.exists()
    made = publish(store, exclude=["keel"])
    assert load_release(made.folder).coefficients.paints == ("HULL",)
    assert "- Excluded: KEEL." in (made.folder / "CHANGELOG.md").read_text()


def test_a_first_guess_is_told(store):
    store.fits.record(judged(FIRST_GUESS), store.readings.all())
    assert ("verdict", False) in [(gate.gate, gate.stops) for gate in publish(store).gates]


def test_what_was_forced_stands_in_the_release(store):
    store.fits.record(judged(LOOK_AT_STEP), store.readings.all())
    made = publish(store, force="the sign must go up on Friday")
    said = json.loads((made.folder / "datapackage.json").read_text())["gates"]
    assert said["forced"] == "the sign must go up on Friday"
    assert [finding["paint"] for finding in said["findings"] if finding["stops"]] == ["KEEL"]
    assert "Friday" in (made.folder / "CHANGELOG.md").read_text()
    assert verify_release(made.archive, made.digest) == []
    (row,) = releases(store)
    assert row.gates == said


def test_a_reason_where_nothing_stops_it_is_not_recorded(store):
    made = publish(store, force="just in case")
    assert json.loads((made.folder / "datapackage.json").read_text())["gates"]["forced"] == ""


@pytest.mark.parametrize(
    "off, stopped", [([0.7, 1.9], False), ([3.0, 3.0], True), ([0.0] * 9 + [9.0] * 2, True)]
)
def test_held_out_mixtures_judge_the_whole(store, off, stopped):
    fit = store.fits.record(joint_fit(), store.readings.all())
    table = pd.DataFrame({"card": "held-out", "step": "half", "over": "black", "de00": off})
    store.fits.record_checks(fit, table)
    assert ("held-out" in stops(store)) is stopped


def test_without_held_out_mixtures_it_says_so(store):
    store.fits.record(joint_fit(), store.readings.all())
    assert [(g.gate, g.stops) for g in plan(store).gates] == [("held-out", False)]


def moved(factor):
    """The same fit with KEEL absorbing more."""
    fit = joint_fit()
    k = fit.coefficients.k.copy()
    k[1] *= factor
    return replace(fit, coefficients=replace(fit.coefficients, k=k))


@pytest.mark.parametrize("factor, gates", [(1.0, []), (1.02, []), (3.0, ["drift"])])
def test_drift_from_the_last_release(store, factor, gates):
    publish(store)
    store.fits.record(moved(factor), store.readings.all())
    assert stops(store) == gates


def test_other_numbers_make_a_major_version(store):
    publish(store)
    fit = joint_fit()
    relative = replace(fit.coefficients, scale="relative to HULL")
    store.fits.record(replace(fit, coefficients=relative), store.readings.all())
    assert (plan(store).version, stops(store)) == ("2.0.0", ["drift"])


def test_a_fit_on_what_no_longer_holds_stops_it(store):
    store.cards.add(replace(ladder(), note="weighed again"), "other text")
    assert stops(store) == ["stale"]
    store.fits.record(joint_fit(), store.readings.all())
    assert stops(store) == []
    number = store.readings.add("keel-1", session(ladder(), 9))
    store.imports.record(["late.txt"], [number], [])
    store.fits.record(joint_fit(), store.readings.all())
    store.imports.undo()
    (gate,) = [gate for gate in plan(store).gates if gate.stops]
    assert "import was undone" in str(gate.words) and gate.paint == "HULL, KEEL"


def test_a_tube_fitted_against_another_white_stops_it(store):
    known = store.fits.coefficients(["HULL"])
    store.fits.record(joint_fit(("KEEL",)), store.readings.all(), known=known)
    assert stops(store) == []
    store.fits.record(joint_fit(("HULL",)), store.readings.all())
    (gate,) = [gate for gate in plan(store).gates if gate.stops]
    assert gate.paint == "KEEL" and "against HULL before that was fitted anew" in str(gate.words)


def test_numbers_of_another_tube_are_told(store):
    publish(store)
    store.paints.add_lot("HULL", NewLot("W9", opened=date(2026, 4, 1)))
    store.fits.record(joint_fit(), store.readings.all())
    (gate,) = [gate for gate in plan(store).gates if gate.gate == "lot"]
    assert gate.paint == "HULL" and "read of lot W1, the tube in use is lot W9" in str(gate.words)
    assert not gate.stops


def test_a_paint_of_unstated_pigments_stops_it(tmp_path):
    with Store.open(tmp_path) as store:
        store.paints.add_file(PAINTS_TOML)
        store.fits.record(joint_fit(("BRASS",)), [])
        assert stops(store) == ["caution"]
        said = 'finish = "metallic"\npigments = ["unknown"]'
        store.paints.add_file(PAINTS_TOML.replace('finish = "metallic"', said))
        made = publish(store)
    assert "BRASS: pigments unknown" in (made.folder / "README.md").read_text()
    assert "never sand" in load_release(made.folder).tables["paints"]["caution"][0]


@pytest.mark.parametrize(
    "pigments, word",
    [(["PR108"], "cadmium"), (["pb28"], "cobalt"), (["PW1"], "lead"), (["PB29"], ""), ([], "unkno"),
     (["PG18", "PY35"], "chromium and cadmium")],
)  # fmt: skip
def test_cautions_by_pigment(pigments, word):
    """Which pigments hold these metals: from memory, no source."""
    assert word in caution(pigments) and bool(word) == bool(caution(pigments))


def test_publish_from_the_command_line(monkeypatch, capsys, tmp_path):
    tool = partial(run, monkeypatch, capsys)
    with Store.open(tmp_path) as store:
        fill(store).fits.record(judged(LOOK_AT_STEP), store.readings.all())
    at = ("--studio", tmp_path)
    seen = tool("publish", "--preview", *at)
    assert seen.status == 0 and "nothing was published" in seen.out and "Stops it: KEEL" in seen.out
    assert tool("publish", *at).status == 2
    assert tool("publish", "--preview", "--json", *at).json["stopped"] is True
    made = tool("publish", "--force", "for the test", "--json", *at).json
    assert made["version"] == "1.0.0" and made["gates"][0]["paint"] == "KEEL"
    with sqlite3.connect(tmp_path / "studio.db") as raw:
        (gates,) = raw.execute("SELECT gates FROM releases").fetchone()
    assert json.loads(gates)["forced"] == "for the test"
