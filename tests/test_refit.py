"""A release's numbers follow from the readings packed in it, and the same inputs give the same."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import partial
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.optics.predict import predict
from tintladder.database.cards.intake import take_in
from tintladder.database.care.integrity import check_studio
from tintladder.database.common.made_with import made_with
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.releases.adopt import adopt
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.refit import AKIN, CLOSE, packed_readings, refit_release
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.packing import pack_coefficients
from tintladder.database.store.store import Store

from .command import run
from .test_store import assert_same

DATA = Path(__file__).parent / "data" / "releases"
CARDS = ("hull-white", "anchor-blue", "rope-earth", "pitch-black")


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """Some of the boatyard's paints, one of them fitted later as a new tube; published."""
    folder = tmp_path_factory.mktemp("studio")
    measured = files("tintladder.measurements") / "boatyard"
    with as_file(measured) as boatyard, Store.open(folder) as store:
        take_in(store, [boatyard / "paints.toml", *_card(boatyard, CARDS[:3])])
        fit_studio(store)
        take_in(store, _card(boatyard, CARDS[3:]))
        fit_studio(store, ["PITCH"])
        publish(store, force="two fits, for the test")
    return folder


def _card(boatyard, names):
    return [
        *(boatyard / "cards" / f"{name}.toml" for name in names),
        *(path for path in sorted((boatyard / "readings").iterdir()) if path.stem in names),
    ]


@pytest.fixture
def release(studio):
    return load_release(studio / "releases" / "paints-1.0.0.zip")


def test_the_packed_readings_give_the_same_bytes(release):
    """Joint fit and new tube, by two fluxes and by transport: the same machine, so every bit."""
    made = refit_release(release)
    assert [(fit.fit, fit.same, fit.why_not) for fit in made] == [
        (number, True, "") for number in (1, 3, 2, 4)
    ]
    assert made[1].paints == made[3].paints == ("PITCH",)


def test_a_release_of_before_surfaces_were_fitted_still_follows():
    """Published by the second layout: a fit recorded without a setting is fitted without it."""
    assert verify_release(DATA / "second-layout.zip") == []
    second = load_release(DATA / "second-layout.zip")
    assert second.descriptor["layout"] == 2
    assert "surface_spread" not in json.loads(second.tables["fits"]["settings"][0])
    assert not second.by_transport.coefficients.surface_offset.any()
    made = refit_release(second)
    assert all(fit.holds and fit.by_another for fit in made)
    assert all("made with another tintladder, 0.1.0" in fit.line for fit in made)
    ours = replace(made[1], made_with=made_with())
    assert CLOSE < ours.largest < AKIN and not ours.holds


def by_two_fluxes(release, **tables):
    """A release with other tables, and two fluxes alone."""
    return replace(release, tables={**release.tables, **tables}, beside=None)


def test_packed_readings_are_those_of_the_studio(studio, release):
    inputs = json.loads(release.tables["fits"]["inputs"][0])
    with Store.open(studio) as store:
        kept = [r for r in store.readings.all() if "PITCH" not in r.card.paints]
    for mine, theirs in zip(packed_readings(release.tables, inputs), kept, strict=True):
        assert_same(mine.spectra, theirs.spectra)
        assert_same(replace(mine.card, file=""), replace(theirs.card, file=""))
        assert mine.surface == theirs.surface


def test_the_same_inputs_give_the_same_bytes_of_a_fit(studio):
    with Store.open(studio) as store:
        before = pack_coefficients(store.fits.joint(3).coefficients)
        again = fit_studio(store, ["PITCH"])
        assert again.number == 5
        assert pack_coefficients(again.fit.coefficients) == before


@pytest.mark.parametrize("which", ["joint", "new tube"])
def test_another_machines_last_bits_change_nothing_to_see(release, which):
    """Readings a few last bits away, as other libraries may add them up."""
    readings = release.tables["readings"]
    rng = np.random.default_rng(5)

    def nudged(text):
        values = np.array(json.loads(text), dtype=float)
        return json.dumps((values * (1 + 1e-14 * rng.uniform(-1, 1, values.size))).tolist())

    other = readings.assign(reflectance=readings["reflectance"].map(nudged))
    joint, new_tube = refit_release(by_two_fluxes(release, readings=other))
    made = joint if which == "joint" else new_tube
    assert not made.same and made.largest < CLOSE


