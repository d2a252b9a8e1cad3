"""Printing a card, as typed."""

from __future__ import annotations

from functools import partial

import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.database.store.store import Store

from .command import run
from .printed_cards import files, text_of


def test_a_card_its_sheet_and_its_file(tool, tmp_path):
    said = tool("card", "KEEL", "--scale", "0.1")
    assert said.status == 0, said.err
    for words in ("masstone", "1.6 g KEEL + 1.6 g HULL", "no. 1", "148 x 210 mm", "card fill 1"):
        assert words in said.out
    cards = tmp_path / "cards"
    assert files(cards) == {"keel-1.pdf", "keel-1-weighing.pdf", "keel-1.toml"}
    assert "Card keel-1" in text_of(cards / "keel-1.pdf")
    sheet = text_of(cards / "keel-1-weighing.pdf")
    assert "an ordinary ladder, suggested by PB29 on its label" in sheet
    # HULL's price and size are known, KEEL's aren't.
    assert "g (" in sheet and "known price" in sheet
    card = read_card(cards / "keel-1.toml")
    assert (card.purpose, card.layout, card.date) == ("fit", "quick-a5-2", None)
    assert [d.step for d in card.drawdowns] == ["masstone", "1:1", "3:1", "10:1", "32:1", "white"]
    assert all(d.opaque for d in card.drawdowns)
    with Store.open(tmp_path) as store:
        assert store.cards.find("keel-1") == card


def test_the_same_to_machines(carded):
    made = carded("card", "keel", "--scale", "syringe", "--layout", "drawdown", "--json").json
    assert (made["card"], made["number"], made["layout"]) == ("keel-2", 2, "drawdown-a4-2")
    assert made["page_mm"] == [210, 297] and len(made["files"]) == 3
    assert all(step["relative_error"] < 0.05 for step in made["steps"])
    assert sum(made["grams"].values()) > 5


def test_it_asks_what_there_is_to_measure_with(tool):
    asked = tool("card", "KEEL", typed="0.01\n")
    assert asked.status == 0 and "What do you measure with" in asked.err
    assert "1.65 g KEEL" in asked.out
    again = tool("card", "KEEL", typed="")
    assert again.status == 0 and "Measured with a 0.01 g scale, as before" in again.out
    for measure in ("0.1", "syringe", "spoons"):
        made = tool("card", "KEEL", "--scale", measure, "--json").json
        assert tool("card", "KEEL", "--json").json["steps"] == made["steps"]


def test_without_an_answer_nothing_is_printed(tool, tmp_path):
    stopped = tool("card", "KEEL", typed="")
    assert stopped.status == 2 and "stopped at the question" in stopped.err
    assert not (tmp_path / "cards").exists()
    assert "1.6 g KEEL + 1.6 g HULL" in tool("card", "KEEL", typed="\n").out


def test_six_tubes_in_one_evening(tool, tmp_path):
    names = [f"TUBE{i}" for i in range(6)]
    for name in names:
        assert tool("tubes", "add", "--name", name, "--pigments", "PB15:3").status == 0
    made = tool("card", *names, "--scale", "0.1", "--page", "letter", "--json").json
    assert (made["card"], made["layout"]) == ("tubes-1", "six-tube-letter-2")
    assert len(made["steps"]) == 25  # six masstones, three tints each, and the white alone
    assert made["steps"][3]["step"] == "TUBE0 80:1"
    text = text_of(tmp_path / "cards" / "tubes-1.pdf")
    assert all(name in text for name in names) and "80:1" in text


def test_the_white_is_painted_until_it_is_known(carded):
    def steps(*words):
        return [s["step"] for s in carded("card", *words, "--scale", "0.1", "--json").json["steps"]]

    assert "white" in steps("KEEL")  # no card with it was painted yet
    assert carded("card", "fill", "keel-1", "--as-printed").status == 0
    assert "white" not in steps("KEEL")
    assert "white" in steps("KEEL", "HULL")  # as asked
    assert steps("HULL") == ["white"]


