"""Data of every shape: what painters bring is seldom a whole ladder over black and white.

Readings are made without error by the fit's own theory from invented paints, so that each shape
must give back what it can tell: K and S in 1/mm, or relative to the white.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.quality import judge
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.surface import Surface

from tests.synthetic import BALANCE_G, BARE, GAP_UM, KS, TUBES, ladder, ladders, read

SURE = FitSettings(two_flux_spread=1e-6, model_spread=0.0, noise=(1e-5, 1e-5), roughness=(1.0, 1.0))
"""For readings that the fit's own theory made, without error."""


def drawn(name: str, steps: dict[str, dict[str, float]], **said: object) -> Card:
    """A card of free mixes, by step."""
    drawdowns = tuple(
        Drawdown(step, None, masses, gap_um=GAP_UM, **said)  # type: ignore[arg-type]
        for step, masses in steps.items()
    )
    return Card(name, f"{name}.toml", drawdowns, balance_g=BALANCE_G)


def fitted(*readings: CardReadings) -> JointFit:
    return fit_paints(readings, TUBES, SURE)


def close(c: Coefficients, paint: str, rtol: float = 0.01) -> None:
    """K where it can be felt, and S, are those that made the readings."""
    (k, s), row = KS[paint], c.index(paint)
    felt = k > 0.01 * s
    np.testing.assert_allclose(c.k[row][felt], k[felt], rtol=rtol)
    np.testing.assert_allclose(c.s[row], s, rtol=rtol)


def test_masstone_only_over_black_and_white():
    c = fitted(read(ladder("B", ()))).coefficients
    assert c.scale == "absolute"
    close(c, "B", 0.02)


def test_opaque_ladder_beside_films_is_absolute():
    """An opaque ladder borrows its scale from the white's own film."""
    c = fitted(read(ladder("W")), read(ladder("E", opaque=True))).coefficients
    assert c.scale == "absolute"
    close(c, "E", 0.02)


def test_opaque_ladder_and_a_film_of_the_same_paint():
    thin = Card("R thin", "r.toml", ladder("R", ()).drawdowns, balance_g=BALANCE_G)
    c = fitted(read(ladder("W")), read(ladder("R", opaque=True)), read(thin)).coefficients
    close(c, "R")


def test_shades_with_black():
    """A light paint let down with a dark one, its white on another card."""
    card = drawn("shades", {"m": {"Y": 10.0}, "1": {"Y": 9.0, "B": 1.0}, "2": {"Y": 7.0, "B": 3.0}})
    c = fitted(read(ladder("B")), read(ladder("W")), read(card)).coefficients
    close(c, "Y", 0.02)


def test_masstone_glossy_and_tints_satin():
    """Read without the specular, where the surface shows."""
    card = ladder("R", (1, 3, 7))
    first, *rest = card.drawdowns
    card = replace(card, drawdowns=(first, *(replace(d, surface="satin") for d in rest)))
    surface = Surface.of("45:0")
    fit = fitted(read(ladder("W"), surface), read(card, surface))
    close(fit.coefficients, "R", 0.02)
    haze = fit.nuisances[fit.nuisances["kind"] == "haze"]
    assert len(haze) == 1
    assert abs(float(haze["value"].iloc[0])) < 0.02


def test_a_topcoat_evens_matt_drawdowns():
    """A card evened by a clear gloss topcoat is stated glossy, and is fitted so."""
    c = fitted(
        *(read(ladder(p, surface="gloss"), Surface.of("di:8", "excluded")) for p in ("W", "E"))
    ).coefficients
    close(c, "E")


def test_two_geometries_in_one_fit():
    sphere, flat = Surface.of("di:8"), Surface.of("45:0")
    c = fitted(read(ladder("W"), sphere), read(ladder("R"), flat)).coefficients
    close(c, "W", 0.02)
    close(c, "R", 0.02)


def test_two_paint_mixtures_are_further_evidence():
    """They fit, and make the paints in them surer."""
    ladders_only = [read(ladder(p, (3, 15)), seed=3) for p in ("W", "R", "Y")]
    mixes = drawn("mixes", {"a": {"R": 5.0, "Y": 5.0}, "b": {"R": 2.0, "Y": 8.0}}, white="W")
    settings = replace(SURE, noise=None)
    alone = fit_paints(ladders_only, TUBES, settings).coefficients
    more = fit_paints([*ladders_only, read(mixes, seed=4)], TUBES, settings).coefficients
    mix = [{"R": 4.0, "Y": 6.0}]
    sure = [
        predict(c, dry_fractions(c, mix)).uncertainty.mean() for c in (alone.select(["R", "Y"]),
                                                                      more.select(["R", "Y"]))
    ]  # fmt: skip
    assert sure[1] < sure[0]


def test_several_paints_on_one_card():
    whole = [ladder(p, (1, 7)).drawdowns for p in ("R", "Y")]
    drawdowns = tuple(
        replace(d, step=f"{d.paint} {d.step}") for drawdowns in whole for d in drawdowns
    )
    sheet = Card("sheet", "sheet.toml", drawdowns, balance_g=BALANCE_G)
    c = fitted(read(ladder("W")), read(sheet)).coefficients
    close(c, "R")
    close(c, "Y")


def test_a_card_that_was_not_sealed_is_less_sure():
    sealed = ladder("B", ())
    loose = replace(sealed, sealed=False)
    settings = replace(SURE, noise=(0.0005, 0.002))
    surer, less = (fit_paints([read(c)], TUBES, settings).coefficients for c in (sealed, loose))
    assert np.all(less.uncertainty[1] > surer.uncertainty[1])


