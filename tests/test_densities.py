"""Density in a minute: weighed from a syringe, else typical of the pigments and said to be so."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.fit.problem.tube import TYPICAL_DENSITY, typical_density
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.basis import usable
from tintladder.database.easel.densities import volume_slip, with_densities
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.store.store import Store

from tests.command import run
from tests.invented_palette import invented_coefficients


def test_minerals_weigh_more_than_organic_pigments():
    white, earth, green = (typical_density([p]) for p in ("PW6", "PY42", "PG7"))
    assert min(white, earth) > TYPICAL_DENSITY > green
    assert typical_density(["PW6", "PG7"]) == pytest.approx((white + green) / 2)
    # With its number of constitution, and where the label tells nothing.
    assert typical_density(["PB15:3"]) == green
    assert typical_density([]) == typical_density(["secret"]) == TYPICAL_DENSITY


def test_an_oil_weighs_more_than_an_acrylic_of_the_same_pigment(tmp_path, monkeypatch, capsys):
    """Lead white ground in oil weighs 2.8 to 4.3 g/ml (from memory of painters' handbooks)."""
    assert 2.8 < typical_density(["PW1"], "linseed oil") < 4.3
    assert typical_density(["PB29"], "Oil") > typical_density(["PB29"], "acrylic")
    assert typical_density(["secret"], "oil") == TYPICAL_DENSITY
    said = ("tubes", "add", "Anchor Blue PB29", "Hull White PW6", "--binder", "oil")
    assert run(monkeypatch, capsys, *said, "--studio", tmp_path).status == 0
    with Store.open(tmp_path) as store:
        tubes = store.paints.tubes()
    # Where nothing was weighed, the fit takes what the label lets one expect.
    found = [tube.wet_density for tube in tubes.values()]
    assert sorted(found) == sorted(typical_density([p], "oil") for p in ("PB29", "PW6"))
    assert not any(tube.dry_volume_measured for tube in tubes.values())


def test_a_weighed_tube_is_known_from_then_on(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        return run(monkeypatch, capsys, *arguments, "--studio", own_demo)

    with Store.open(own_demo) as store:
        assert with_densities(store, store.fits.coefficients())[1] == ["ANCHOR", "BUOY"]
    found = tintladder("tubes", "weigh", "anchor", "--ml", "2", "--grams", "5.12", "--empty", "2.4")
    assert found.status == 0 and "1.36 g/ml" in found.out
    with Store.open(own_demo) as store:
        coefficients = usable(store)
        assert coefficients.density[coefficients.index("ANCHOR")] == pytest.approx(1.36)
        assert with_densities(store, coefficients)[1] == ["BUOY"]
    for wrong, why in (
        (("tubes", "weigh", "ANCHOR", "--grams", "2", "--empty", "2.4"), "empty syringe"),
        (("tubes", "weigh", "ANCHOR", "--grams", "200"), "g/ml"),
        (("tubes", "weigh", "NOSUCH", "--grams", "2"), "fits no tube"),
    ):
        said = tintladder(*wrong)
        assert said.status == 2 and why in said.err and said.err.count("\n") == 1, said.err


def test_what_an_assumed_density_costs_is_that_of_draws():
    palette = Palette(invented_coefficients(6))
    mix = {"HULL": 0.8, "ANCHOR": 0.15, "ROPE": 0.05}
    rng = np.random.default_rng(3)
    slip = 1 + 0.12 * rng.standard_normal(4000)
    drawn = lab_of(palette, [{**mix, "ANCHOR": mix["ANCHOR"] * x} for x in slip])
    off = ciede2000(drawn, lab_of(palette, [mix])[0])
    expected = float(np.sqrt((off**2).mean()))
    assert volume_slip(palette, mix, ["ANCHOR"]) == pytest.approx(expected, rel=0.1)
    assert volume_slip(palette, mix, []) == 0
