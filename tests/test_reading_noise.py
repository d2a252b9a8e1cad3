"""How far a reading scatters: what repeats say of it, and what a mean of them is worth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.noise import (
    FLOOR,
    TYPICAL,
    bare_means,
    patch_mean,
    reading_noise,
    reading_sd,
    repeat_scatter,
    repeats_apart,
)
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.spectra import GRID, Spectra
from tintladder.calibrate.optics.surface import Surface

from .synthetic import ladder

W = GRID.size
SETTINGS = FitSettings(noise=(0.001, 0.01))


def readings(rows: dict[str, list[np.ndarray]]) -> CardReadings:
    """A card's readings from so many rows of each patch."""
    labels = [patch for patch, each in rows.items() for _ in each]
    values = np.array([row for each in rows.values() for row in each])
    spectra = Spectra.from_values(GRID, values, labels)
    return CardReadings(ladder("W"), spectra, Surface.of("di:8"), "w.txt")


def scattered(offset: float, slope: float, repeats: int = 4, patches: int = 12) -> CardReadings:
    """Patches from dark to light, each read so often with such an error."""
    rng = np.random.default_rng(5)
    levels = np.linspace(0.03, 0.9, patches)
    return readings({
        f"{i}/white": list(r + (offset + slope * r) * rng.standard_normal((repeats, W)))
        for i, r in enumerate(levels)
    })  # fmt: skip


def test_scatter_is_the_sample_variance_about_the_mean() -> None:
    """Three readings leave two degrees of freedom; 0.1, 0.2, 0.6 vary by 0.07 (by hand)."""
    three = [np.full(W, r) for r in (0.1, 0.2, 0.6)]
    mean, variance, freedom = repeat_scatter([readings({"1/white": three, "2/white": three[:1]})])
    np.testing.assert_allclose(mean, np.full(W, 0.3))
    np.testing.assert_allclose(variance, np.full(W, 0.07))
    np.testing.assert_array_equal(freedom, np.full(W, 2.0))


def test_two_readings_already_tell_and_one_does_not() -> None:
    pair = [np.full(W, r) for r in (0.4, 0.5)]
    mean, variance, freedom = repeat_scatter([readings({"1/white": pair})])
    assert mean.size == W and freedom[0] == 1
    np.testing.assert_allclose(variance, 0.005)
    assert all(each.size == 0 for each in repeat_scatter([readings({"1/white": pair[:1]})]))


def test_a_wavelength_unread_in_one_repeat_says_nothing() -> None:
    one, other = np.full(W, 0.3), np.full(W, 0.5)
    other[:7] = np.nan
    mean, variance, freedom = repeat_scatter([readings({"1/white": [one, other]})])
    assert mean.shape == variance.shape == freedom.shape == (W - 7,)
    np.testing.assert_allclose(mean, 0.4)


def test_repeats_of_every_card_count_and_patches_of_two_cards_are_apart() -> None:
    low, high = ([np.full(W, r), np.full(W, r + 0.01)] for r in (0.2, 0.8))
    both = [readings({"1/white": low}), readings({"1/white": high})]
    mean, variance, _ = repeat_scatter(both)
    np.testing.assert_allclose(mean, np.repeat([0.205, 0.805], W))
    np.testing.assert_allclose(variance, np.full(2 * W, 0.01**2 / 2))


@pytest.mark.parametrize("truth", [(0.002, 0.01), (0.004, 0.0008), (0.0004, 0.02)])
def test_offset_and_slope_of_repeats_are_found(truth: tuple[float, float]) -> None:
    """1296 degrees of freedom: the standard deviation is known to one in fifty."""
    found = reading_noise([scattered(*truth)])
    levels = np.linspace(0.03, 0.9, 12)
    expected = truth[0] + truth[1] * levels
    np.testing.assert_allclose(found[0] + found[1] * levels, expected, rtol=0.12)


def test_dark_readings_below_zero_scatter_as_their_size_does() -> None:
    """Noise about black goes below zero; how far it scatters does not fall with that."""
    rng = np.random.default_rng(1)
    rows = {f"{i}/black": list(level + 0.05 * rng.standard_normal((6, W)))
            for i, level in enumerate((-0.5, 0.5, -0.4, 0.4))}  # fmt: skip
    offset, slope = reading_noise([readings(rows)])
    assert offset + slope * 0.45 == pytest.approx(0.05, rel=0.15)


