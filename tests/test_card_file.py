"""The card file: what a hand writes is read, each slip is named by its place. Invented weights."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.cards.card_file import parse_card, read_card
from tintladder.calibrate.errors import InputError

from .test_formats_cgats import mutated

FILE = Path(__file__).parent / "data" / "formats" / "anchor.card.toml"
GOOD = FILE.read_text()
SMALL = """card = "small"
paint = "ANCHOR"
white = "HULL"
[[drawdown]]
step = "masstone"
masses = {ANCHOR = 10.0}
[[drawdown]]
step = "1:1"
masses = {ANCHOR = 5.0, HULL = 5.0}
[[drawdown]]
step = "3:1"
from = "1:1"
grams = 5.0
additions = {HULL = 5.0}
"""
PAINTS = ("ANCHOR", "HULL", "OCHRE")


def refused(text: str, *words: str, known: tuple[str, ...] | None = PAINTS) -> None:
    with pytest.raises(InputError) as caught:
        parse_card(text, "card.toml", known)
    line = str(caught.value)
    assert line.startswith("card.toml")
    assert "\n" not in line
    for word in words:
        assert word in line


def test_a_whole_card() -> None:
    card = read_card(FILE, PAINTS)
    assert (card.name, card.purpose, card.layout) == ("anchor-blue", "fit", "drawdown-a4")
    assert (card.date, card.balance_g, card.sealed) == ("2026-05-04", 0.005, True)
    assert (card.file, card.note) == (str(FILE), "cloudy day")
    masstone, tint, half, white = card.drawdowns
    assert masstone.masses == {"ANCHOR": 10.0}
    assert masstone.lots == {"ANCHOR": "A1", "HULL": "W1"}
    assert (masstone.paint, masstone.white, masstone.gap_um) == ("ANCHOR", "HULL", 250.0)
    assert (masstone.coats, masstone.hours_dried, masstone.surface) == (1, 72.0, "gloss")
    assert (tint.taken_from, tint.taken_g, tint.masses) == ("1:1", 5.0, {"HULL": 5.0})
    assert (tint.surface, tint.over) == ("satin", ("white",))
    assert half.masses == {"ANCHOR": 5.0, "HULL": 5.0}
    assert (white.paint, white.lots["HULL"], white.lots["ANCHOR"]) == ("HULL", "W2", "A1")
    assert (white.opaque, white.thickness_um) == (True, 81.5)
    assert "3:1/black" not in card.patches
    assert "3:1/white" in card.patches


def test_what_is_not_said_has_the_usual_value() -> None:
    card = parse_card(SMALL, "card.toml")
    assert (card.balance_g, card.sealed, card.date) == (Card.balance_g, Card.sealed, None)
    assert card.drawdowns[0].over == ("black", "white")
    assert (card.drawdowns[0].gap_um, card.drawdowns[0].lots) == (None, {})


def test_a_masstone_alone_needs_neither_white_nor_paint() -> None:
    card = parse_card(
        'card = "a"\n[[drawdown]]\nstep = "masstone"\nmasses.OCHRE = 4\n', "card.toml"
    )
    assert (card.drawdowns[0].paint, card.drawdowns[0].white) == ("OCHRE", None)


def test_mixtures_of_a_check_card_need_no_white() -> None:
    text = 'card = "a"\npurpose = "check"\n[[drawdown]]\nstep = "m1"\n'
    card = parse_card(text + "masses = {OCHRE = 4, ANCHOR = 2.5}\n", "card.toml", PAINTS)
    assert card.drawdowns[0].paint is None
    assert card.paints == ("OCHRE", "ANCHOR")


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-05-04", "2026-05-04"),
        ("2026-05-04T10:30:00", "2026-05-04T10:30:00"),
        ('"2026-05-04"', "2026-05-04"),
    ],
)
def test_dates(written: str, read: str) -> None:
    assert parse_card(f"date = {written}\n" + SMALL, "card.toml").date == read


def test_all_of_a_step_may_be_taken_within_the_balance() -> None:
    text = SMALL.replace("grams = 5.0", "grams = 10.01")
    assert parse_card(text, "card.toml").drawdowns[2].taken_g == 10.01


def test_a_redrawn_step_needs_no_additions() -> None:
    card = parse_card(SMALL.replace("additions = {HULL = 5.0}", "gap_um = 100"), "card.toml")
    assert card.drawdowns[2].masses == {}


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"ANCHOR"\n', '"ANCHOR\n', ("line 2", "TOML")),
        (
            "masses = {ANCHOR = 10.0}",
            "masses = {ANCHOR = 10,0}",
            ("line 6", "TOML", "after a point"),
        ),
        ('card = "small"', 'card = "small"\ndate = 7.5.2026', ("TOML", "as in 2026-05-07")),
        ('"ANCHOR"', '"ANCHOR"\ngap_um = 0.3', ("gap_um", "write 0.3 mm as 300")),
        ('card = "small"', 'title = "small"', ("title", "unknown key")),
        ('card = "small"', "", ("card", "no name")),
        ("white", "wihte", ("wihte", "did you mean white?")),
        ("masses", "mases", ("drawdown 1, mases", "did you mean masses?")),
        ("step", "balance_g = 0.01\nstep", ("drawdown 1, balance_g", "top of the file")),
        ("white", "masses = {}\nwhite", ("masses", "below a [[drawdown]]")),
        ("ANCHOR = 10.0", "ANCHOR = 0.0", ("drawdown 1, masses.ANCHOR", "above 0")),
        ("ANCHOR = 10.0", "ANCHOR = -1", ("drawdown 1, masses.ANCHOR", "-1")),
        ("ANCHOR = 10.0", 'ANCHOR = "10 g"', ("drawdown 1, masses.ANCHOR", "10 g")),
        ("ANCHOR = 10.0", "ANCHOR = true", ("drawdown 1, masses.ANCHOR",)),
        ("ANCHOR = 10.0", "ANCHOR = nan", ("drawdown 1, masses.ANCHOR",)),
        ("ANCHOR = 10.0", "ANCHOR = inf", ("drawdown 1, masses.ANCHOR",)),
        ("ANCHOR = 10.0", "ANCHOR = " + "9" * 400, ("drawdown 1, masses.ANCHOR",)),
        ("ANCHOR = 10.0", "ANCHOR.B = 1", ("drawdown 1, masses.ANCHOR", "quotes")),
        ("ANCHOR = 10.0", "OCRE = 10.0", ("drawdown 1, masses.OCRE", "did you mean OCHRE?")),
        ("ANCHOR = 10.0", "anchor = 10.0", ("masses.anchor", "did you mean ANCHOR?")),
        ("{ANCHOR = 10.0}", "10.0", ("drawdown 1, masses", "by paint")),
        ("masses = {ANCHOR = 10.0}", "", ("drawdown 1", "weighed")),
        ("{ANCHOR = 10.0}", "{}", ("drawdown 1", "weighed")),
        ("additions = {HULL = 5.0}", "additions = {HULL = 0}", ("drawdown 3, additions.HULL",)),
        ("grams = 5.0", "grams = 10.5", ("drawdown 3, grams", "10.5 g are taken", "of which 10 g")),
        ("grams = 5.0", "grams = -5.0", ("drawdown 3, grams", "above 0")),
        ("grams = 5.0", "", ("drawdown 3, grams", "how much of 1:1")),
        ("additions", "masses", ("drawdown 3, masses", "additions")),
        ('from = "1:1"\n', "", ("drawdown 3, grams", "from")),
        ('from = "1:1"', 'from = "1:2"', ("drawdown 3, from", "no step 1:2", "did you mean")),
        ('from = "1:1"', 'from = "3:1"', ("drawdown 3, from", "circle")),
        ('step = "1:1"', 'step = "Masstone"', ("drawdown 2, step", "also drawdown 1")),
        ('step = "1:1"', 'step = "bare"', ("drawdown 2, step", "bare")),
        ('step = "1:1"', "step = 1", ("drawdown 2, step", "text")),
        ('step = "1:1"', 'step = " "', ("drawdown 2, step",)),
        ('step = "1:1"\n', "", ("drawdown 2, step", "no name")),
        ('white = "HULL"\n', "", ("drawdown 2, white", "ladder needs its white")),
        ('white = "HULL"', 'white = "HOLL"', ("white", "did you mean HULL?")),
        ('paint = "ANCHOR"', 'paint = "OCHRE"', ("drawdown 1, paint", "no OCHRE", "ANCHOR")),
        ('"ANCHOR"', '"ANCHOR"\nsurface = "glossy"', ("surface", "did you mean gloss?")),
        ('"ANCHOR"', '"ANCHOR"\nover = ["red"]', ("over", "black and white")),
        ('"ANCHOR"', '"ANCHOR"\nover = [["black"]]', ("over",)),
        ('"ANCHOR"', '"ANCHOR"\nover = ["black", "black"]', ("over",)),
        ('"ANCHOR"', '"ANCHOR"\ndate = "last May"', ("date", "year first")),
        ('"ANCHOR"', '"ANCHOR"\ndate = 10:30:00', ("date", "year first")),
        ('"ANCHOR"', '"ANCHOR"\ndate = 2026-13-04', ("line 3",)),
        ('"ANCHOR"', '"ANCHOR"\npurpose = "fun"', ("purpose", "fit")),
        ('"ANCHOR"', '"ANCHOR"\ncoats = 0', ("coats", "whole number")),
        ('"ANCHOR"', '"ANCHOR"\ncoats = 1.5', ("coats", "whole number")),
        ('"ANCHOR"', '"ANCHOR"\ngap_um = 0', ("gap_um", "above 0")),
        ('"ANCHOR"', '"ANCHOR"\nhours_dried = -1', ("hours_dried", "0 or more")),
        ('"ANCHOR"', '"ANCHOR"\nsealed = "yes"', ("sealed", "true or false")),
        ('"ANCHOR"', '"ANCHOR"\nlots = {HOLL = "1"}', ("lots.HOLL", "did you mean HULL?")),
        ('"ANCHOR"', '"ANCHOR"\nlots = {HULL = 1}', ("lots", "HULL", "text")),
        ('paint = "ANCHOR"', 'lot = "1"', ("lot", "which paint")),
        ('"ANCHOR"', '"ANCHOR"\nnote = 3', ("note", "text")),
        ("[[drawdown]]", "[drawdown]", ("line",)),
    ],
)
def test_slips(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in SMALL
    refused(SMALL.replace(old, new, 1), *words)


def test_more_slips() -> None:
    refused('card = "a"\n', "no drawdown")
    refused('card = "a"\n[drawdown]\nstep = "x"\n', "[[drawdown]]")
    refused('card = "a"\ndrawdown = [1]\n', "[[drawdown]]")
    refused("a = " + "[" * 5000, "TOML")
    circle = SMALL.replace("masses = {ANCHOR = 5.0, HULL = 5.0}", 'from = "3:1"\ngrams = 1')
    refused(circle, "circle")
    twice = SMALL + SMALL[SMALL.rindex("[[") :].replace("3:1", "7:1").replace("5.0", "5.5")
    refused(twice, "drawdown 4, grams", "10.5 g are taken of step 1:1")
    refused(SMALL, "there is no paint ANCHOR", known=())


def test_files_that_are_no_cards(tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    misspelt = SMALL.replace('"small"', '"small"\nlayout = "drawdown-a"')
    for raw, word in (
        (b"", "no name"),
        (b"\xff\xfe\x00", "UTF-8"),
        (misspelt.encode(), "did you mean drawdown-a4"),
        (b"#" * 1_000_001, "too large"),
    ):
        path.write_bytes(raw)
        with pytest.raises(InputError, match=word):
            read_card(path)
    for wrong, word in ((tmp_path, "folder"), (tmp_path / "nowhere.toml", "no such file")):
        with pytest.raises(InputError, match=word):
            read_card(wrong)
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.encode())
    assert len(read_card(path).drawdowns) == 3


@settings(max_examples=300, deadline=None)
@given(st.text() | mutated(GOOD) | mutated(SMALL))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        card = parse_card(text, "card.toml", PAINTS)
    except InputError:
        return
    assert card.drawdowns
    assert all(grams > 0 for d in card.drawdowns for grams in d.masses.values())
