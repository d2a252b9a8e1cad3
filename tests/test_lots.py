"""A fit is of one tube: whose card it was is asked, never guessed, and another's is refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from importlib.resources import as_file, files

import pytest
from tintladder.calibrate.cards.card import Drawdown
from tintladder.calibrate.errors import InputError
from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.store.lots import lot_painted, of_one_lot
from tintladder.database.store.paints_file import NewLot
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML, ladder, session


@pytest.fixture
def store(tmp_path):
    """Two tubes of one blue: A, and B that was opened later and is in use (invented)."""
    with Store.open(tmp_path) as opened:
        opened.paints.add_file(PAINTS_TOML)
        opened.paints.add_lot(
            "KEEL", NewLot("A", density=1.2, opened=date(2026, 1, 5), on_hand=False)
        )
        opened.paints.add_lot(
            "KEEL", NewLot("B", density=1.3, opened=date(2026, 6, 1), on_hand=True)
        )
        yield opened


def painted(name, lot=None, on="2026-07-01"):
    card = ladder(name)
    named = {} if lot is None else {"KEEL": lot}
    return replace(
        card, date=on, drawdowns=tuple(replace(d, lots=d.lots | named) for d in card.drawdowns)
    )


def read(store, *cards):
    for seed, card in enumerate(cards, 1):
        store.cards.add(card, card.name)
        store.readings.add(card.name, session(card, seed))
    return store.readings.all()


def test_a_card_says_its_tube_or_was_painted_from_the_one_in_use(store):
    keel = store.paints.find("KEEL")
    assert lot_painted(keel, painted("a", "A")).lot == "A"
    assert lot_painted(keel, painted("b")).lot == "B"
    assert lot_painted(keel, painted("c", on=None)).lot == "B"
    assert lot_painted(store.paints.find("KEEL-T"), painted("d")) is None


@pytest.mark.parametrize(
    "card, said",
    [
        (painted("x", "C"), r"lots\.KEEL: the studio has no lot C of KEEL; add lot C"),
        (painted("x", on="2026-02-01"), "before the tube in use, lot B, was opened"),
        (
            replace(
                painted("x", "A"),
                drawdowns=(*painted("x", "A").drawdowns, Drawdown("z", "KEEL", {"KEEL": 1.0},
                                                                  lots={"KEEL": "B"})),
            ),
            "names A and B; a fit is of one tube",
        ),
    ],
)  # fmt: skip
def test_a_card_of_no_tube_is_refused_in_one_line(store, card, said):
    with pytest.raises(InputError, match=said) as error:
        lot_painted(store.paints.find("KEEL"), card)
    assert "\n" not in str(error.value)


def test_a_tube_without_a_lot_is_the_one_that_the_card_names(store):
    store.paints.add_lot("KEEL-T", NewLot(""))
    drawdowns = tuple(replace(d, lots={"KEEL-T": "T9"}) for d in ladder(paint="KEEL-T").drawdowns)
    card = replace(ladder(paint="KEEL-T"), drawdowns=drawdowns)
    assert lot_painted(store.paints.find("KEEL-T"), card).lot == ""


def test_a_new_tube_of_a_known_paint_is_added_by_its_lot(store, monkeypatch, capsys):
    tool = partial(run, monkeypatch, capsys)
    label = ("--name", "Keel Blue", "--maker", "Slipway Colours (invented)")
    at = ("--studio", store.studio.folder)
    done = tool("tubes", "add", *label, "--lot", "C", "--density", "1.25", *at)
    assert "Added lot C of Keel Blue (KEEL), in use from today." in done.out
    used = store.paints.find("KEEL").current_lot
    assert (used.lot, used.density, used.on_hand) == ("C", 1.25, True)
    again = tool("tubes", "add", *label, "--lot", "C", *at)
    assert again.status == 2 and "is in the studio already" in again.err
    without = tool("tubes", "add", *label, "--pigments", "PB29", *at)
    assert without.status == 2 and "the same with --lot" in without.err


def test_cards_of_the_tube_in_use_are_taken_and_the_others_named(store):
    readings = read(store, painted("old", "A"), painted("new", "B"), painted("newer"))
    found = of_one_lot(store.paints.all(), readings, ["KEEL"])
    assert [r.card.name for r in found.readings] == ["new", "newer"]
    assert found.lots["KEEL"].lot == "B"
    assert list(found.left_out) == ["old"]
    assert "it is of lot A of KEEL, the fit of lot B" in found.left_out["old"]
    assert store.paints.tubes(found.lots)["KEEL"].density == 1.3


def test_a_tube_is_not_fitted_from_anothers_card(store):
    readings = read(store, painted("old", "A"))
    words = "the tube in use is lot B, but card old was painted from lot A; paint and read a card"
    with pytest.raises(InputError, match=words):
        of_one_lot(store.paints.all(), readings, ["KEEL"])
    # Fitted with all the rest it stays what it was: tube A.
    found = of_one_lot(store.paints.all(), readings)
    assert found.lots["KEEL"].lot == "A"
    assert store.paints.tubes(found.lots)["KEEL"].density == 1.2


def test_a_fit_is_recorded_of_the_tube_it_was_read_of(tmp_path):
    boatyard = files("tintladder.measurements") / "boatyard"
    with as_file(boatyard) as place, Store.open(tmp_path) as store:
        names = ("hull-white", "pitch-black")
        cards = [place / "cards" / f"{name}.toml" for name in names]
        readings = [place / "readings" / f"{name}.txt" for name in names]
        take_in(store, [place / "paints.toml", *cards, *readings])
        first = store.paints.find("PITCH").current_lot
        store.paints.add_lot("PITCH", NewLot("later", opened=date(2026, 11, 1), on_hand=True))
        fit_studio(store)
        assert store.fits.lot_before("PITCH", first.lot) is None
        assert store.fits.lot_before("PITCH", "later").paint == "PITCH"
        with pytest.raises(InputError, match="the tube in use is lot later, but card pitch-black"):
            fit_studio(store, ["PITCH"])