def test_a_ladder_and_a_white_as_asked(tool, tmp_path):
    tool("tubes", "add", "--name", "Sail White", "--pigments", "PW4", "--nickname", "SAIL")
    unsaid = tool("card", "KEEL", "--scale", "0.1")
    assert unsaid.status == 2 and "HULL or SAIL" in unsaid.err
    asked = ("--white", "SAIL", "--ladder", "strong", "--name", "of mine")
    made = tool("card", "KEEL", "--scale", "0.1", *asked, "--json").json
    assert made["card"] == "of mine" and set(made["grams"]) == {"KEEL", "SAIL"}
    assert made["steps"][1]["step"] == "4:1"
    assert "strong ladder, as you asked" in text_of(tmp_path / "cards" / "of mine-weighing.pdf")
    # What was used before is used again.
    assert set(tool("card", "KEEL", "--scale", "0.1", "--json").json["grams"]) == {"KEEL", "SAIL"}


def test_a_gap_goes_onto_the_card(tool, tmp_path):
    assert (
        tool("card", "KEEL", "--scale", "0.1", "--layout", "drawdown", "--gap", "150").status == 0
    )
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    assert {d.gap_um for d in card.drawdowns} == {150.0}
    assert not any(d.opaque for d in card.drawdowns)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "expected the tubes to paint"),
        (("TAR",), "TAR"),
        (("KEEL", "--scale", "2"), "--scale: expected the last digit"),
        (("KEEL", "--layout", "round"), "there is no layout round; use drawdown, mixtures"),
        (("KEEL", "--layout", "drawdown", "--page", "a5"), "on a4 or letter"),
        (("KEEL", "--page", "a0"), "there is no page a0"),
        (("KEEL", "--layout", "none.toml"), "no layout can be read there"),
        (("KEEL", "--layout", "mixtures"), "for mixtures, not for ladders"),
        (("KEEL", "KEEL-T", "--layout", "quick"), "it takes 1 tube, got 2"),
        (("KEEL", "KEEL"), "named twice"),
        (("BRASS",), "metallic"),
        (("KEEL", "--white", "TAR"), "TAR"),
        (("KEEL", "--ladder", "mild"), "there is no mild ladder"),
        (("KEEL", "--gap", "5"), "expected 10 to 2000"),
        (("KEEL", "--name", "../up"), "--name"),
        (("KEEL", "--set", "1:1/KEEL=2"), "--set: it goes with card fill"),
        (("KEEL", "--as-printed"), "--as-printed: it goes with card fill"),
        (("KEEL", "--check", "quick-a5"), "takes a layout alone"),
        (("--check", "quick"), "there is no layout of that name; did you mean quick-a5"),
        (("fill",), "expected one card"),
        (("fill", "7"), "there is no such card (cards: 1 keel-1)"),
    ],
)
def test_bad_input_gets_one_line_and_leaves_nothing(
    monkeypatch, capsys, tmp_path, kept, words, said
):
    monkeypatch.chdir(tmp_path)
    before = files(kept)
    scale = (
        () if "--scale" in words or "fill" in words or "--check" in words else ("--scale", "0.1")
    )
    outcome = run(monkeypatch, capsys, "card", *words, *scale, "--studio", kept)
    assert (outcome.status, outcome.err.count("\n"), outcome.out) == (2, 1, "")
    assert said in outcome.err
    assert files(kept) == before and not files(tmp_path)
    with Store.open(kept) as store:
        assert len(store.cards.all()) == 1


def test_no_studio_no_white(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    tool = partial(run, monkeypatch, capsys)
    assert tool("card", "KEEL", "--scale", "0.1").status == 2
    tool("tubes", "add", "--name", "Keel", "--pigments", "PB29")
    outcome = tool("card", "KEEL", "--scale", "0.1")
    assert outcome.status == 2 and "one white" in outcome.err and "there is none" in outcome.err


def test_what_cannot_be_written_is_not_kept(tool, tmp_path):
    (tmp_path / "cards").write_text("in the way")
    outcome = tool("card", "KEEL", "--scale", "0.1")
    assert outcome.status == 2 and "can't be written" in outcome.err
    with Store.open(tmp_path) as store:
        assert not store.cards.all()


def test_no_card_is_printed_over(carded, tmp_path):
    taken = carded("card", "KEEL", "--scale", "0.1", "--name", "Keel-1")
    assert taken.status == 2 and "there is a card Keel-1 already" in taken.err
    (tmp_path / "cards" / "keel-2.toml").write_text("mine")
    stray = carded("card", "KEEL", "--scale", "0.1")
    assert stray.status == 2 and "move it away" in stray.err
    assert (tmp_path / "cards" / "keel-2.toml").read_text() == "mine"
