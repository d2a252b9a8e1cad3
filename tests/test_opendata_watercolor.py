"""Measured watercolor mixtures, from Chen et al. (arXiv 1904.00275): decoded, fitted, predicted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.opendata import (
    watercolor_ladders,
    watercolor_pairs_left_out,
    watercolor_with_mixtures,
)
from tests.opendata.watercolor import (
    PIGMENTS,
    STEPS,
    Mixtures,
    Unavailable,
    Watercolors,
    load,
    srgb_d65,
)
from tests.opendata.watercolor_fit import WITH_MIXTURES, differences, fit
from tests.opendata.watercolor_recipes import recovered

pytestmark = pytest.mark.opendata


@pytest.fixture(scope="module")
def data() -> Watercolors:
    try:
        return load()
    except Unavailable as reason:
        pytest.skip(str(reason))


def test_the_split_holds_the_genuine_mixtures_once(data: Watercolors) -> None:
    # 13 pigments make 78 pairs at ten pairs of quantities: 780, four fifths of them to train on.
    assert (len(data.train), len(data.test)) == (624, 156)
    rows = [np.hstack([m.pigments, m.quantities]) for m in (data.train, data.test)]
    assert len(np.unique(np.vstack(rows), axis=0)) == 780


def test_pigments_told_apart_agree_with_the_published_colours(data: Watercolors) -> None:
    """The set's tables of mixtures played no part in telling the pigments apart."""
    off = []
    for mixtures in (data.train, data.test):
        seen = srgb_d65(mixtures.reflectance)
        for (a, b), (q, r), rgb in zip(mixtures.pigments, mixtures.quantities, seen, strict=True):
            for key in ((a, q, b, r), (b, r, a, q)):
                if key in data.published_srgb:
                    off.append(np.abs(rgb - data.published_srgb[key]).max())
    assert len(off) > 400
    # Published as whole numbers. A few entries of the set's tables disagree with its spectra.
    assert np.mean(np.array(off) < 1) > 0.97


def test_ladders_alone_predict_mixtures(data: Watercolors, capsys: pytest.CaptureFixture) -> None:
    found = watercolor_ladders()
    with capsys.disabled():
        print(f"\nwatercolor mixtures from ladders alone: {found}")
    assert found["n"] == 156
    assert found["share_under_5"] >= 0.39


def test_mixtures_in_the_fit_predict_others_better(data: Watercolors) -> None:
    alone, found = watercolor_ladders(), watercolor_with_mixtures()
    assert found["mean_de76"] < alone["mean_de76"]
    assert found["share_under_5"] >= 0.80


def test_pairs_left_out_whole_are_predicted_by_the_others(data: Watercolors) -> None:
    """In halves, to be quick: the bench leaves out a sixth at a time."""
    found = watercolor_pairs_left_out(folds=2)
    assert found["n"] == 780
    assert found["share_under_5"] > watercolor_ladders()["share_under_5"]


def test_a_fit_gets_back_what_made_the_readings(data: Watercolors) -> None:
    """Invented readings, made from known K and S: other mixtures are predicted all but exactly."""
    known = fit(data, data.train, WITH_MIXTURES)

    def made(mixtures: Mixtures) -> Mixtures:
        return replace(mixtures, reflectance=known.predict(mixtures))

    pigment, step = np.divmod(np.arange(PIGMENTS * len(STEPS)), len(STEPS))
    alone = Mixtures(
        np.stack([pigment, (pigment + 1) % PIGMENTS], axis=1),
        np.stack([np.array(STEPS)[step], 0 * step], axis=1),
        data.ladder.reshape(len(step), -1),
    )
    invented = replace(data, ladder=made(alone).reflectance.reshape(data.ladder.shape))
    # Made without noise, so nothing but the readings need hold K and S.
    free = replace(WITH_MIXTURES, hold_k=1e-5, hold_s=1e-5, optical_weight=0.0)
    found = fit(invented, made(data.train), free)
    assert differences(found, made(data.test))[0].max() < 0.05


def test_recipes_name_the_pigments_of_measured_mixtures(data: Watercolors) -> None:
    """From its reading alone; 78 pairs of pigments could be in each."""
    washes = fit(data, data.train, WITH_MIXTURES)
    some = data.test.take(np.arange(0, len(data.test), 20))
    among, parts = recovered(washes, some)
    assert among.mean() >= 0.5
    assert np.nanmedian(np.abs(np.log(parts))) < np.log(1.35)
    # What the model itself made comes back, in its true proportion.
    made = some.take(np.arange(0, len(some), 4))
    among, parts = recovered(washes, replace(made, reflectance=washes.predict(made)))
    assert among.all()
    assert np.nanmedian(np.abs(np.log(parts))) < 0.02