def test_too_few_repeats_leave_the_usual_noise() -> None:
    """200 degrees of freedom are enough, 199 are too few (our choice)."""
    rng = np.random.default_rng(2)

    def unread(*missing: int) -> CardReadings:
        rows = {f"{i}/white": list(0.5 + 0.03 * rng.standard_normal((2, W)))
                for i in range(len(missing))}  # fmt: skip
        for (one, _), count in zip(rows.values(), missing, strict=True):
            one[:count] = np.nan
        return readings(rows)

    assert TYPICAL == (0.0005, 0.002)
    assert reading_noise([]) == TYPICAL
    assert reading_noise([unread(0, 0, 0, 0, 0, W - 19)]) == TYPICAL
    offset, slope = reading_noise([unread(0, 0, 0, 0, 0, W - 20)])
    assert offset + 0.5 * slope == pytest.approx(0.03, rel=0.2)


def test_repeats_that_agree_to_the_last_digit_do_not_make_a_reading_certain() -> None:
    assert FLOOR == (0.0002, 0.0005)
    assert reading_noise([scattered(0.0, 0.0)]) == FLOOR
    offset, slope = reading_noise([scattered(0.01, 0.0)])
    assert offset == pytest.approx(0.01, rel=0.1) and slope >= FLOOR[1]


def test_one_reading_scatters_by_an_offset_and_a_share_of_itself() -> None:
    """By hand: 0.001 + 0.01 * 0.5."""
    r = np.array([0.0, 0.5, -0.5])
    np.testing.assert_allclose(reading_sd(r, SETTINGS), [0.001, 0.006, 0.006])
    np.testing.assert_allclose(reading_sd(r, FitSettings()), [0.0005, 0.0015, 0.0015])


def test_a_mean_of_n_readings_has_the_nth_part_of_the_variance() -> None:
    rows = [np.full(W, r) for r in (0.4, 0.5, 0.6)]
    mean, variance, count, flags = patch_mean(readings({"1/white": rows}), "1/white", SETTINGS)
    np.testing.assert_allclose(mean, 0.5)
    np.testing.assert_allclose(variance, 0.006**2 / 3)
    assert (count, flags) == (3, 0)


def test_each_wavelength_has_the_mean_and_the_variance_of_what_was_read_there() -> None:
    rows = [np.full(W, r) for r in (0.4, 0.6)]
    rows[1][:5] = np.nan
    rows[0][0] = np.nan
    mean, variance, count, _ = patch_mean(readings({"1/white": rows}), "1/white", SETTINGS)
    assert np.isnan(mean[0]) and count == 2
    np.testing.assert_allclose(mean[1:5], 0.4)
    np.testing.assert_allclose(variance[1:5], 0.005**2)
    np.testing.assert_allclose(mean[5:], 0.5)
    np.testing.assert_allclose(variance[5:], 0.006**2 / 2)


def test_flags_of_every_repeat_and_wavelength_show() -> None:
    made = readings({"1/white": [np.full(W, 0.4)] * 2, "2/white": [np.full(W, 0.4)]})
    flags = np.zeros(made.spectra.values.shape, dtype=made.spectra.flags.dtype)
    flags[0, 3], flags[1, 5], flags[2, 0] = 1, 2, 4
    made = replace(made, spectra=replace(made.spectra, flags=flags))
    assert patch_mean(made, "1/white", SETTINGS)[3] == 3


def test_a_bare_substrate_counts_where_any_of_it_was_read() -> None:
    partly = np.full(W, 0.8)
    partly[1:] = np.nan
    rows = {"bare/white": [partly], "bare/black": [np.full(W, np.nan)]}
    found = bare_means(readings(rows), SETTINGS)
    assert set(found) == {"white"} and found["white"][0][0] == 0.8
    assert bare_means(readings({"1/white": [partly]}), SETTINGS) == {}


def test_levels_of_repeats_are_held_against_each_other_where_all_were_read() -> None:
    """By hand: 0.4 and 0.6 lie 0.1 from their mean of 0.5, of one degree of freedom."""
    rows = [np.full(W, r) for r in (0.4, 0.6)]
    rows[1][:5] = np.nan
    rows[0][:5] = 0.9
    assert repeats_apart(readings({"1/white": rows}), "1/white") == pytest.approx(0.02**0.5 / 0.5)
    assert repeats_apart(readings({"1/white": rows[:1]}), "1/white") == 0
