"""Reading a release back: to the last digit, with pandas alone, by open schemas and validators."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pandas as pd
import pytest
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.tables.descriptor import json_schema
from tintladder.database.releases.tables.schema import TABLES
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .studio_fixtures import PAINTS_TOML, fill, joint_fit, ladder, named_by_fit, session
from .test_store import assert_same

DATA = Path(__file__).parent / "data" / "releases"


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        yield fill(opened)


def test_coefficients_come_back_to_the_last_digit(published):
    for path in (published.folder, published.archive):
        loaded = load_release(path)
        assert (loaded.name, loaded.version) == ("paints-1.0.0", "1.0.0")
        assert_same(loaded.coefficients, named_by_fit(joint_fit().coefficients, 1))


def test_paints_of_several_fits_come_back_joined(store):
    store.fits.record(joint_fit(("BRASS", "KEEL-T"), 8), store.readings.all())
    made = publish(store, force="a metallic paint of no pigments, for the test")
    assert verify_release(made.archive, made.digest) == []
    loaded = load_release(made.archive)
    assert loaded.coefficients.paints == ("BRASS", "HULL", "KEEL", "KEEL-T")
    assert_same(loaded.coefficients, store.fits.coefficients())
    for name in ("coefficients", "covariance", "own", "factors"):
        paints = loaded.tables[name]["paint"]
        assert (paints != paints.shift()).sum() == 4, "all rows of a paint stand together"


def test_figures_are_whole_whatever_numpy_prints(store):
    """A library may set numpy to print 12 digits; colour-science 0.4.7 does."""
    with np.printoptions(legacy="1.13"):
        made = publish(store)
    expected = named_by_fit(joint_fit().coefficients, 1)
    assert_same(load_release(made.folder).coefficients, expected)


def test_pandas_alone_reads_it(published):
    """As the README of a release says, no code of ours in between."""
    table = pd.read_csv(published.folder / "coefficients.csv", dtype={"paint": "str"})
    ks = table.pivot(  # noqa: PD010
        index=["paint", "wavelength"], columns="quantity", values="value"
    )
    expected = joint_fit().coefficients
    np.testing.assert_allclose(ks.loc["KEEL", "K"], expected.k[1], rtol=1e-14)
    np.testing.assert_allclose(ks.loc["KEEL", "S"], expected.s[1], rtol=1e-14)


def test_tables_hold_what_the_studio_holds(published):
    tables = load_release(published.archive).tables
    assert set(tables) == {table.name for table in TABLES}
    assert list(tables["cards"]["card"]) == ["held-out", "keel-1"]
    assert len(tables["drawdowns"]) == 8
    masses = tables["drawdowns"].set_index(["card", "step"])["masses"]
    assert json.loads(masses["keel-1", "half"]) == {"HULL": 5.1, "KEEL": 5.0}
    read = session(ladder()).spectra
    readings = tables["readings"].query("session == 1")
    values = np.array([json.loads(text) for text in readings["reflectance"]], dtype=float)
    np.testing.assert_array_equal(values, read.values)
    assert tables["checks"][["patch", "de00"]].to_numpy().tolist() == [["half/black", 0.7]]
    assert json.loads(tables["fits"]["settings"][0]) == dict(joint_fit().settings)
    assert tables["paints"]["pigments"].tolist() == ["PW6", "PB29"]
    for word in ("gloves", "lead", "safety data sheet"):
        assert word in (published.folder / "README.md").read_text()


def test_the_schemas_are_sound(published):
    """Against JSON Schema 2020-12 itself, and rows against the schema of their table."""
    schema = json.loads((published.folder / "schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema == json_schema()
    jsonschema.validate(json.loads((published.folder / "datapackage.json").read_text()), schema)
    tables = load_release(published.folder).tables
    for table in TABLES:
        head = tables[table.name].head(20)
        for row in json.loads(head.to_json(orient="records", double_precision=15)):
            for column in table.columns:
                if column.kind in ("object", "array"):
                    row[column.name] = json.loads(row[column.name] or "null")
            jsonschema.validate(row, schema["$defs"][table.name])


def test_the_open_validator_passes_it(published):
    """By frictionless, a validator of the open Data Package form: keys, types and hashes."""
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.validate(str(published.folder / "datapackage.json"))
    assert report.valid, [error.message for task in report.tasks for error in task.errors][:5]


def test_a_nickname_that_looks_like_no_value(tmp_path):
    with Store.open(tmp_path) as store:
        store.paints.add_file(PAINTS_TOML.replace('"KEEL"', '"NA"'))
        store.cards.add(ladder(paint="NA"), "text")
        store.readings.add("keel-1", session(ladder(paint="NA")))
        store.fits.record(joint_fit(("HULL", "NA")), store.readings.all())
        made = publish(store)
    assert load_release(made.archive).coefficients.paints == ("HULL", "NA")
    assert verify_release(made.archive, made.digest) == []


def test_a_release_of_years_ago_is_still_read():
    """Published by the first layout, before quality, scans and transport were told of."""
    first = DATA / "first-layout.zip"
    assert verify_release(first) == []
    found = load_release(first)
    assert (found.version, found.descriptor["layout"]) == ("1.0.0", 1)
    # What is wrong of parts in a mix, and of surfaces, was not learnt then.
    kept = named_by_fit(joint_fit().coefficients, 1)
    none = np.zeros(len(kept.paints))
    assert_same(found.coefficients, replace(kept, part_error=none, surface_error=none))
    assert found.tables["quality"].empty and found.tables["residuals"].empty
    assert json.loads(found.tables["fits"]["settings"][0]) == dict(joint_fit().settings)
