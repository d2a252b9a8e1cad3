"""Printing a card, filling it in, and seeing where cards stand, as typed."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from pathlib import Path

import pymupdf
import pytest
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.layout import layout_text
from tintladder.calibrate.cards.measure import measure_of
from tintladder.database.card_filling import parse_day
from tintladder.database.card_printing import Wanted, print_new_card
from tintladder.database.card_progress import cards_progress, dry_enough
from tintladder.database.store import Store

from .command import run
from .studio_cards import CARD_TOML, readings_text
from .studio_fixtures import PAINTS_TOML, joint_fit


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    """A studio with four invented paints, one of them white."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "paints.toml").write_text(PAINTS_TOML)
    call = partial(run, monkeypatch, capsys)
    assert call("tubes", "load", "paints.toml").status == 0
    return call


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A studio of the same tubes and a printed card, which no test changes."""
    folder = tmp_path_factory.mktemp("kept")
    with Store.open(folder) as store:
        store.import_paints(PAINTS_TOML)
        print_new_card(store, Wanted(("KEEL",), measure_of("0.1")))
    return folder


@pytest.fixture
def carded(tool):
    """The same with a printed card, keel-1."""
    said = tool("card", "KEEL", "--scale", "0.1", "--json")
    assert said.status == 0, said.err
    return tool


def text_of(file: Path) -> str:
    with pymupdf.open(file) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*") if path.is_file()}


# Printing


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
    assert (card.purpose, card.layout, card.date) == ("fit", "quick-a5", None)
    assert [d.step for d in card.drawdowns] == ["masstone", "1:1", "3:1", "10:1", "32:1", "white"]
    assert all(d.opaque for d in card.drawdowns)
    with Store.open(tmp_path) as store:
        assert store.card("keel-1") == card


def test_the_same_to_machines(carded):
    made = carded("card", "keel", "--scale", "syringe", "--layout", "drawdown", "--json").json
    assert (made["card"], made["number"], made["layout"]) == ("keel-2", 2, "drawdown-a4")
    assert made["page_mm"] == [210, 297] and len(made["files"]) == 3
    assert all(step["relative_error"] < 0.05 for step in made["steps"])
    assert sum(made["grams"].values()) > 5


def test_it_asks_what_there_is_to_measure_with(tool):
    asked = tool("card", "KEEL", typed="0.01\n")
    assert asked.status == 0 and "What do you measure with" in asked.err
    assert "1.65 g KEEL" in asked.out
    assert "1.6 g KEEL + 1.6 g HULL" in tool("card", "KEEL", typed="\n").out
    stopped = tool("card", "KEEL", typed="")
    assert stopped.status == 2 and "stopped at the question" in stopped.err


def test_six_tubes_in_one_evening(tool, tmp_path):
    names = [f"TUBE{i}" for i in range(6)]
    for name in names:
        assert tool("tubes", "add", "--name", name, "--pigments", "PB15:3").status == 0
    made = tool("card", *names, "--scale", "0.1", "--page", "letter", "--json").json
    assert (made["card"], made["layout"]) == ("tubes-1", "six-tube-letter")
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
        assert len(store.cards()) == 1


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
        assert not store.cards()


def test_no_card_is_printed_over(carded, tmp_path):
    taken = carded("card", "KEEL", "--scale", "0.1", "--name", "Keel-1")
    assert taken.status == 2 and "there is a card Keel-1 already" in taken.err
    (tmp_path / "cards" / "keel-2.toml").write_text("mine")
    stray = carded("card", "KEEL", "--scale", "0.1")
    assert stray.status == 2 and "move it away" in stray.err
    assert (tmp_path / "cards" / "keel-2.toml").read_text() == "mine"


# Layouts of one's own


def own_layout(folder: Path, old: str = "", new: str = "") -> Path:
    text, _ = layout_text("quick-a5")
    text = text.replace('layout = "quick-a5"', 'layout = "mine"').replace(
        "number = 3", "number = 101"
    )
    path = folder / "mine.toml"
    path.write_text(text.replace(old, new, 1) if old else text)
    return path


def test_a_layout_of_ones_own_is_printed_and_read_back(tool, tmp_path):
    own_layout(tmp_path)
    made = tool("card", "KEEL", "--scale", "0.1", "--layout", "mine.toml", "--json")
    assert made.status == 0, made.err
    assert made.json["layout"] == "mine"
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    assert card.layout == str(tmp_path / "mine.toml")
    (tmp_path / "mine.toml").unlink()
    lost = tool("read", "cards/keel-1.toml")
    assert lost.status == 2 and "no layout can be read there" in lost.err


def test_check_says_whether_a_layout_can_be_used(tool, tmp_path):
    own_layout(tmp_path)
    sound = tool("card", "--check", "mine.toml")
    assert sound.status == 0 and "6 steps, every patch can be painted and read" in sound.out
    assert tool("card", "--check", "mine.toml", "--json").json["faults"] == []


def test_check_names_overlaps_and_unreachable_patches(tool, tmp_path):
    own_layout(tmp_path, "pitch_mm = [0, 16.5]", "pitch_mm = [0, 13]")
    wrong = tool("card", "--check", "mine.toml")
    assert wrong.status == 2
    assert "nearer than 3 mm" in wrong.err
    assert "step 2: its patches don't lie in one line, so one stroke can't reach them" in wrong.err
    asjson = tool("card", "--check", "mine.toml", "--json")
    assert asjson.status == 2 and len(asjson.json["faults"]) == wrong.err.count("\n")


# Filling in


def test_enter_means_as_printed_and_only_differences_are_typed(carded, tmp_path):
    # masstone, 1:1 (2), 3:1 (taken, white), 10:1 (2), 32:1 (2), white, then the date.
    typed = "\n\n1,7\n\n\n\n\n1.3 g\n\n\n2026-05-04\n"
    said = carded("card", "fill", "keel-1", typed=typed)
    assert said.status == 0, said.err
    assert "1.8 g KEEL [Enter: as printed]" in said.err
    assert "3:1: 1.4 g of 1:1" in said.err
    assert "2 of 10 amounts differ" in said.out and "2026-05-05" in said.out
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    steps = {d.step: d for d in card.drawdowns}
    assert steps["1:1"].masses == {"KEEL": 1.6, "HULL": 1.7}
    assert steps["32:1"].taken_g == 1.3
    assert steps["masstone"].masses == {"KEEL": 1.8}
    assert card.date == "2026-05-04"
    with Store.open(tmp_path) as store:
        assert store.card("keel-1") == card


def test_filling_from_a_script(carded, tmp_path):
    settings = ("--set", "3:1/HULL=1.5", "--set", "3:1/taken=1.3", "--painted", "2026-05-04")
    said = carded("card", "fill", "1", *settings, "--json")
    assert said.status == 0, said.err
    assert said.json["changed"] == {"3:1/HULL": 1.5, "3:1/taken": 1.3}
    assert (said.json["painted"], said.json["dry_from"]) == ("2026-05-04", "2026-05-05")
    third = read_card(tmp_path / "cards" / "keel-1.toml").drawdowns[2]
    assert (third.masses, third.taken_g) == ({"HULL": 1.5}, 1.3)
    # Filled in again: what isn't set stays as it was, and other units are taken.
    again = carded("card", "fill", "keel-1", "--set", "masstone/KEEL=2 spoons", "--json")
    assert again.json["changed"] == {"masstone/KEEL": pytest.approx(2 * 1.25 * 1.3)}
    card = read_card(tmp_path / "cards" / "keel-1.toml")
    assert card.drawdowns[2].masses == {"HULL": 1.5}
    assert card.date == date.today().isoformat()


def test_a_card_measured_by_volume_shows_it(tool):
    tool("card", "KEEL", "--scale", "syringe")
    said = tool("card", "fill", "1", typed="\n" * 12)
    assert said.status == 0, said.err
    # HULL's density is stated: 1.45 g/ml.
    assert "(1.2 ml) KEEL" in said.err and "1.74 g (1.2 ml) HULL" in said.err


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        (("--set", "3:1/HUL=1"), "did you mean 3:1/HULL=...?"),
        (("--set", "3:1"), "expected STEP/PAINT=GRAMS"),
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
        assert store.card("keel-1").date is None


def test_stopping_halfway_changes_nothing(carded, tmp_path):
    outcome = carded("card", "fill", "keel-1", typed="\n2.0\n")
    assert outcome.status == 2 and "stopped at the question" in outcome.err
    with Store.open(tmp_path) as store:
        assert store.card("keel-1").date is None


def test_a_card_written_by_hand_is_left_to_its_hand(tool, tmp_path):
    (tmp_path / "own.toml").write_text(CARD_TOML)
    assert tool("read", "own.toml").status == 0
    outcome = tool("card", "fill", "keel-1", "--as-printed")
    assert outcome.status == 2 and "wasn't printed here" in outcome.err


# Where each card stands


def stand(tool):
    return tool("cards", "--json").json


def test_no_cards_yet(tool):
    assert "No cards yet" in tool("cards").out


def test_a_card_comes_along(carded, tmp_path):
    today = date.today()
    (card,) = stand(carded)
    assert (card["number"], card["card"], card["layout"]) == (1, "keel-1", "quick-a5")
    assert card["painted"] is card["dry_from"] is None and card["read"] == []
    assert not card["fitted"] and card["as_printed"]
    assert "not yet said" in carded("cards").out

    painted = today - timedelta(days=9)
    carded("card", "fill", "1", "--as-printed", "--painted", painted)
    (card,) = stand(carded)
    assert card["painted"] == str(painted) and not card["as_printed"]
    assert card["dry_from"] == str(painted + timedelta(days=1))

    patches = [
        f"{step}/{over}" for step in ("bare", "masstone", "1:1") for over in ("black", "white")
    ]
    (tmp_path / "keel-1.txt").write_text(readings_text(tuple(patches)))
    assert carded("read", "keel-1.txt").status == 0
    (card,) = stand(carded)
    assert len(card["read"]) == 1 and not card["read_too_early"] and not card["fitted"]
    with Store.open(tmp_path) as store:
        store.record_fit(joint_fit(), store.card_readings())
    assert stand(carded)[0]["fitted"]
    assert " yes" in carded("cards").out


def test_reading_too_early_is_flagged_not_refused(carded, tmp_path):
    carded("card", "fill", "1", "--as-printed")  # painted today, dry enough tomorrow
    (tmp_path / "keel-1.txt").write_text(readings_text(("bare/black", "bare/white")))
    assert carded("read", "keel-1.txt").status == 0
    (card,) = stand(carded)
    assert card["read_too_early"] and "read it again" in card["remarks"][0]
    said = carded("cards").out
    assert "too early" in said and "no fingertip drags" in said


def test_readings_of_a_card_that_was_not_filled_in(carded, tmp_path):
    (tmp_path / "keel-1.txt").write_text(readings_text(("bare/black", "bare/white")))
    carded("read", "keel-1.txt")
    assert "tintladder card fill keel-1" in carded("cards").out


def test_thick_films_take_longer(carded, tmp_path):
    for gap in ("100", "300"):
        carded("card", "KEEL", "--scale", "0.1", "--layout", "drawdown", "--gap", gap)
    with Store.open(tmp_path) as store:
        assert [card.number for card in cards_progress(store)] == [1, 2, 3]
    for number in ("2", "3"):
        carded("card", "fill", number, "--as-printed", "--painted", "2026-05-04")
    thin, thick = (read_card(tmp_path / "cards" / f"keel-{i}.toml") for i in (2, 3))
    assert (dry_enough(thin), dry_enough(thick)) == (date(2026, 5, 5), date(2026, 5, 7))


def test_days():
    today = date(2026, 5, 4)
    assert parse_day(None, today) == parse_day(" ", today) == today
    assert parse_day("2026-05-03", today) == date(2026, 5, 3)
