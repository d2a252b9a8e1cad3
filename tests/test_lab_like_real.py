"""The lab's paints that depart from the nominal as real paint does."""

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.optics.spectra import GRID

from tests.lab.drawdown import Lab, Variant
from tests.lab.oil_box import OIL_BOX, ladders


def film(name: str, masses: dict[str, float], gap: float = 300.0) -> Card:
    return Card(name, f"{name}.toml", (Drawdown("film", None, masses, gap_um=gap),))


def test_surfaces_of_dark_films_are_their_own():
    cards = [film(f"black-{i}", {"PITCH": 10.0}) for i in range(20)]
    lab = Lab(Variant(underbound=1.0), points=8)
    darkest = [r.read("film/black").min() for r in lab.read(cards)]
    assert 0.020 < min(darkest) < 0.026 < 0.045 < max(darkest) < 0.0505
    # Whoever reads a film again finds it as it was; a light one hardly shows it.
    assert [r.read("film/black").min() for r in lab.read(cards)] == darkest
    white = film("white", {"HULL": 10.0})
    light = [each.read([white])[0].read("film/white") for each in (lab, Lab(points=8))]
    assert np.abs(light[0] - light[1]).max() < 0.012


def test_pigments_crowd_each_by_its_own_share():
    alone, half = (
        film("a", {"LANTERN": 10.0}, 100.0),
        film("b", {"LANTERN": 5.0, "BUOY": 5.0}, 100.0),
    )
    fall = []
    for card in (alone, half):
        plain, crowded = (
            lab.read([card])[0].read("film/black")[0, -1]
            for lab in (Lab(points=8), Lab(Variant(pigments_crowd=0.3), points=8))
        )
        fall.append(1 - crowded / plain)
    assert 0.05 < fall[1] < fall[0] < 0.3


def test_black_acts_as_its_partners_have_it():
    lab, plain = Lab(Variant(partners=1.0), points=8), Lab(points=8)

    def darker(partner: str, black: float) -> float:
        card = film("grey", {partner: 10.0, "PITCH": black})
        one, other = (each.read([card])[0].read("film/white")[0, -1] for each in (lab, plain))
        return float(np.log(other / one))

    assert darker("ANCHOR", 0.2) > darker("HULL", 0.2) > darker("LANTERN", 0.2)
    # Rare black acts the more strongly.
    assert darker("HULL", 0.05) > 0 > darker("LANTERN", 3.0)


def test_an_invented_box_of_oils_is_what_acrylics_lack():
    lab = Lab(points=8, paints=OIL_BOX)
    red, seen = GRID >= 560, {}
    for paint in ("FOGHORN", "CAPSTAN", "BALLAST", "GARNET"):
        (r,) = lab.read([film(paint, {paint: 10.0})])
        seen[paint] = [r.read(f"film/{over}")[0][red].mean() for over in ("black", "white")]
    hides = {paint: black / white for paint, (black, white) in seen.items()}
    assert hides["FOGHORN"] > 0.85 > 0.5 > max(hides["BALLAST"], hides["GARNET"])
    assert seen["FOGHORN"][0] > 0.7
    cards = ladders(1)
    assert {d.gap_um for card in cards for d in card.drawdowns} <= {100, 150, 200, 300}
    assert {card.paints[0] for card in cards} == set(OIL_BOX)
    assert all(tube.density is None for tube in lab.tubes.values())
