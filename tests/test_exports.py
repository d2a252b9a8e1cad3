"""What other programs get: read back by readers that know nothing of us."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.surface import Surface
from tintladder.database.releases.compare import Numbers
from tintladder.database.releases.export import (
    STEPS,
    as_cgats,
    as_csv,
    ladders,
    only,
    tidy,
)
from tintladder.database.releases.export.cxf import as_cxf
from tintladder.database.releases.publish import publish
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import coefficients, fill, ladder, session


@pytest.fixture
def numbers():
    return Numbers("1.0.0", coefficients(("HULL", "KEEL", "ROPE")), {"KEEL": "HULL"})


@pytest.mark.parametrize("model", ["two-flux", "transport"])
def test_ladders_are_what_predict_says(numbers, model):
    numbers = replace(numbers, coefficients=replace(numbers.coefficients, model=model))
    made, c = ladders(numbers), numbers.coefficients
    assert made.names[:3] == ("HULL masstone", "KEEL masstone", "KEEL 1:1 HULL")
    assert len(made.names) == 2 + len(STEPS)
    mixes = [
        {paint: 1.0, "HULL": parts} if parts else {paint: 1.0}
        for paint, parts in zip(made.paints, made.white_parts, strict=True)
    ]
    expected = predict(c, dry_fractions(c, mixes)).reflectance
    np.testing.assert_allclose(made.reflectance, expected, rtol=1e-12)
    with pytest.raises(InputError, match="no such paint"):
        ladders(numbers, ["RUDDER"])


def test_tidy_csv_is_one_table(numbers):
    table = pd.read_csv(io.StringIO(as_csv(numbers)))
    assert list(table.columns) == list(tidy(numbers).columns)
    c = numbers.coefficients
    np.testing.assert_allclose(table["K"].to_numpy().reshape(3, -1), c.k, rtol=1e-14)
    np.testing.assert_allclose(table["uncertainty_S"].to_numpy().reshape(3, -1), c.uncertainty[1])
    assert table["white"].dropna().unique().tolist() == ["HULL"]
    assert only(numbers, ["KEEL"]).coefficients.paints == ("HULL", "KEEL")


@pytest.mark.parametrize(
    "geometry, specular", [("45:0", "excluded"), ("di:8", "included"), ("di:8", "excluded")]
)
def test_cgats_reads_back(numbers, tmp_path, geometry, specular):
    """ISO 28178 text; values to the last digit."""
    c = coefficients(("HULL", "KEEL"), surface=Surface.of(geometry, specular))
    numbers = Numbers("now", c, {"KEEL": "HULL"})
    file = tmp_path / "ladders.txt"
    file.write_text(as_cgats(numbers))
    back, made = read_session(file), ladders(numbers)
    assert back.spectra.labels == made.names
    assert (back.geometry, back.specular) == (geometry, specular)
    np.testing.assert_array_equal(back.spectra.values, made.reflectance[:, :-1])
    assert "predicted" in back.header["DESCRIPTOR"]


@pytest.mark.parametrize("geometry, specular", [("45:0", "excluded"), ("di:8", "included")])
def test_cxf_is_read_by_its_own_schema(geometry, specular):
    """By the open library colour-cxf, whose classes were made from the schema of CxF3."""
    from colour_cxf import read_cxf

    c = coefficients(("HULL", "KEEL"), surface=Surface.of(geometry, specular))
    numbers = Numbers("1.0.0", c, {"KEEL": "HULL"})
    data = as_cxf(numbers, "2026-03-05T10:00:00Z", ["KEEL"])
    resources = read_cxf(data).resources
    steps, made = resources.object_collection.object_value, ladders(numbers, ["KEEL"])
    assert [step.name for step in steps] == list(made.names)
    spectra = [step.color_values.choice[0] for step in steps]
    np.testing.assert_allclose([s.value for s in spectra], made.reflectance[:, :-1], atol=5e-7)
    assert {s.start_wl for s in spectra} == {380}
    (specification,) = resources.color_specification_collection.color_specification
    assert spectra[0].color_specification == specification.id
    assert b"http://colorexchangeformat.com/CxF3-core" in data


def test_export_from_the_command_line(monkeypatch, capsys, tmp_path):
    tool = partial(run, monkeypatch, capsys)
    monkeypatch.chdir(tmp_path)
    with Store.open(tmp_path) as store:
        publish(fill(store))
    assert tool("export", "csv").status == 0 and (tmp_path / "paints.csv").exists()
    said = tool("export", "cgats", "KEEL", "--from", "1.0.0", "--out", "k.txt", "--json").json
    assert said["from"] == "1.0.0" and len(read_session(tmp_path / "k.txt").spectra) == len(STEPS)
    assert tool("export", "cxf", "--out", "k.cxf").status == 0
    for wrong in ("csv", "pdf", "csv RUDDER --out r.csv", "csv --out /proc/none/r.csv"):
        assert tool("export", *wrong.split()).status == 2
    left = [p.name for p in tmp_path.iterdir() if p.suffix in (".csv", ".part")]
    assert left == ["paints.csv"]


@pytest.mark.parametrize("form", ["csv", "cgats", "cxf", "xlsx"])
def test_readings_go_out_and_come_back(tmp_path, monkeypatch, capsys, form):
    monkeypatch.chdir(tmp_path)
    tell = partial(run, monkeypatch, capsys)
    with Store.open(tmp_path / "studio") as store:
        fill(store)
        read = session(ladder(), 3)
        whole = ~np.isnan(read.spectra.values).any(axis=1)
        spectra = read.spectra.select(np.flatnonzero(whole))
        store.readings.add("keel-1", replace(read, spectra=spectra, specular="excluded"))
    said = tell("export", form, "--readings", "keel-1", "--studio", "studio", "--json").json
    back = read_session(said["file"])
    close = 1e-15 if form == "xlsx" else 0  # its library writes sixteen digits
    np.testing.assert_allclose(back.spectra.values, spectra.values, rtol=close, atol=0)
    assert back.spectra.labels == spectra.labels
    assert tell("export", form, "--readings", "rudder", "--studio", "studio").status == 2
    assert tell("export", "xlsx", "--studio", "studio").status == 2
