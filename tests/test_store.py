"""The studio store: what goes in comes out whole, and nothing is lost or half-written."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from tintladder.calibrate.errors import InputError
from tintladder.database.store.engine import migration_config, open_engine
from tintladder.database.store.packing import (
    pack_coefficients,
    pack_table,
    unpack_coefficients,
    unpack_table,
)
from tintladder.database.store.schema import APPEND_ONLY, HEAD, Base
from tintladder.database.store.store import Store
from tintladder.database.store.studio import Studio

from .studio_fixtures import PAINTS_TOML, coefficients, joint_fit, ladder, named_by_fit, session


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        opened.paints.add_file(PAINTS_TOML)
        yield opened


@pytest.fixture
def filled(store):
    store.cards.add(ladder(), "the card's own text")
    store.readings.add("keel-1", session(ladder()))
    return store


def assert_same(one, other):
    """Same type and, bit for bit, the same values in every field."""
    for field in fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype, field.name
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        elif isinstance(a, pd.DataFrame):
            pd.testing.assert_frame_equal(a, b, check_exact=True)
        elif hasattr(a, "__dataclass_fields__"):
            assert_same(a, b)
        else:
            assert a == b, field.name


def rows(store, table):
    with store._engine.connect() as connection:
        return connection.execute(text(f"SELECT count(*) FROM {table}")).scalar()


# Schema and migrations


def test_one_head_and_it_is_the_schemas():
    assert ScriptDirectory.from_config(migration_config()).get_heads() == [HEAD]


def test_migrations_make_just_what_the_models_say(store):
    with store._engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, Base.metadata) == []


@pytest.mark.parametrize("pragma, value", [("journal_mode", "wal"), ("foreign_keys", 1)])
def test_sqlite_is_set_up(store, pragma, value):
    with store._engine.connect() as connection:
        assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value


def test_append_only_rows_cannot_change_or_go(filled):
    insert = "INSERT INTO releases (version, name, created, note, digest, contents) VALUES"
    with filled.transaction() as opened:
        opened.execute(text(f"{insert} ('1.0.0', 'paints-1.0.0', '', '', '', '{{}}')"))
        opened.execute(
            text(
                "INSERT INTO scans (card_id, file, sha256, attempt, added, settings, dpi, asked, "
                "level_from, evened, remarks) VALUES (1, '', '', 1, '', '{}', 300, '{}', '', '{}', "
                "'[]')"
            )
        )
        opened.execute(
            text(
                "INSERT INTO scan_patches (scan_id, patch, repeat, channels, variance, lab, "
                "spread, left_out, flag) VALUES (1, '', 1, '[]', '[]', '[]', 0, 0, '')"
            )
        )
        opened.execute(
            text(
                "INSERT INTO sittings (card_id, started, profile, plan, skipped) "
                "VALUES (1, '', '', '{}', '[]')"
            )
        )
        opened.execute(
            text(
                "INSERT INTO sitting_readings (sitting_id, place, round, repeat, taken, "
                "reflectance, said) VALUES (1, '', 1, 1, '', '[]', '{}')"
            )
        )
    for table in APPEND_ONLY:
        assert rows(filled, table) > 0
        for change in (f"UPDATE {table} SET id = id + 100", f"DELETE FROM {table}"):
            with pytest.raises(DBAPIError, match="append-only"), filled._engine.begin() as c:
                c.execute(text(change))


def test_a_newer_studio_is_refused(tmp_path):
    Store.open(tmp_path).close()
    with sqlite3.connect(tmp_path / "studio.db") as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(InputError, match="newer tintladder"):
        Store.open(tmp_path)


def test_what_is_no_studio_is_refused(tmp_path):
    with pytest.raises(InputError, match="no studio here yet"):
        Store.open(tmp_path / "nowhere", create=False)
    assert not (tmp_path / "nowhere").exists()
    (tmp_path / "studio.db").write_text("a shopping list, long enough to be read as a header" * 9)
    with pytest.raises(InputError, match="not a database"):
        Store.open(tmp_path)
    with pytest.raises(InputError, match="found a file"):
        Studio.at(tmp_path / "studio.db")


def test_a_studio_that_another_program_holds(filled, monkeypatch):
    monkeypatch.setattr("tintladder.database.store.engine.BUSY_SECONDS", 0.05)
    with sqlite3.connect(filled.studio.database) as other, Store.open(filled.studio) as second:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError, match=r"can't be used \(database is locked\)"):
            second.paints.set_on_hand("KEEL", True)
        assert len(second.readings.all()) == 1
        other.rollback()
        assert second.paints.set_on_hand("KEEL", True).on_hand


def assert_snapshot_of_one_moment(place):
    """What others keep meanwhile is not seen, from the moment on that it begins."""
    mast = '[[paint]]\nnickname = "{}"\nname = "Mast {}"\nmaker = "Slipway Colours (invented)"\n'
    with Store.open(place) as ours, Store.open(place) as theirs:
        ours.paints.add_file(PAINTS_TOML)
        with ours.snapshot():
            theirs.paints.add_file(mast.format("MAST", 1))
            assert len(ours.paints.all()) == 4
            theirs.paints.add_file(mast.format("MAST-2", 2))
            assert len(ours.paints.all()) == 4
        assert len(ours.paints.all()) == 6


def test_a_snapshot_is_of_one_moment(tmp_path):
    assert_snapshot_of_one_moment(tmp_path)


def test_opening_again_keeps_everything(filled):
    with Store.open(filled.studio.folder) as again:
        assert [paint.nickname for paint in again.paints.all()] == [
            "BRASS",
            "HULL",
            "KEEL",
            "KEEL-T",
        ]
        assert len(again.readings.all()) == 1


def test_a_transaction_is_whole_or_nothing(store):
    with pytest.raises(InputError, match="no such patch"), store.transaction():
        store.cards.add(ladder(), "text")
        good = session(ladder())
        store.readings.add("keel-1", good)
        bad = replace(good.spectra, labels=("elsewhere/black", *good.spectra.labels[1:]))
        store.readings.add("keel-1", replace(good, spectra=bad, sha256="0"))
    assert [rows(store, t) for t in ("cards", "card_versions", "sessions", "readings")] == [0] * 4


def test_the_engine_migrates_only_once(store):
    open_engine(store.studio).dispose()


# Cards and readings


def test_cards_and_readings_come_back_as_they_were(filled):
    card, read = ladder(), session(ladder())
    (back,) = filled.readings.all()
    assert_same(back.card, card)
    assert back.source == read.file
    assert back.surface.geometry == "45:0"
    inside = np.isin(read.spectra.wavelengths, back.spectra.wavelengths)
    np.testing.assert_array_equal(back.spectra.values, read.spectra.values[:, inside])  # noqa: PD011
    assert back.spectra.labels == read.spectra.labels
    np.testing.assert_array_equal(back.rows(card.patches[0]), [0, 1])


def test_raw_readings_are_kept_whole(filled):
    read = session(ladder())
    with sqlite3.connect(filled.studio.database) as raw:
        stored = raw.execute("SELECT reflectance FROM readings ORDER BY id").fetchall()
        (wavelengths,) = raw.execute("SELECT wavelengths FROM sessions").fetchone()
    values = np.array([json.loads(value) for (value,) in stored], dtype=float)
    np.testing.assert_array_equal(values, read.spectra.values)
    np.testing.assert_array_equal(json.loads(wavelengths), read.spectra.wavelengths)


def test_the_same_file_is_read_once(filled):
    with pytest.raises(InputError, match="already read for card keel-1"):
        filled.readings.add("keel-1", session(ladder()))
    assert rows(filled, "sessions") == 1


def test_an_unknown_card_is_named(filled):
    with pytest.raises(InputError, match=r"no card stern \(there are: keel-1\)"):
        filled.readings.add("stern", session(ladder("stern")))


def test_wet_readings_are_kept_but_not_fitted(filled):
    filled.readings.add("keel-1", session(ladder(), 2, state="wet"))
    assert rows(filled, "sessions") == 2
    assert len(filled.readings.all()) == 1


def test_a_card_corrected_is_a_further_version(filled):
    assert filled.cards.add(ladder(), "the card's own text") == "unchanged"
    mended = replace(ladder(), note="weighed again")
    assert filled.cards.add(mended, "other text") == "changed"
    assert filled.cards.find("keel-1").note == "weighed again"
    assert rows(filled, "card_versions") == 2
    without = replace(mended, drawdowns=mended.drawdowns[:-1])
    with pytest.raises(InputError, match="patch tenth/black: was read"):
        filled.cards.add(without, "without a step that was read")


def test_a_card_of_unknown_paint_is_refused(store):
    with pytest.raises(InputError, match=r"drawdown 2, .*: the studio has no paint .* RUDDER"):
        store.cards.add(ladder(paint="RUDDER"), "text")
    assert rows(store, "cards") == 0


def test_readings_come_in_an_order_of_their_own(store, tmp_path):
    cards = [ladder("b"), ladder("a")]
    for card in cards:
        store.cards.add(card, card.name)
        for seed in (1, 2, 3):
            store.readings.add(card, session(card, seed))
    with Store.open(tmp_path / "other") as other:
        other.paints.add_file(PAINTS_TOML)
        for card in reversed(cards):
            other.cards.add(card, card.name)
            for seed in (3, 1, 2):
                other.readings.add(card, session(card, seed))
        order = [(r.card.name, r.session_sha256) for r in other.readings.all()]
    assert order == [(r.card.name, r.session_sha256) for r in store.readings.all()]


def test_check_cards_stay_out_of_the_fit(filled):
    filled.cards.add(ladder("held-out", purpose="check"), "text")
    filled.readings.add("held-out", session(ladder("held-out")))
    assert [r.card.name for r in filled.readings.all()] == ["keel-1"]
    assert [r.card.name for r in filled.readings.all("check")] == ["held-out"]


# Fits


def test_coefficients_and_tables_pack_bit_for_bit():
    one = coefficients(("HULL", "KEEL"))
    assert_same(one, unpack_coefficients(pack_coefficients(one)))
    assert pack_coefficients(one) == pack_coefficients(coefficients(("HULL", "KEEL")))
    for table in (joint_fit().nuisances, joint_fit().paints["KEEL"].patches):
        pd.testing.assert_frame_equal(table, unpack_table(pack_table(table)), check_exact=True)
        empty = unpack_table(pack_table(table.iloc[:0]))
        assert list(empty.columns) == list(table.columns) and empty.empty


def test_a_fit_comes_back_as_it_was(filled):
    fit = joint_fit()
    number = filled.fits.record(fit, filled.readings.all())
    assert_same(filled.fits.of("KEEL"), fit.paints["KEEL"])
    back = filled.fits.joint(number)
    assert_same(back.coefficients, fit.coefficients)
    assert back.settings == fit.settings
    assert list(back.paints) == list(fit.paints)
    pd.testing.assert_frame_equal(back.nuisances, fit.nuisances, check_exact=True)
    assert_same(
        filled.fits.coefficients(["KEEL", "HULL"]).select(["HULL", "KEEL"]),
        named_by_fit(fit.coefficients, number),
    )


def test_a_fit_names_what_it_was_fitted_to(filled):
    readings = filled.readings.all()
    number = filled.fits.record(joint_fit(), readings)
    with sqlite3.connect(filled.studio.database) as raw:
        (inputs,) = raw.execute("SELECT inputs FROM fits WHERE id = ?", (number,)).fetchone()
    assert readings[0].session_sha256 in inputs and readings[0].card_sha256 in inputs


def test_refitting_keeps_the_earlier_run(filled):
    readings = filled.readings.all()
    first = filled.fits.record(joint_fit(), readings)
    second = filled.fits.record(joint_fit(("KEEL",), seed=2), readings)
    assert filled.fits.current() == {"HULL": first, "KEEL": second}
    assert rows(filled, "paint_fits") == 3
    assert_same(filled.fits.joint(first).coefficients, joint_fit().coefficients)


def test_coefficients_of_two_runs_share_no_factor(filled):
    first, second = joint_fit(("HULL", "KEEL-T"), 1), joint_fit(("KEEL",), 2)
    for fit in (first, second):
        filled.fits.record(fit, [])
    joined = filled.fits.coefficients()
    assert joined.paints == ("HULL", "KEEL", "KEEL-T")
    assert len(set(joined.factor_names)) == 6
    np.testing.assert_array_equal(joined.k[1], second.coefficients.k[0])
    np.testing.assert_allclose(
        joined.select(["KEEL"]).covariance, second.coefficients.covariance, rtol=1e-12
    )
    old = first.coefficients
    np.testing.assert_allclose(
        joined.select(["HULL", "KEEL-T"]).covariance, old.covariance, rtol=1e-12
    )
    with np.errstate(invalid="ignore"):
        across = np.einsum("fiw,fjw->ijw", joined.factors[:, 0], joined.factors[:, 1])
    assert np.all(across[..., :-1] == 0)


def test_fits_of_other_surfaces_are_not_joined(filled):
    filled.fits.record(joint_fit(("HULL",)), [])
    odd = joint_fit(("KEEL",))
    surface = replace(odd.coefficients.surface, k2=0.61)
    filled.fits.record(replace(odd, coefficients=replace(odd.coefficients, surface=surface)), [])
    with pytest.raises(InputError, match="differ in surface record"):
        filled.fits.coefficients()
    assert filled.fits.coefficients(["KEEL"]).surface.k2 == 0.61


def test_a_paint_without_a_fit_says_so(filled):
    with pytest.raises(InputError, match="no paint of this studio has a fit"):
        filled.fits.coefficients()
    with pytest.raises(InputError, match="HULL: has no fit yet"):
        filled.fits.of("hull white")
    with pytest.raises(InputError, match="fit HULL"):
        filled.fits.coefficients(["HULL"])
