"""What the scores of hands and of brushed cards rest on: parsing, and optics of their own."""

from types import SimpleNamespace

import numpy as np
import pytest
from tintladder.calibrate import opaque_reflectance
from tintladder.calibrate.optics.spectra import GRID

from tests.bench.brushed_paints import BLACK_CARD, bare, box, hiding, mixtures, transport, two_flux
from tests.bench.hand_paper import hex_lab, ratio
from tests.bench.hand_words import Amount, Printed, amounts_in, number, tints_in

TABLE = SimpleNamespace(
    names={"Hull White": "HULL", "Pitch Black": "PITCH"}, densities={"HULL": 1.5, "PITCH": 1.0}
)


def test_amounts_are_parsed_as_printed():
    assert [number(words) for words in ("5 ¾", "¼", "17.7")] == [5.75, 0.25, 17.7]
    text = "1. 17.7 g Hull White, 1 ¼ spoons Pitch Black tint, 2 parts Pitch Black in halves: grey"
    assert amounts_in(text, TABLE) == [
        Amount(17.7, "g", "HULL"),
        Amount(1.25, "spoon", "PITCH", True),
        Amount(2.0, "part", "PITCH"),
    ]
    assert tints_in("Pitch Black tint, 1 Pitch Black to 9 Hull White", TABLE) == {
        "PITCH": (1, 9, "HULL")
    }
    assert ratio("1 : 2.5") == (1, 2.5)
    assert ratio("alone") is None


def test_a_tint_is_mixed_as_a_tint():
    amounts = [Amount(10, "g", "HULL"), Amount(2, "g", "PITCH", True)]
    printed = Printed("recipe", amounts, {}, (50, 0, 0), 0.0, None, "")
    assert printed.literal(TABLE, by_weight=True) == pytest.approx({"HULL": 11.8, "PITCH": 0.2})
    spoons = Printed("page", [Amount(10, "ml", "PITCH", True)], {}, (50, 0, 0), 0.0, None, "")
    by_unit = spoons.literal(TABLE, by_weight=False)
    assert by_unit == pytest.approx({"PITCH": 1.0, "HULL": 13.5})


def test_white_on_paper_is_white():
    assert hex_lab("#ffffff") == pytest.approx([100, 0, 0], abs=1e-3)


def test_films_that_hide_are_as_theory_has_them_and_none_shows_the_card():
    of = box(1)
    shares = np.array([of.shares(m) for m in mixtures(of, 4, 1)])
    k, s = shares @ of.k, shares @ of.s
    hidden, other = hiding(of, two_flux, shares), hiding(of, transport, shares)
    order = np.argsort(opaque_reflectance(k, s), axis=None)
    assert (np.diff(hidden.ravel()[order]) >= -1e-12).all()
    # Radiative transfer is near to, and isn't, the two fluxes.
    assert 0.002 < np.abs(hidden - other).mean() < 0.05
    assert (bare(of, two_flux)["black"] < BLACK_CARD).all()
    assert hidden.shape == (4, GRID.size)
