"""Printing a card of mixtures that prove a fit, as typed."""

from __future__ import annotations

from datetime import date

import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.database.store.store import Store

from .command import run
from .printed_cards import files, text_of

COLOURS = ("Sea Green", "PG7"), ("Rope Earth", "PY43"), ("Buoy Red", "PR254")


@pytest.fixture
def four(carded):
    """Four colours and a white, of which one has a card."""
    for name, pigment in COLOURS:
        nickname = name.split()[0].upper()
        said = ("--name", name, "--pigments", pigment, "--nickname", nickname)
        assert carded("tubes", "add", *said).status == 0
    assert carded("tubes", "on", "KEEL").status == 0
    return carded


def test_a_card_of_chosen_mixtures_its_sheet_and_its_file(four, tmp_path):
    asked = ("KEEL", "SEA", "ROPE", "BUOY", "--mixtures", "--scale", "0.01")
    said = four("card", *asked)
    assert said.status == 0, said.err
    for words in ("mix 1", "mix 6", "no. 2", "148 x 210 mm", "card fill 2"):
        assert words in said.out
    assert "ratios are white to colour" not in said.out
    card = read_card(tmp_path / "cards" / "mixtures-1.toml")
    assert (card.purpose, card.layout) == ("check", "quick-mixtures-a5-2")
    assert {paint for d in card.drawdowns for paint in d.masses} == {
        "HULL", "KEEL", "SEA", "ROPE", "BUOY",
    }  # fmt: skip
    with Store.open(tmp_path) as store:
        assert store.cards.find("mixtures-1") == card
    page = text_of(tmp_path / "cards" / "mixtures-1.pdf")
    first = card.drawdowns[0]
    for paint, grams in first.masses.items():
        assert f"{grams:.2g} g {paint}" in page
    assert "None" not in page and "alone" not in page
    sheet = text_of(tmp_path / "cards" / "mixtures-1-weighing.pdf")
    assert "No fit sees these mixtures unless you ask" in sheet and "white to colour" not in sheet
    assert "SEA is Sea Green: in mix" in sheet


def test_without_names_the_tubes_with_a_card_are_mixed(four, tmp_path):
    none = four("card", "--mixtures", "--scale", "0.01")
    assert none.status == 2 and "expected two colours or more besides HULL, got KEEL" in none.err
    assert four("card", "ROPE", "--scale", "0.1").status == 0
    made = four("card", "--mixtures", "--scale", "0.01", "--page", "half-letter", "--json").json
    assert made["layout"] == "quick-mixtures-half-letter-2" and made["purpose"] == "check"
    assert set(made["grams"]) == {"HULL", "KEEL", "ROPE"}
    # Films where all of them have films.
    for paint in ("KEEL", "ROPE"):
        assert four("card", paint, "--scale", "0.1", "--layout", "drawdown").status == 0
    films = four("card", "--mixtures", "--scale", "0.01", "--gap", "150", "--json").json
    assert films["layout"] == "mixtures-a4-2"
    card = read_card(tmp_path / "cards" / f"{films['card']}.toml")
    assert {d.gap_um for d in card.drawdowns} == {150.0}
    brushed = four("card", "--mixtures", "--scale", "0.01", "--layout", "quick", "--json").json
    assert brushed["layout"] == "quick-mixtures-a5-2"


def test_mixtures_that_were_named(four, tmp_path):
    asked = ("--mix", "KEEL=2,rope=1,HULL=7", "--mix", "SEA=1,BUOY=3", "--scale", "0.01")
    made = four("card", *asked, "--name", "of mine", "--json").json
    assert [set(step["masses"]) for step in made["steps"]] == [
        {"KEEL", "ROPE", "HULL"}, {"SEA", "BUOY"},
    ]  # fmt: skip
    whole = sum(made["steps"][0]["masses"].values())
    assert made["steps"][0]["masses"]["HULL"] / whole == pytest.approx(0.7, rel=0.07)
    said = four("card", "fill", "of mine", "--set", "mix 2/SEA=0.9", "--painted", date.today())
    assert said.status == 0, said.err
    card = read_card(tmp_path / "cards" / "of mine.toml")
    assert card.drawdowns[1].masses["SEA"] == 0.9 and card.purpose == "check"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--mixtures", "--layout", "quick-a5"), "for ladders, not for mixtures"),
        (("--mixtures", "--layout", "six-tube"), "for ladders, not for mixtures"),
        (("--mixtures", "--layout", "drawdown", "--page", "a5"), "on a4 or letter"),
        (("--mixtures", "--ladder", "strong"), "doesn't go with --ladder"),
        (("--mixtures", "--check", "quick-a5"), "doesn't go with --check"),
        (("fill", "keel-1", "--mixtures"), "doesn't go with fill"),
        (("KEEL", "BRASS", "--mixtures"), "metallic"),
        (("KEEL", "KEEL", "--mixtures"), "named twice"),
        (("KEEL", "TAR", "--mixtures"), "TAR"),
        (("KEEL", "--mixtures"), "expected two colours"),
        (("KEEL", "--mix", "KEEL=1,HULL=1"), "with --mix the mixtures say which tubes"),
        (("--mix", "KEEL=1"), "expected two tubes or more"),
        (("--mix", "KEEL=1,HULL=0"), "expected two tubes or more"),
        (("--mix", "KEEL,HULL"), "expected NAME=PARTS"),
        (("--mix", "KEEL=1,TAR=1"), "TAR"),
        (("--mix", "KEEL=1,BRASS=1"), "metallic"),
        (("--mix", "KEEL=1,HULL=2000"), "can't keep every share"),
    ],
)
def test_bad_input_gets_one_line_and_leaves_nothing(
    monkeypatch, capsys, tmp_path, kept, words, said
):
    monkeypatch.chdir(tmp_path)
    before = files(kept)
    outcome = run(monkeypatch, capsys, "card", *words, "--scale", "0.1", "--studio", kept)
    assert (outcome.status, outcome.err.count("\n"), outcome.out) == (2, 1, "")
    assert said in outcome.err
    assert files(kept) == before and not files(tmp_path)


def test_a_studio_without_cards_has_nothing_to_prove(tool):
    outcome = tool("card", "--mixtures", "--scale", "0.1")
    assert outcome.status == 2 and "no tube on hand has a card yet" in outcome.err


def test_more_mixtures_than_a_sheet_has_room_for_take_more_sheets(four, tmp_path):
    mixes = [f"KEEL=1,HULL={parts}" for parts in range(1, 11)]
    made = four("card", "--scale", "0.1", "--json", *(w for m in mixes for w in ("--mix", m))).json
    assert [step["masses"].keys() for step in made["steps"]] == [{"KEEL", "HULL"}] * 6
    (further,) = made["more"]
    assert (further["card"], len(further["steps"])) == ("mixtures-1-sheet-2", 4)
    for name in (made["card"], further["card"]):
        assert read_card(tmp_path / "cards" / f"{name}.toml").purpose == "check"
        assert (tmp_path / "cards" / f"{name}.pdf").exists()
