"""The report on a paint: what it says, what it can't say, and what it hands on."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.hiding import BY_RATIO, HIDES_AT
from tintladder.calibrate.fit.judging.quality_figures import as_dict, figures
from tintladder.calibrate.fit.judging.quality_report import IN_THE_MANNER, quality_report
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.database.pictures import quality

from tests.synthetic import NOISE, TUBES, ladders

SETTINGS = FitSettings(noise=NOISE, roughness=(0.5, 0.2))


@pytest.fixture(scope="module")
def readings():
    return ladders(seed=3)


@pytest.fixture(scope="module")
def fit(readings):
    return fit_paints(readings, TUBES, SETTINGS)


@pytest.fixture(scope="module")
def report(fit, readings):
    patches = fit.paints["B"].patches
    left_out = patches[["card", "patch"]].assign(de00=patches["de00"] + 1)
    k = fit.paints["B"].coefficients.k * np.array([[0.8], [1.0]])
    old = replace(fit.paints["B"], coefficients=replace(fit.paints["B"].coefficients, k=k))
    return quality_report(
        fit.paints["B"],
        readings,
        left_out=left_out,
        reference=fit.paints["R"],
        old=old,
        settings=SETTINGS,
    )


def test_words_come_first(report):
    text = str(report)
    lines = text.splitlines()
    assert lines[0] == f"B: {report.verdict}"
    assert lines[1].startswith("  because ")
    for words in (
        "It hides black at ",
        "coats than anyone brushes",
        "as bright over black as over white",
        "As painted, 67 µm dry over the card's own black and white (masstone), it is ",
        "as strong as R",
        "9 parts of W to 1 of R by weight",
        "Left out in turn, each step is predicted",
        "The new tube of B differs most at",
        "in the manner of ISO 6504-3",
        "These are not tests by those standards",
    ):
        assert words in text, words
    assert "nan" not in text


def test_each_strength_says_what_it_is_judged_by(report):
    text = str(report)
    assert "By the light it takes where it takes most, it is " in text
    assert "To the eye, by how far it takes white from white, it is " in text


def test_the_standards_can_be_left_to_the_end_of_several_reports(report):
    assert str(report) == f"{report.words}\n{IN_THE_MANNER}" and report.in_the_manner


def test_no_paint_is_said_to_be_as_strong_as_itself(fit, readings):
    alone = quality_report(fit.paints["R"], readings, reference=fit.paints["R"], settings=SETTINGS)
    assert alone.strengths and "as strong as" not in str(alone)


def test_rows_for_the_release(report):
    rows = figures(report)
    assert set(rows["paint"]) == {"B"}
    table = rows.set_index("quantity")
    for quantity in ("contrast ratio", "hiding thickness", "spreading", "hue turn"):
        row = table.loc[quantity]
        assert row["low"] < row["value"] < row["high"], quantity
        assert row["uncertainty"] > 0
        assert "D50/2°" in row["conditions"] or "D65/10°" in row["conditions"]
    assert "75 µm dry" in table.loc["contrast ratio", "conditions"]
    assert len(table.loc["tinting strength"]) == 2
    assert len(table.loc["drift"]) == 6
    assert len(table.loc["difference of a step left out"]) == 6


def test_json_holds_no_nan(report):
    said = as_dict(report)
    again = json.loads(json.dumps(said, allow_nan=False))
    assert again == said
    assert len(said["residuals"]) == len(report.residuals)
    assert said["verdict"] == report.verdict


def test_opaque_ladders_say_what_cant_be_said():
    fit = fit_paints(ladders(("W", "R"), opaque_films=True), TUBES, SETTINGS)
    found = quality_report(fit.paints["R"], reference=fit.paints["W"])
    assert found.contrast is None
    assert found.hiding is None
    assert "How well it hides can't be said: K and S of R are relative to W" in str(found)
    assert "tinting strength can't be said: W has no ladder in white" in found.unsaid
    assert found.hue is not None
    json.dumps(as_dict(found), allow_nan=False)


def test_without_readings_hiding_is_less_sure(fit, readings):
    alone = quality_report(fit.paints["W"])
    with_films = quality_report(fit.paints["W"], readings, settings=SETTINGS)
    assert alone.films == ()
    assert len(with_films.films) == 1
    assert alone.hiding.relative_uncertainty > with_films.hiding.relative_uncertainty
    assert alone.left_out.empty


def test_a_gap_in_the_readings_is_said(fit):
    c = fit.paints["B"].coefficients
    k = c.k.copy()
    k[0, 12] = np.nan
    found = quality_report(replace(fit.paints["B"], coefficients=replace(c, k=k)))
    assert len(found.unsaid) == 2
    assert all("a gap in the wavelengths read" in words for words in found.unsaid)


def test_pictures(fit, report):
    ax = quality.plot_residuals(report)
    lines = [line for line in ax.lines if str(line.get_gid()).startswith("residual/")]
    assert len(lines) == len(report.patches)
    at = ax.get_yticks()[0]
    rows = report.residuals[report.residuals["patch"] == report.patches["patch"][0]]
    shown = lines[0].get_ydata() - at
    left = (rows["measured"] - rows["fitted"]).to_numpy()
    assert np.corrcoef(shown, left)[0, 1] > 0.999
    ax = quality.plot_hiding(fit.paints["B"], report)
    assert ax.get_ylabel().startswith("contrast ratio")
    (mark,) = [line for line in ax.lines if line.get_gid() == "hides"]
    assert set(mark.get_xdata()) == {report.hiding.thickness_um}
    assert isinstance(figures(report), pd.DataFrame)


@pytest.mark.parametrize("paint", ["W", "B"])
def test_a_picture_of_hiding_has_one_rule_the_report_s(fit, paint):
    """The ratio 0.98 is ruled off only where it is what judges: ISO 6504-3, for light paints."""
    found = quality_report(fit.paints[paint])
    ax = quality.plot_hiding(fit.paints[paint], found)
    ruled = [line for line in ax.lines if set(line.get_ydata()) == {HIDES_AT}]
    assert len(ruled) == (found.hiding.criterion == BY_RATIO) == (paint == "W")
    said = [text.get_text() for text in ax.get_legend().get_texts()]
    hides = f"hides at {found.hiding.thickness_um:.0f} µm dry"
    assert any(s.startswith(hides) and s.endswith(found.hiding.criterion) for s in said)
    assert str(round(found.hiding.thickness_um)) in str(found.hiding)