def test_what_lies_under_the_films_of_a_card_that_was_not_sealed(monkeypatch):
    """Paint soaked in: under every film the white board is 8 % darker than read bare (invented)."""
    dry = read(ladder("W")), read(ladder("B"))
    monkeypatch.setitem(BARE, "white", 0.92 * BARE["white"])
    soaked = read(ladder("W")), read(ladder("B"))
    readings = []
    for before, after in zip(dry, soaked, strict=True):
        values = after.spectra.values.copy()
        at = before.rows("bare/white")
        values[at] = before.spectra.values[at]
        card = replace(after.card, sealed=False)
        readings.append(replace(after, card=card, spectra=replace(after.spectra, values=values)))
    fit = fitted(*readings)
    found = fit.nuisances[fit.nuisances["kind"] == "substrate"].set_index("name")
    level = found.loc["B under films on white: level"]
    assert level["value"] == pytest.approx(-0.08, abs=0.01)
    assert level["uncertainty"] < 0.02 < level["prior_sd"]
    assert abs(found.loc["B under films on white: slope", "value"]) < 0.02
    assert any("the white comes out 8 % darker" in r for r in fit.paints["B"].reasons)
    close(fit.coefficients, "B", 0.05)
    believed = [replace(r, card=replace(r.card, sealed=True)) for r in readings]
    wrong = fitted(*believed).coefficients
    k, row = KS["B"][0], wrong.index("B")
    felt = k > 4
    off = [np.abs(c.k[row] / k - 1)[felt].mean() for c in (fit.coefficients, wrong)]
    assert off[0] < 0.3 * off[1]


def test_measured_dry_thickness():
    """Then K and S rest on it, whatever the solids are."""
    x = GAP_UM * FitSettings().transfer * 0.4
    card = ladder("B", ())
    readings = read(card)
    known = replace(card, drawdowns=tuple(replace(d, gap_um=None, thickness_um=x)
                                          for d in card.drawdowns))  # fmt: skip
    close(fitted(replace(readings, card=known)).coefficients, "B", 0.02)


# --- One new tube.


def test_a_new_tube_agrees_with_the_joint_fit_and_leaves_the_rest():
    readings = ladders(("W", "R", "Y"), seed=5)
    settings = FitSettings(roughness=(0.3, 0.2))
    joint = fit_paints(readings, TUBES, settings).coefficients
    known = joint.select(["W", "Y"])
    fit = fit_new_tubes([readings[1]], TUBES, known, settings)
    assert list(fit.paints) == ["R"]
    both = fit.coefficients
    for name in ("k", "s", "local", "dry_volume"):
        np.testing.assert_array_equal(
            getattr(both.select(["W"]), name), getattr(joint.select(["W"]), name)
        )
    one, other = both.select(["R"]), joint.select(["R"])
    u_k, u_s = other.uncertainty
    assert np.all(np.abs(one.k - other.k) < 0.3 * u_k)
    assert np.all(np.abs(one.s - other.s) < 0.3 * u_s)
    np.testing.assert_allclose(one.uncertainty[1], u_s, rtol=0.15)


def test_what_is_unsure_of_the_white_is_unsure_of_its_tints_once():
    """A new tube's tint is about as sure as in the joint fit: shared errors cancel there too."""
    readings = ladders(("W", "R"), seed=6)
    settings = FitSettings(roughness=(0.3, 0.2))
    joint = fit_paints(readings, TUBES, settings).coefficients
    new = fit_new_tubes([readings[1]], TUBES, joint.select(["W"]), settings).coefficients
    tint = [{"R": 1.0, "W": 9.0}]
    sd = [predict(c, dry_fractions(c, tint)).uncertainty for c in (joint, new)]
    assert np.median(sd[1] / sd[0]) == pytest.approx(1.0, abs=0.25)


def test_new_tube_refusals():
    absolute = fit_paints(ladders(("W", "R")), TUBES, SURE).coefficients
    with pytest.raises(InputError, match="known already"):
        fit_new_tubes([read(ladder("R"))], TUBES, absolute, SURE)
    relative = fit_paints(ladders(("W", "R"), opaque_films=True), TUBES, SURE).coefficients
    with pytest.raises(InputError, match="relative to W"):
        fit_new_tubes([read(ladder("Y"))], TUBES, relative.select(["W"]), SURE)


def test_an_opaque_tube_against_a_relative_white():
    relative = fit_paints(ladders(("W", "R"), opaque_films=True), TUBES, SURE).coefficients
    card = read(ladder("E", opaque=True))
    found = fit_new_tubes([card], TUBES, relative.select(["W"]), SURE).coefficients
    assert found.scale == "relative to W"
    row = found.index("E")
    np.testing.assert_allclose(found.s[row], KS["E"][1] / KS["W"][1], rtol=0.02)


# --- A paint whose own patches are all set aside.


def test_a_paint_of_which_nothing_is_left_is_to_be_painted_again():
    """What its own patches miss is said all the same: they are all there is to say it by."""
    fit = fitted(*ladders(("W", "B")))
    table = fit.paints["B"].patches
    none = table.assign(weight=0.0)
    verdict, reasons = judge(none, fit.coefficients, fit.coefficients.index("B"))
    assert verdict == "look at this step"
    assert any("every one of them is set aside" in reason for reason in reasons)
    alone = replace(fit.paints["B"], patches=none)
    assert alone.de00_mean == pytest.approx(table["de00"].mean())
    assert alone.de00_max == pytest.approx(table["de00"].max())
