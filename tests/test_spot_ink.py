"""Spot-ink characterisation: the way out and back in (the standard's text was not at hand)."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.read import read_session, read_spot_ink
from tintladder.calibrate.formats.spot_ink import card_text
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.database.mixing.prediction import CARD_BLACK
from tintladder.database.releases.compare import Numbers
from tintladder.database.releases.export.spot_ink import PERCENT, as_spot_ink
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML, coefficients, fill

CREATED = "2026-05-07T10:00:00Z"


@pytest.fixture
def numbers():
    return Numbers("1.0.0", coefficients(("HULL", "KEEL", "ROPE")), {"KEEL": "HULL"})


@pytest.fixture
def file(numbers, tmp_path):
    path = tmp_path / "keel-spot.cxf"
    path.write_bytes(as_spot_ink(numbers, "KEEL", 75.0, CREATED))
    return path


def test_tints_go_out_and_come_back(numbers, file):
    ink = read_spot_ink(file)
    assert (ink.paint, ink.white, ink.thickness_um) == ("KEEL", "HULL", 75.0)
    assert sorted(ink.percent.values(), reverse=True) == list(PERCENT)
    labels = ink.session.spectra.labels
    assert labels[:3] == ("bare/black", "masstone/black", "75%/black")
    c = numbers.coefficients.select(["KEEL", "HULL"])
    fractions = dry_fractions(c, [{"KEEL": 25.0, "HULL": 75.0}])
    ground = np.full((1, c.wavelengths.size), CARD_BLACK)
    expected = predict(c, fractions, np.array([0.075]), ground).reflectance[0]
    got = ink.session.spectra.values[labels.index("25%/black")]
    np.testing.assert_allclose(got, expected[~np.isnan(expected)], atol=1e-6)


def test_it_is_read_as_a_card_with_its_readings(file, tmp_path, monkeypatch, capsys):
    tell = partial(run, monkeypatch, capsys)
    with Store.open(tmp_path / "studio") as store:
        store.paints.add_file(PAINTS_TOML)
    said = tell("read", file, "--studio", tmp_path / "studio", "--json")
    assert [item["kind"] for item in said.json] == ["card", "readings"]
    with Store.open(tmp_path / "studio") as store:
        card = store.cards.find("keel-spot")
        (taken,) = store.readings.all()
    assert card.drawdowns[1].masses == {"KEEL": 75.0, "HULL": 25.0}
    assert {d.thickness_um for d in card.drawdowns} == {75.0}
    assert len(taken.spectra) == len(card.patches)
    again = tell("read", file, "--studio", tmp_path / "studio")
    assert again.status == 2 and "already read" in again.err


def test_the_command_writes_one(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    tell = partial(run, monkeypatch, capsys)
    with Store.open(tmp_path / "studio") as store:
        fill(store)
    said = tell("export", "spot", "KEEL", "--thickness", "50", "--studio", "studio")
    assert said.status == 0, said.err
    ink = read_spot_ink(tmp_path / "paints.cxf")
    assert ink.thickness_um == 50 and "thickness_um = 50" in card_text(ink, "k")
    for names in ((), ("KEEL", "HULL")):
        assert tell("export", "spot", *names, "--studio", "studio").status == 2
    assert "no white" in tell("export", "spot", "HULL", "--studio", "studio", "--out", "x.cxf").err


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('Value="parts by weight"', 'Value="dots"', "a printer's are shares of dots"),
        ('Value="75"', 'Value="thin"', "THICKNESS_UM: expected the dry films' thickness"),
        ('Background="Black"', 'Background="Blue"', "Background 'Blue': expected Substrate"),
        ('TonePercentage="25"', 'TonePercentage="250"', "TonePercentage from 0 to 100"),
        ('ObjectId="sample-3"', 'ObjectId="sample-333"', "object sample-3: is of no tint"),
    ],
)
def test_what_cannot_be_a_card_is_one_line(file, old, new, expected):
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    with pytest.raises(InputError, match=expected):
        read_spot_ink(file)


def test_other_cxf_is_no_spot_ink(numbers, tmp_path):
    from tintladder.database.releases.export.cxf import as_cxf

    path = tmp_path / "ladders.cxf"
    path.write_bytes(as_cxf(numbers, CREATED))
    assert read_spot_ink(path) is None
    assert len(read_session(path).spectra) == 9
