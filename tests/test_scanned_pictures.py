"""Pictures draw as measured only what was measured."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.ladder import Ladder, ladder
from tintladder.database.pictures.quality import plot_residuals
from tintladder.database.pictures.spectra import plot_reflectance
from tintladder.database.pictures.tint import plot_strip

from .studio_fixtures import joint_fit


@pytest.fixture(params=[False, True], ids=["read", "scanned"])
def steps(request):
    """An invented ladder of two steps."""
    curve = np.linspace(0.1, 0.6, GRID.size)
    seen = {"white": np.stack([curve, 0.5 + curve / 2])}
    return Ladder(
        "KEEL", "HULL", GRID, np.array([1.0, 0.5]), ("masstone", "1 : 1"), seen, seen,
        {"white": ("", "")}, request.param,
    )  # fmt: skip


def test_a_ladder_knows_whether_it_was_scanned():
    fit = joint_fit().paints["KEEL"]
    for scanned in (False, True):
        made = np.full(len(fit.coefficients.paints), scanned)
        found = ladder(replace(fit, coefficients=replace(fit.coefficients, scan_made=made)))
        assert found.scanned is scanned


def test_three_channels_are_no_points_every_10_nm(steps):
    ax = plot_reflectance(steps)
    points = [line for line in ax.lines if line.get_marker() == "o" and len(line.get_xdata()) > 3]
    named = {text.get_text() for text in ax.get_legend().get_texts()}
    assert bool(points) != steps.scanned
    assert ("measured" in named) != steps.scanned
    assert ("scanned in three channels: no points" in named) == steps.scanned
    # The curves stand in both.
    assert any(len(line.get_xdata()) > 3 and line.get_marker() == "None" for line in ax.lines)
    plt.close(ax.get_figure(root=True))


def test_swatches_say_what_saw_them(steps):
    ax = plot_strip(steps, None)
    words = {text.get_text() for text in ax.texts}
    assert ("scanned" in words, "measured" in words) == (steps.scanned, not steps.scanned)
    plt.close(ax.get_figure(root=True))


@pytest.mark.parametrize("scanned", [False, True])
def test_what_a_scan_leaves_over_is_said_to_be_one_of_many(scanned):
    patch = {"card": "keel-1", "patch": "1:1/white"}
    rows = [patch | {"wavelength": w, "measured": 0.5, "fitted": 0.49, "sigma": 0.01} for w in GRID]
    report = SimpleNamespace(patches=pd.DataFrame([patch]), residuals=pd.DataFrame(rows))
    ax = plot_residuals(report, scanned=scanned)
    said = "\n".join(text.get_text() for text in ax.texts)
    assert ("of all lines that these allow, one is drawn" in said) is scanned
    plt.close(ax.get_figure(root=True))
