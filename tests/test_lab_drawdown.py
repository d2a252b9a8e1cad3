"""The lab's paints, its bookkeeping of errors, and the demo sessions made with it."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.readings import pair
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface, to_measured
from tintladder.database.store.paints_file import parse_paints

from tests.lab import boatyard, plan
from tests.lab.drawdown import (
    BLACK,
    NOISE,
    NOMINAL,
    VARIANTS,
    WHITE_CARD,
    Lab,
    nominal_thickness,
    paint_card,
)
from tests.lab.paints import PAINTS, WHITE

COMMITTED = Path(__file__).parent.parent / "measurements" / "boatyard"
AT_560 = int(np.argmin(np.abs(GRID - 560)))


@pytest.fixture(scope="module")
def exact():
    return {r.card.name: r for r in Lab().read(plan.ladders())}


def _patch(readings, patch):
    return readings.spectra.values[readings.rows(patch)].mean(axis=0)


def test_paints_are_physical_and_unlike():
    assert len(PAINTS) >= 10
    for paint in PAINTS.values():
        assert paint.absorption.shape == paint.scattering.shape == GRID.shape
        assert paint.absorption.min() > 0
        assert paint.scattering.min() > 0
        assert 1.0 < paint.density < 2.0
        assert 0.3 <= paint.volume_solids <= 0.5
    assert sum(not p.stated for p in PAINTS.values()) == 2
    assert {p.tube.dry_volume_measured for p in PAINTS.values()} == {True, False}
    for paint in PAINTS.values():
        ratio = paint.dry_volume / paint.tube.dry_volume
        assert ratio == pytest.approx(1.0) if paint.stated else 0.05 < abs(ratio - 1) < 0.25


def test_what_the_paints_look_like(exact):
    # A white that all but hides, an opaque earth, a transparent blue: contrast ratios near 560 nm.
    def contrast(card):
        return (
            _patch(exact[card], "masstone/black")[AT_560]
            / _patch(exact[card], "masstone/white")[AT_560]
        )

    assert 0.90 < contrast("hull-white") < 0.98
    assert contrast("rope-earth") > 0.97
    blue = exact["anchor-blue"]
    at_450 = int(np.argmin(np.abs(GRID - 450)))
    assert _patch(blue, "masstone/white")[at_450] > 2 * _patch(blue, "masstone/black")[at_450]


def test_bare_card_is_its_inside_reflectance_under_a_clear_coat(exact):
    surface = Surface.of("di:8")
    for readings in exact.values():
        np.testing.assert_allclose(
            _patch(readings, "bare/black"), to_measured(BLACK, surface), atol=2e-4
        )
        np.testing.assert_allclose(
            _patch(readings, "bare/white"), to_measured(WHITE_CARD, surface), atol=2e-4
        )


def test_readings_hold_every_patch_and_repeat_by_seed():
    lab = Lab(points=8)
    for card, noisy, clean in lab.ladder_cards(3):
        assert tuple(dict.fromkeys(noisy.spectra.labels)) == card.patches
        assert clean.spectra.labels == card.patches
        assert len(noisy.spectra) == 2 * len(card.patches)
    again = lab.ladder_cards(3)
    np.testing.assert_array_equal(again[-1].noisy.spectra.values, noisy.spectra.values)
    assert np.abs(lab.ladder_cards(4)[-1].noisy.spectra.values - noisy.spectra.values).max() > 1e-3


def test_noise_is_as_stated():
    lab = Lab(points=8)
    cards = plan.ladders()
    noisy, clean = (lab.read(cards, 5, noise=on, repeats=8) for on in (True, False))
    z = np.concatenate(
        [
            (
                (a.spectra.values - b.spectra.values) / (NOISE[0] + NOISE[1] * b.spectra.values)
            ).ravel()
            for a, b in zip(noisy, clean, strict=True)
        ]
    )
    # Some 37,000 draws: the standard error of the sd is 0.4 %, of the mean 0.5 %.
    assert z.std() == pytest.approx(1.0, abs=0.02)
    assert z.mean() == pytest.approx(0.0, abs=0.02)


def test_fractions_without_error_are_those_of_the_card():
    # The lab's own bookkeeping of dilution chains against the one that the fit uses.
    for card in plan.ladders():
        made = composition(card)
        mass = np.zeros((len(card.drawdowns), len(PAINTS)))
        mass[:, [list(PAINTS).index(name) for name in made.paints]] = made.fractions
        dry = mass * [p.dry_volume for p in PAINTS.values()]
        np.testing.assert_allclose(
            paint_card(card, None).fractions, dry / dry.sum(axis=1, keepdims=True), atol=1e-12
        )


def test_halving_chain_comes_to_its_ratio():
    card = next(c for c in plan.ladders() if c.name == "starboard-green")
    fractions = paint_card(card, None).fractions
    green, white = (list(PAINTS).index(name) for name in ("STARBOARD", WHITE))
    for d, row in zip(card.drawdowns[1:], fractions[1:], strict=True):
        ratio = row[white] / row[green] * PAINTS["STARBOARD"].dry_volume / PAINTS[WHITE].dry_volume
        assert ratio == pytest.approx(float(d.step.split(":")[0]))


def test_thickness_errors_are_as_stated():
    card = plan.ladders()[3]
    nominal = paint_card(card, None).thickness
    drawn = np.array(
        [paint_card(card, np.random.default_rng(i)).thickness / nominal - 1 for i in range(600)]
    )
    assert nominal.min() > 0.05
    assert nominal.max() < 0.09
    # 5 % shared and 5 % each: 7.1 % in all, correlated by a half.
    assert drawn.std() == pytest.approx(0.05 * np.sqrt(2), rel=0.1)
    assert np.corrcoef(drawn.T)[0, 1:].mean() == pytest.approx(0.5, abs=0.08)


def test_random_mixtures_are_two_to_four_paints():
    lab = Lab(points=8)
    mixtures = lab.random_mixtures(20, 1)
    assert mixtures.card.purpose == "check"
    assert mixtures.black.shape == mixtures.white.shape == (20, GRID.size)
    for d in mixtures.card.drawdowns:
        assert 2 <= len(d.masses) <= 4
        assert sum(d.masses.values()) == pytest.approx(10.0, abs=0.03)
        assert min(d.masses.values()) >= 0.2
    assert np.all((mixtures.thickness > 0.05) & (mixtures.thickness < 0.09))
    assert np.all(mixtures.white >= mixtures.black - 1e-12)


@pytest.mark.parametrize(
    "variant", [v for v in VARIANTS.values() if v != NOMINAL], ids=lambda v: v.name
)
def test_every_variant_departs_from_the_nominal_and_stays_physical(variant):
    card = plan.check_card("twelve", plan.MIXTURES, "")
    (nominal,) = Lab(points=16).read([card])
    (other,) = Lab(variant, points=16).read([card])
    assert 1e-4 < np.abs(other.spectra.values - nominal.spectra.values).max() < 0.15
    assert np.all((other.spectra.values > 0) & (other.spectra.values < 1))


def test_nominal_thickness_knows_only_the_labels():
    card = plan.check_card("one", {"a": {"ANCHOR": 10.0}, "b": {"HULL": 10.0}}, "")
    np.testing.assert_allclose(nominal_thickness(card), [0.3 * 0.6 * 0.40, 0.3 * 0.6 * 0.44])


def test_demo_is_what_is_committed():
    files = boatyard.demo_files()
    committed = {
        p.relative_to(COMMITTED).as_posix(): p.read_text(encoding="utf-8")
        for pattern in ("paints.toml", "cards/*.toml", "readings/*.txt")
        for p in COMMITTED.glob(pattern)
    }
    assert files.keys() == committed.keys()
    for name, text in files.items():
        assert text == committed[name], f"{name}: run make measurements"
        assert "nvented" in text
        if name.endswith(".toml"):
            tomllib.loads(text)


def test_committed_cards_and_readings_read_back_as_painted():
    lab = Lab()
    check = plan.check_card("mixtures", plan.MIXTURES, "")
    painted = [
        *lab.read(plan.ladders(), boatyard.SEED),
        lab.mixtures(check, boatyard.SEED).readings,
    ]
    for made in painted:
        card = read_card(COMMITTED / "cards" / made.card.file, known_paints=list(PAINTS))
        assert (card.name, card.purpose, card.date, card.balance_g, card.sealed) == (
            made.card.name,
            made.card.purpose,
            made.card.date,
            plan.BALANCE_G,
            True,
        )
        for ours, theirs in zip(made.card.drawdowns, card.drawdowns, strict=True):
            assert replace(theirs, lots=ours.lots) == ours
            assert ours.lots.items() <= theirs.lots.items()
        got = pair(card, read_session(COMMITTED / "readings" / f"{card.name}.txt"))
        assert got.surface == made.surface
        assert got.spectra.labels == made.spectra.labels
        np.testing.assert_allclose(got.spectra.values, made.spectra.values, atol=5.1e-6)


def test_committed_paints_read_back_as_labelled():
    text = (COMMITTED / "paints.toml").read_text(encoding="utf-8")
    paints = parse_paints(text, "paints.toml")
    assert [p.nickname for p in paints] == list(PAINTS)
