"""Instruments: repeatability, drift of tiles, agreement; by hand, and in a studio."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy import stats
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.agreement import agreement, scatter
from tintladder.calibrate.instrument.sitting import Correcting
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.spectra import Spectra
from tintladder.database.cards.device_report import compare_instruments, instrument_reports
from tintladder.database.pictures.devices import instrument_figure
from tintladder.database.pictures.style import save
from tintladder.database.store.store import Store

from .command import run
from .invented_instrument import FILMS, TILES
from .studio_fixtures import PAINTS_TOML, ladder, session

GREY, LIGHTER = np.array([50.0, 0.0, 0.0]), np.array([51.0, 0.0, 0.0])


def test_scatter_of_two_readings_is_half_their_distance():
    two = np.array([GREY, LIGHTER])
    found = scatter([two, GREY[None]])
    middle = (GREY + LIGHTER) / 2
    assert found.mcdm == pytest.approx(ciede2000(two, np.array([middle, middle])).mean())
    assert found.mcdm_ab == pytest.approx(0.5)
    assert found.readings == 2 and found.groups == 1
    assert found.covariance[0, 0] == pytest.approx(0.5)  # the variance of 0 and 1
    assert scatter([GREY[None]]) is None


def test_the_ball_is_as_large_as_the_ellipsoid_and_holds_95_percent():
    rng = np.random.default_rng(1)
    groups = [GREY + 0.2 * rng.standard_normal((20, 3)) for _ in range(200)]
    found = scatter(groups)
    np.testing.assert_allclose(np.diag(found.covariance), 0.04, rtol=0.1)
    inside = np.mean([np.linalg.norm(g - g.mean(axis=0), axis=1) < found.radius for g in groups])
    assert inside == pytest.approx(0.95, abs=0.02)
    # Chi-square of 3 degrees of freedom at 95 %: 7.815 (any statistical table).
    assert found.radius == pytest.approx(0.2 * np.sqrt(7.815), rel=0.05)


def test_hotelling_in_one_direction_is_students_t():
    """Along one axis T squared is t squared (general reference: scipy's paired t test)."""
    rng = np.random.default_rng(3)
    off = 0.05 * rng.standard_normal((12, 3)) + [0.1, 0, 0]
    one = GREY + rng.uniform(-20, 20, (12, 3))
    found = agreement(one, one + off)
    # The direction in which the bias stands out most.
    best = np.linalg.solve(np.cov(off.T), off.mean(axis=0))
    t = stats.ttest_1samp(off @ best, 0).statistic
    assert found.t_squared == pytest.approx(t**2)
    assert found.is_bias


def test_a_bias_is_found_by_chance_one_time_in_twenty():
    rng = np.random.default_rng(5)
    one = GREY + rng.uniform(-20, 20, (10, 3))
    chances = [
        agreement(one, one + 0.1 * rng.standard_normal((10, 3))).by_chance for _ in range(300)
    ]
    assert np.mean(np.array(chances) < 0.05) == pytest.approx(0.05, abs=0.035)
    assert stats.kstest(chances, "uniform").pvalue > 0.01


def test_few_things_leave_bias_open():
    found = agreement(np.array([GREY]), LIGHTER[None])
    assert np.isnan(found.by_chance) and not found.is_bias
    assert found.bias[0] == pytest.approx(1.0)


def readings(device, date, scale=1.0, noise=0.0, seed=0, **changes):
    """A session on the test ladder in which the tile was read first."""
    rng = np.random.default_rng(seed)
    good = session(ladder())
    wl, labels = good.spectra.wavelengths, list(dict.fromkeys(good.spectra.labels))
    curves = list(FILMS.values())
    values = np.array([curves[i % len(curves)](wl) for i in range(len(labels))])
    values = np.concatenate([TILES["white"](wl)[None], values.repeat(2, axis=0)]) * scale
    values = np.clip(values + noise * rng.standard_normal((len(values), 1)), 0, 1)
    named = ["tile/white", *(label for label in labels for _ in range(2))]
    return Correcting()(
        replace(
            good,
            spectra=Spectra.from_values(wl, values, named),
            device=device,
            date=date,
            sha256=f"{device}{date}",
            **changes,
        )
    )


@pytest.fixture
def studio(tmp_path):
    with Store.open(tmp_path / "studio") as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
        for i, month in enumerate((1, 4, 7, 10)):
            drifted = readings("Bench reader", f"2026-{month:02d}-01", 1 - 0.002 * i, 0.0003, i)
            store.readings.add("keel-1", drifted)
        store.readings.add("keel-1", readings("Field reader", "2026-05-01", 1.01, 0.0003, 9))
        yield store


def test_a_report_tells_repeats_sessions_and_the_drift_of_the_tile(studio):
    bench, field = instrument_reports(studio)
    assert (bench.name, bench.sessions, bench.first, bench.last) == (
        "Bench reader", 4, "2026-01-01", "2026-10-01",
    )  # fmt: skip
    assert bench.repeatability.mcdm < bench.reproducibility.mcdm
    (white,) = bench.tiles
    np.testing.assert_allclose(white.level / white.level[0], [1, 0.998, 0.996, 0.994], atol=1e-3)
    # A fifth of a percent every three months.
    assert white.slope == pytest.approx(-0.008, abs=0.001)
    assert field.reproducibility is None and np.isnan(field.tiles[0].slope)
    assert [each.name for each in instrument_reports(studio, "field")] == ["Field reader"]


def test_two_instruments_are_compared_on_what_both_have_read(studio):
    found = compare_instruments(studio, "bench", "field")
    assert found.agreement.things == len(set(ladder().patches))
    assert found.agreement.bias[0] > 0.2 and found.agreement.is_bias
    assert found.remarks == ()
    for names, expected in (
        (("bench", "bench"), "is one instrument"),
        (("bench", "attic"), "no such instrument"),
        (("reader", "field"), "fits several"),
    ):
        with pytest.raises(InputError, match=expected):
            compare_instruments(studio, *names)


def test_instruments_of_other_optics_are_not_expected_to_agree(studio):
    other = readings("Ball reader", "2026-06-01", geometry="di:8", specular="included")
    studio.readings.add("keel-1", other)
    (remark,) = compare_instruments(studio, "ball", "bench").remarks
    assert "they read differently (di:8 specular included M1; 45:0" in remark


def test_the_picture_has_both_halves(studio):
    bench, _ = instrument_reports(studio)
    tiles, spread = instrument_figure(bench).axes
    assert [line.get_label() for line in tiles.get_lines()][-1] == "white"
    assert len(spread.patches) == 2


@pytest.mark.filterwarnings("error")
def test_a_picture_of_one_day_or_of_nothing_can_be_drawn(studio, tmp_path):
    _, field = instrument_reports(studio)
    save(instrument_figure(field), tmp_path / "field.svg")
    bare = replace(field, tiles=(), repeatability=None)
    words = [text.get_text() for ax in instrument_figure(bare).axes for text in ax.texts]
    assert words == ["no tile was read with it yet", "no patch was read twice"]


def test_the_command(studio, tmp_path, monkeypatch, capsys):
    tell, folder = partial(run, monkeypatch, capsys), studio.studio.folder
    said = tell("device", "spectro", "--studio", folder)
    assert "Bench reader: " in said.out and "Field reader: " in said.out
    assert "white: moved by" in said.out and "% a year" in said.out
    picture = tmp_path / "bench.svg"
    said = tell("device", "spectro", "bench", "--against", "field", "--out", picture,
                "--studio", folder)  # fmt: skip
    assert picture.exists()
    assert "they differ systematically (Hotelling's T²" in said.out
    found = tell("device", "spectro", "bench", "--json", "--studio", folder).json
    assert found["instruments"][0]["tiles"][0]["name"] == "white"
    assert tell("device", "spectro", "--out", picture, "--studio", folder).status == 2
    assert tell("device", "spectro", "x", "--studio", folder).status == 2
