"""Saying what was weighed for a printed card, as typed."""

from __future__ import annotations

import re
from datetime import date

import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.fit.problem.tube import typical_density
from tintladder.database.cards.filling import Amount, _amounts, parse_amount, parse_day
from tintladder.database.cards.progress import QUARTER_SPOONS
from tintladder.database.mixing.measures import SPOONS
from tintladder.database.store.store import Store

from .command import run
from .studio_cards import CARD_TOML


def test_only_differences_are_typed_by_the_numbers_of_the_sheet(carded, tmp_path):
    # 1 masstone, 2 and 3 of 1:1, 4 and 5 of 3:1, 6 and 7 of 10:1, 8 and 9 of 32:1, 10 white.
    typed = "3 = 1,7, 8=1.3 g\n2026-05-04\n"
    said = carded("card", "fill", "keel-1", typed=typed)
    assert said.status == 0, said.err
    assert " 1  masstone: 1.8 g KEEL\n" in said.err
    assert " 4  3:1: 1.4 g of 1:1\n" in said.err
    assert "2 of 10 amounts differ" in said.out and "2026-05-05" in said.out
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    steps = {d.step: d for d in card.drawdowns}
    assert steps["1:1"].masses == {"KEEL": 1.6, "HULL": 1.7}
    assert steps["32:1"].taken_g == 1.3
    assert steps["masstone"].masses == {"KEEL": 1.8}
    assert card.date == "2026-05-04"
    with Store.open(tmp_path) as store:
        assert store.cards.find("keel-1") == card


def test_filling_from_a_script(carded, tmp_path):
    settings = ("--set", "3:1/HULL=1.5", "--set", "4=1.3", "--painted", "2026-05-04")
    said = carded("card", "fill", "1", *settings, "--json")
    assert said.status == 0, said.err
    assert said.json["changed"] == {"3:1/HULL": 1.5, "3:1/taken": 1.3}
    assert (said.json["painted"], said.json["dry_from"]) == ("2026-05-04", "2026-05-05")
    third = read_card(tmp_path / "cards" / "keel-1.toml").drawdowns[2]
    assert (third.masses, third.taken_g) == ({"HULL": 1.5}, 1.3)
    # Filled in again: what isn't set stays as it was, and other units are taken.
    again = carded("card", "fill", "keel-1", "--set", "masstone/KEEL=2 spoons", "--json")
    grams = 2 * 5 * typical_density(["PB29"])
    assert again.json["changed"] == {"masstone/KEEL": pytest.approx(grams)}
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    assert card.drawdowns[2].masses == {"HULL": 1.5}
    assert card.date == date.today().isoformat()


def test_a_spoon_is_one_measure_and_an_older_card_keeps_its_own():
    amount = Amount("1:1", "KEEL", 5.0, "", 1.2)
    assert parse_amount("2 ¼ spoons", amount) == pytest.approx(2.25 * SPOONS.size * 1.2)
    assert parse_amount("¾ spoon", amount) == pytest.approx(0.75 * 5 * 1.2)
    older = Card("c", "c.toml", (Drawdown("1:1", None, {"KEEL": 5.0}),), note=QUARTER_SPOONS)
    (amount,) = _amounts(older, {"KEEL": 1.2})
    assert parse_amount("2 spoons", amount) == pytest.approx(2 * 1.25 * 1.2)


