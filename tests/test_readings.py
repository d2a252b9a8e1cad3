"""Readings are put to the patches of their card, or refused in one line."""

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.readings import pair
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.optics.spectra import GRID, Flag, Spectra

CARD = Card(
    "ochre",
    "ochre.toml",
    (Drawdown("masstone", "OCHRE", {"OCHRE": 10.0}), Drawdown("thin", "OCHRE", {"OCHRE": 5.0})),
)


def session(labels, wl=GRID, values=None, **said):
    values = np.full((len(labels), len(wl)), 0.4) if values is None else values
    said = {"geometry": "di:8"} | said
    return Session(
        Spectra.from_values(wl, values, labels),
        file="ochre.txt",
        sha256="",
        format="CGATS.17 text",
        unit="fraction",
        **said,
    )


def test_repeats_are_kept_apart():
    readings = pair(CARD, session(["bare/black", "masstone/black", "masstone/black"]))
    np.testing.assert_array_equal(readings.rows("masstone/black"), [1, 2])
    assert readings.rows("masstone/white").size == 0
    assert readings.source == "ochre.txt"


def test_the_instruments_surface():
    surface = pair(CARD, session(["bare/black"], geometry="45:0", specular="excluded")).surface
    assert (surface.geometry, surface.specular, surface.gloss) == ("45:0", "excluded", "gloss")
    assert surface.haze == 0


def test_readings_come_to_the_inside_grid():
    wl = np.arange(400.0, 701.0, 20.0)
    readings = pair(CARD, session(["bare/black"], wl))
    np.testing.assert_array_equal(readings.spectra.wavelengths, GRID)
    outside = (GRID < 400) | (GRID > 700)
    assert np.isnan(readings.spectra.values[0, outside]).all()
    assert (readings.spectra.flags[0, outside] == Flag.MISSING).all()


def test_unknown_patch():
    with pytest.raises(InputError) as caught:
        pair(CARD, session(["bare/black", "masstne/black"]))
    assert (caught.value.file, caught.value.where) == ("ochre.txt", "sample masstne/black")
    assert "card ochre has no such patch" in caught.value.expected
    assert "\n" not in str(caught.value)


def test_patch_over_a_substrate_it_was_not_drawn_over():
    thin = Card("c", "c.toml", (Drawdown("m", "OCHRE", {"OCHRE": 1.0}, over=("black",)),))
    with pytest.raises(InputError) as caught:
        pair(thin, session(["m/white"]))
    assert caught.value.where == "sample m/white"


def test_wet_paint():
    with pytest.raises(InputError, match="wet paint") as caught:
        pair(CARD, session(["bare/black"], state="wet"))
    assert caught.value.file == "ochre.txt"


@pytest.mark.parametrize("value", [-0.05, 1.4, 40.0])
def test_impossible_reflectance(value):
    values = np.full((1, GRID.size), 0.4)
    values[0, 3] = value
    with pytest.raises(InputError) as caught:
        pair(CARD, session(["masstone/white"], values=values))
    assert (caught.value.file, caught.value.where) == ("ochre.txt", "masstone/white at 410 nm")


def test_small_excursions_are_flagged():
    values = np.full((1, GRID.size), 0.4)
    values[0, :2] = -0.005, 1.05
    flagged = pair(CARD, session(["masstone/white"], values=values)).spectra.flagged()
    assert flagged == [
        ("masstone/white", 380.0, Flag.BELOW_ZERO),
        ("masstone/white", 390.0, Flag.ABOVE_ONE),
    ]


def test_nothing_read():
    with pytest.raises(InputError):
        pair(CARD, session([]))