def test_numbers_that_do_not_follow_are_named(release):
    table = release.tables["coefficients"].copy()
    row = (table["paint"] == "ANCHOR") & (table["quantity"] == "K") & (table["wavelength"] == 500)
    table.loc[row, "value"] *= 1.5
    first, second = refit_release(by_two_fluxes(release, coefficients=table))
    assert not first.holds and "ANCHOR, K at 500 nm" in first.line
    assert second.holds


def test_what_cannot_be_fitted_anew_says_why(release):
    cards = release.tables["cards"]
    mended = cards.assign(sha256=cards["sha256"].where(cards["card"] != "rope-earth", "0" * 64))
    first, second = refit_release(by_two_fluxes(release, cards=mended))
    assert "card rope-earth was corrected since" in first.line and second.same


def test_a_release_holds_both_models(studio, release):
    """Numbers, covariance and all, just as the studio has them."""
    with Store.open(studio) as store:
        for model, part in (("two-flux", release), ("transport", release.by_transport)):
            kept = store.fits.coefficients(part.coefficients.paints, model)
            assert_same(part.coefficients, kept)
            assert part.select(["PITCH", "HULL"]).model == model
    numbers = release.by_transport.tables["transport"].set_index("paint")["fit"]
    assert dict(numbers) == {"ANCHOR": 2, "HULL": 2, "ROPE": 2, "PITCH": 4}
    assert set(release.tables["fits"]["model"]) == {"two-flux"}


def test_transport_is_read_without_us(studio, release):
    """An opaque tint as the release's own README says, with pandas and numpy."""
    folder = studio / "releases" / release.name
    said = " ".join((folder / "README.md").read_text().split())
    curve = re.search(r"of rising powers, are ([-0-9., ]+[0-9])\.", said)
    assert curve is not None
    table = pd.read_csv(folder / "coefficients.csv")
    table = table[table["model"] == "transport"]
    of = table.set_index(["paint", "quantity"]).sort_values("wavelength")["value"]
    share = {"ANCHOR": 0.2, "HULL": 0.8}
    crowds = pd.read_csv(folder / "transport.csv").set_index("paint")["crowding"]
    assert (crowds > 0).all()
    counted = {paint: f * (1 + crowds[paint] * (1 - f)) for paint, f in share.items()}
    k = sum(f * of[paint, "K"].to_numpy() for paint, f in share.items())
    s = sum(f * of[paint, "S"].to_numpy() for paint, f in counted.items())
    q = 8 / 3 * k / s
    y = 1 / (1 + q + np.sqrt(q * (q + 2)))
    read = sum(float(c) * (2 * y - 1) ** n for n, c in enumerate(curve[1].split(", ")))
    found = release.by_transport.coefficients
    mix = np.array([[share.get(paint, 0.0) for paint in found.paints]])
    excluded = replace(found.surface, specular="excluded")
    expected = predict(found, mix, surface=excluded).reflectance[0]
    np.testing.assert_allclose(read, expected, atol=1e-5)


def test_both_models_are_adopted(release, studio, tmp_path):
    with Store.open(tmp_path / "other") as store:
        made = adopt(store, studio / "releases" / release.name, rename={"PITCH": "TAR"})
        assert made.fit == 1 and store.fits.current("transport")["TAR"] == 2
        assert store.fits.model_for(["TAR", "HULL"]) == "transport"
        mine = store.fits.coefficients(["TAR", "HULL"])
        theirs = release.by_transport.select(["PITCH", "HULL"])
        np.testing.assert_array_equal(mine.k, theirs.k)
        np.testing.assert_allclose(mine.covariance, theirs.covariance, rtol=1e-12)
        assert check_studio(store) == []
        again = load_release(publish(store, force="adopted, for the test").archive)
        assert again.by_transport.coefficients.model == "transport"


def test_verify_fits_anew(studio, monkeypatch, capsys):
    tool = partial(run, monkeypatch, capsys)
    place = studio / "releases" / "paints-1.0.0"
    assert verify_release(place) == []
    said = tool("verify", place, "--studio", studio)
    assert said.status == 0 and "to the last bit" in said.out
    fast = tool("verify", place, "--quick", "--json", "--studio", studio).json
    assert fast["refits"] == [] and fast["problems"] == []