def test_a_card_measured_by_volume_shows_it(tool):
    tool("card", "KEEL", "--scale", "syringe")
    said = tool("card", "fill", "1", typed="\n\n")
    assert said.status == 0, said.err
    # HULL's density is stated: 1.45 g/ml; KEEL's is usual for its pigment.
    grams, ml = re.search(r"masstone: ([\d.]+) g \(([\d.]+) ml\) KEEL", said.err).groups()
    assert float(grams) == pytest.approx(float(ml) * typical_density(["PB29"]), abs=0.006)
    assert "1.74 g (1.2 ml) HULL" in said.err


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        (("--set", "3:1/HUL=1"), "did you mean 3:1/HULL=...?"),
        (("--set", "3:1"), "expected the number of an amount, or STEP/PAINT, and its grams"),
        (("--set", "11=2"), "card keel-1 has no such amount; write NUMBER=GRAMS"),
        (("--set", "5=2", "--set", "3:1/HULL=2"), "set twice"),
        (("--set", "3:1/HULL="), "expected grams above 0"),
        (("--set", "3:1/HULL=0"), "expected grams above 0"),
        (("--set", "3:1/HULL=-2"), "expected grams above 0"),
        (("--set", "3:1/HULL=1 cup"), "expected grams above 0"),
        (("--set", "3:1/HULL=nan"), "expected grams above 0"),
        (("--set", "3:1/HULL=1", "--set", "3:1/HULL=2"), "set twice"),
        (("--set", "3:1/taken=99"), "99 g are taken of step 1:1, of which 3.2 g were weighed"),
        (("--as-printed", "--painted", "May"), "expected a date, year first"),
        (("--as-printed", "--painted", "2999-01-01"), "still to come"),
    ],
)
def test_a_slip_in_filling_changes_nothing(monkeypatch, capsys, kept, settings, said):
    before = (kept / "cards" / "keel-1.toml").read_text()
    outcome = run(monkeypatch, capsys, "card", "fill", "keel-1", *settings, "--studio", kept)
    assert (outcome.status, outcome.err.count("\n")) == (2, 1) and said in outcome.err
    assert (kept / "cards" / "keel-1.toml").read_text() == before
    with Store.open(kept) as store:
        assert store.cards.find("keel-1").date is None


def test_an_answer_that_cannot_be_read_is_asked_for_again(carded):
    said = carded("card", "fill", "keel-1", typed="1=1.8x\n\nMay\n2026-05-04\n")
    assert said.status == 0, said.err
    assert said.err.count("What differs") == 2 and said.err.count("Painted on") == 2
    assert "got '1.8x'" in said.err and "got 'May'" in said.err
    assert "0 of 10 amounts differ" in said.out and "2026-05-04" in said.out


def test_a_point_out_of_place_is_told(carded):
    said = carded("card", "fill", "keel-1", "--set", "1:1/KEEL=16")
    assert "1:1/KEEL: 16 g, where 1.6 g is printed." in said.out
    mended = carded("card", "fill", "keel-1", "--set", "1:1/KEEL=1.7", "--set", "3:1/HULL=2")
    assert "2 of 10 amounts differ" in mended.out and "is printed" not in mended.out


def test_stopping_halfway_changes_nothing(carded, tmp_path):
    outcome = carded("card", "fill", "keel-1", typed="1=2.0\n")
    assert outcome.status == 2 and "stopped at the question" in outcome.err
    with Store.open(tmp_path) as store:
        assert store.cards.find("keel-1").date is None


def test_a_card_written_by_hand_is_left_to_its_hand(tool, tmp_path):
    (tmp_path / "own.toml").write_text(CARD_TOML)
    assert tool("read", "own.toml").status == 0
    outcome = tool("card", "fill", "keel-1", "--as-printed")
    assert outcome.status == 2 and "wasn't printed here" in outcome.err


def test_days():
    today = date(2026, 5, 4)
    assert parse_day(None, today) == parse_day(" ", today) == today
    assert parse_day("2026-05-03", today) == date(2026, 5, 3)
    assert parse_day("2026-05-03", today, date(2026, 5, 3)) == date(2026, 5, 3)


def test_a_card_is_painted_after_it_is_printed(carded):
    early = carded("card", "fill", "1", "--as-printed", "--painted", "2026-04-30")
    assert early.status == 2 and early.err.count("\n") == 1
    assert "printed on 2026-05-01, and 2026-04-30 is before that" in early.err


def test_a_second_card_of_the_same_tubes_says_that_the_first_waits(carded):
    assert (
        "keel-1 is printed already and not painted" in carded("card", "KEEL", "--scale", "0.1").out
    )
    carded("card", "fill", "1", "--as-printed")
    carded("card", "fill", "2", "--as-printed")
    assert "already" not in carded("card", "KEEL", "--scale", "0.1").out
