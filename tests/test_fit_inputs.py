"""What a fit refuses, and where it says the fault is."""

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.errors import CalibrateDo, InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.tube import Tube

from tests.synthetic import GAP_UM, TUBES, ladder, read


def refused(readings, tubes=TUBES):
    with pytest.raises(InputError) as caught:
        fit_paints(readings, tubes)
    assert "\n" not in str(caught.value)
    assert caught.value.do
    return caught.value


def without(readings, *patches):
    """The same readings, but for those patches."""
    kept = [i for i, label in enumerate(readings.spectra.labels) if label not in patches]
    return replace(readings, spectra=readings.spectra.select(kept))


def step(card, i, **changed):
    """The card with one drawdown changed."""
    drawdowns = list(card.drawdowns)
    drawdowns[i] = replace(drawdowns[i], **changed)
    return replace(card, drawdowns=tuple(drawdowns))


def test_masses_of_an_unknown_paint():
    readings = [read(ladder("W")), read(ladder("R", (1,)))]
    error = refused(readings, {"W": TUBES["W"]})
    assert (error.file, error.where) == ("R.toml", "drawdown 1 (masstone), masses.R")
    assert error.do == CalibrateDo.ADD_PAINT()


def test_metallic_paint():
    tubes = TUBES | {"R": Tube("R", 1.3, 0.4, refuse="metallic")}
    error = refused([read(ladder("W")), read(ladder("R", (1,)))], tubes)
    assert (error.file, error.where) == ("R.toml", "drawdown 1 (masstone), masses.R")
    assert "R is metallic" in error.expected
    assert "angle" in error.expected


def test_drawdown_without_thickness():
    card = ladder("R", (1,))
    readings = read(card)
    bare = step(card, 1, gap_um=None)
    error = refused([read(ladder("W")), replace(readings, card=bare)])
    assert (error.file, error.where) == ("R.toml", "drawdown 2 (1:1)")
    assert "gap_um" in error.do
    assert "opaque = true" in error.do


def test_bare_substrate_unread():
    error = refused([without(read(ladder("W")), "bare/white")])
    assert (error.file, error.where) == ("W.txt", "bare/white")


def test_opaque_card_needs_no_bare_readings():
    cards = [ladder(p, (1, 3, 7), opaque=True) for p in ("W", "R")]
    readings = [without(read(c), "bare/white", "bare/black") for c in cards]
    assert fit_paints(readings, TUBES).coefficients.scale == "relative to W"


def test_no_cards():
    assert refused([]).where is None


def test_check_cards_alone_are_no_cards_to_fit():
    readings = read(ladder("W"))
    check = replace(readings, card=replace(readings.card, purpose="check"))
    assert "no card to fit" in refused([check]).expected


def test_nothing_read_of_any_card():
    readings = read(ladder("W"))
    error = refused([without(readings, "masstone/black", "masstone/white")])
    assert "no card has a readable patch" in error.expected


def test_nothing_read_of_one_paint():
    readings = read(ladder("R", ()))
    empty = without(readings, "masstone/black", "masstone/white")
    error = refused([read(ladder("W")), empty])
    assert (error.file, error.where) == ("R.toml", "paint R")


def test_opaque_masstone_alone_has_no_white():
    card = Card("E", "E.toml", (Drawdown("masstone", "E", {"E": 10.0}, opaque=True),))
    error = refused([read(card)])
    assert (error.file, error.where) == ("E.toml", None)
    assert "ladder in white" in error.expected


def test_opaque_ladder_without_its_white():
    error = refused([read(ladder("R", (1, 3), opaque=True, white=None))])
    assert (error.file, error.where) == ("R.toml", None)
    assert "name the white" in error.do


def test_masstone_alone_that_hides_everywhere():
    # 10 times the usual gap of the opaque earth.
    card = ladder("E", (), gap_um=10 * GAP_UM)
    error = refused([read(ladder("W")), read(card)])
    assert (error.file, error.where) == ("E.toml", "paint E")
    assert "hides black and white" in error.expected


def test_masstone_alone_that_shows_its_substrate_is_fitted():
    fit = fit_paints([read(ladder("W")), read(ladder("B", ()))], TUBES)
    c = fit.coefficients.select(["B"])
    assert np.all(np.isfinite(c.k))
    # Where the film hides its substrate only K/S is known, and it says so.
    assert c.ratio_only.any()
    assert not c.ratio_only.all()
    assert any("only K/S" in reason for reason in fit.paints["B"].reasons)
    assert fit.paints["B"].verdict == "a first guess"


def test_a_hiding_masstone_with_a_ladder_is_fitted():
    card = step(ladder("E", (1, 7)), 0, gap_um=10 * GAP_UM)
    fit = fit_paints([read(ladder("W")), read(card)], TUBES)
    assert not fit.coefficients.ratio_only[fit.coefficients.index("E")].any()


# Patches that are there but hold nothing, and readings that repeat to the last digit.


def with_values(readings, change):
    """The same readings with their values changed: change(values, labels)."""
    values = readings.spectra.values.copy()
    change(values, np.array(readings.spectra.labels))
    spectra = type(readings.spectra).from_values(
        readings.spectra.wavelengths, values, readings.spectra.labels
    )
    return replace(readings, spectra=spectra)


def emptied(beginning):
    def change(values, labels):
        values[np.char.startswith(labels, beginning)] = np.nan

    return change


def test_every_value_of_a_paint_missing():
    readings = read(ladder("R", (1,)))
    for step_of in ("masstone", "1:1"):
        readings = with_values(readings, emptied(step_of))
    error = refused([read(ladder("W")), readings])
    assert (error.file, error.where) == ("R.toml", "paint R")


def test_every_value_of_the_bare_card_missing():
    empty = with_values(read(ladder("R", (1,))), emptied("bare/white"))
    error = refused([read(ladder("W")), empty])
    assert (error.file, error.where) == ("R.txt", "bare/white")


def test_every_value_of_one_patch_missing():
    some = with_values(read(ladder("R", (1, 7))), emptied("1:1/black"))
    patches = fit_paints([read(ladder("W")), some], TUBES).paints["R"].patches
    patch = patches.set_index("patch").loc["1:1/black"]
    assert np.isnan(patch["de00"])
    assert "unread" in patch["flag"]


def test_repeats_that_agree_to_the_last_digit():
    def same(values, labels):
        values[1::2] = values[::2]

    cards = [with_values(read(ladder(p, (1, 7)), seed=1), same) for p in ("W", "R")]
    assert np.all(np.isfinite(fit_paints(cards, TUBES).coefficients.k))
