"""Why a paint was set aside at a fit is kept and shown on the page until it is fitted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.judging.quality_report import _table
from tintladder.database.store.store import Store

from .studio_fixtures import fill, joint_fit

WHY = InputError(None, "KEEL", "no wavelength shows the substrate <b>", "paint its ladder")


def test_the_page_says_why_a_paint_was_set_aside(page, tmp_path):
    with Store.open(tmp_path / "studio") as store:
        fill(store)
        assert store.fits.aside() == {}
    assert "set aside" not in page.get("/fits").text
    with Store.open(tmp_path / "studio") as store:
        without = replace(joint_fit(("HULL",)), aside={"KEEL": WHY})
        store.fits.record(without, store.readings.all())
        assert store.fits.aside() == {"KEEL": str(WHY)}
    shown = page.get("/fits").text
    assert "KEEL was set aside, and the others were fitted" in shown
    assert "no wavelength shows the substrate &lt;b&gt;; paint its ladder" in shown
    with Store.open(tmp_path / "studio") as store:
        store.fits.record(joint_fit(), store.readings.all())
        assert store.fits.aside() == {}
    assert "set aside" not in page.get("/fits").text


def test_a_film_of_unknown_thickness_is_said_to_be_one():
    row = {
        "step": "1:1", "over": "black", "share": 0.5, "thickness_um": np.nan, "de00": 0.4,
        "left_out": np.nan, "flag": "",
    }  # fmt: skip
    said = _table(pd.DataFrame([row, row | {"thickness_um": 61.6}]))
    assert "unknown" in said and "62" in said and "opaque" not in said
