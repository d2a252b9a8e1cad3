"""Tubes: named, found, added and used up, at the command line and in the store."""

from __future__ import annotations

from functools import partial

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.store.paint_names import LONGEST, check_nickname, suggest_nickname
from tintladder.database.store.paints_file import NewLot, NewPaint, parse_paints
from tintladder.database.store.store import Store

from .command import run
from .studio_fixtures import PAINTS_TOML


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        opened.paints.add_file(PAINTS_TOML)
        yield opened


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return partial(run, monkeypatch, capsys)


# The store


def test_a_file_of_paints_comes_in_whole(store):
    hull = store.paints.find("HULL")
    assert (hull.name, hull.pigments, hull.range) == ("Hull White", ["PW6"], "Sign acrylic")
    (lot,) = hull.lots
    assert (lot.lot, lot.size_ml, lot.price, lot.opened.isoformat()) == (
        "W1",
        250.0,
        14.5,
        "2026-03-01",
    )


def test_tubes_for_a_fit(store):
    tubes = store.paints.tubes()
    assert tubes["HULL"].dry_volume == pytest.approx(0.42 / 1.45)
    assert tubes["HULL"].lot == "W1" and tubes["HULL"].refuse is None
    assert not tubes["KEEL"].dry_volume_measured
    assert "metallic" in tubes["BRASS"].refuse


def test_loading_a_file_again_takes_its_corrections(store):
    store.paints.add_file(PAINTS_TOML.replace("density = 1.45", "density = 1.5"))
    assert len(store.paints.all()) == 4
    assert store.paints.tubes()["HULL"].density == 1.5


@pytest.mark.parametrize("text", ["HULL", "hull", "Hull W", "hull white", "  HULL "])
def test_a_paint_is_found_by_nickname_or_part_of_a_name(store, text):
    assert store.paints.find(text).nickname == "HULL"


def test_a_nickname_comes_before_a_part_of_another(store):
    assert store.paints.find("keel").nickname == "KEEL"


def test_a_part_that_fits_several_names_them(store):
    with pytest.raises(
        InputError, match=r"fits 2 paints: KEEL \(Keel Blue\), KEEL-T \(Keel Blue\)"
    ):
        store.paints.find("blue")


def test_a_slip_is_answered_with_the_closest(store):
    with pytest.raises(InputError, match=r"fits no tube; closest: HULL \(Hull White\)"):
        store.paints.find("HUL1")
    with pytest.raises(InputError, match=r"fits no tube; see which tubes there are"):
        store.paints.find("zzz")
    with pytest.raises(InputError, match="fits no tube"):
        store.paints.find("  ")


def test_nicknames_are_unique_in_any_case(store):
    with pytest.raises(InputError, match="already that of Hull White"):
        store.paints.add(NewPaint("hull", "Hull Grey"))


def test_the_lot_in_use_is_the_one_opened_last(store):
    from datetime import date

    store.paints.add_lot("HULL", NewLot("W2", density=1.6, opened=date(2026, 6, 1)))
    store.paints.add_lot("HULL", NewLot("W0", density=1.3, opened=date(2025, 6, 1)))
    assert store.paints.tubes()["HULL"].lot == "W2"
    with pytest.raises(InputError, match="in the studio already"):
        store.paints.add_lot("HULL", NewLot("W2"))


@pytest.mark.parametrize("bad", ["", "two words", "a=b", "a,b", "a/b", "-x", "x" * (LONGEST + 1)])
def test_nicknames_that_cannot_stand(bad):
    with pytest.raises(InputError, match="expected a nickname"):
        check_nickname(bad)


@pytest.mark.parametrize(
    "name, maker, taken, expected",
    [
        ("Keel Blue", "Slipway", [], "KEEL"),
        ("Keel Blue", "Tarred Rope Works", ["keel"], "KEEL-TRW"),
        ("Keel Blue", "", ["KEEL"], "KEEL-2"),
        ("Keel Blue", "Slipway", ["KEEL", "KEEL-S"], "KEEL-2"),
        ("!!!", "", [], "PAINT"),
        ("Türkis hell", "", [], "TÜRKIS"),
        ("Extraordinarilylongpaintname", "Maker", ["x"], "EXTRAORDINARILYLON"),
    ],
)
def test_suggested_nicknames(name, maker, taken, expected):
    assert suggest_nickname(name, maker, taken) == check_nickname(expected)


def test_names_with_odd_characters_come_back(store):
    name = 'Noir d\'Été; DROP TABLE paints; -- [bold]"x" 漆'
    store.paints.add(NewPaint("NOIR", name, maker="[red]"))
    assert store.paints.find("NOIR").name == name


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("[[paint]]", "[[pant]]", "pant: expected a file of paints"),
        ('nickname = "HULL"', 'nickname = "HU LL"', "paint 1, nickname: expected a nickname"),
        ('nickname = "HULL"\n', "", "paint 1, nickname: expected one, found none"),
        ('nickname = "HULL"', 'nickname = "keel"', "paint 2, nickname: KEEL is already"),
        ("density = 1.45", "density = 1450", "lot 1, density: expected above 0.5 and up to 6"),
        ("density = 1.45", 'density = "1.45"', "lot 1, density: expected a number"),
        ("density = 1.45", "density = nan", "lot 1, density"),
        ("volume_solids = 0.42", "volume_solids = 42", "lot 1, volume_solids"),
        ("size_ml = 250", "size_ml = 0", "lot 1, size_ml: expected above 0"),
        ("on_hand = true", 'on_hand = "yes"', "on_hand: expected true or false"),
        ("opened = 2026-03-01", 'opened = "March"', "opened: expected a date"),
        ('pigments = ["PW6"]', 'pigments = "PW6"', "pigments: expected a list"),
        ('pigments = ["PW6"]', "pigments = [6]", "pigments: expected names"),
        ('finish = "metallic"', 'finish = "shiny"', "paint 4, finish: expected one of ordinary"),
        ("price = 14.5", "prise = 14.5", "lot 1, prise: expected one of lot"),
        ("[[paint]]", "[[paint]", "not TOML"),
    ],
)
def test_a_faulty_file_of_paints_is_refused_by_place(store, old, new, said):
    text = PAINTS_TOML.replace(old, new)
    assert text != PAINTS_TOML
    with pytest.raises(InputError) as caught:
        store.paints.add_file(text, "my paints.toml")
    assert said in str(caught.value) and "my paints.toml" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(store.paints.all()) == 4


def test_a_file_is_taken_whole_or_not(tmp_path):
    text = PAINTS_TOML.replace('"KEEL-T"', '"OTHER"')
    with Store.open(tmp_path) as store:
        store.paints.add(NewPaint("OTHER", "Other Paint"))
        with pytest.raises(InputError, match="already that of Other Paint"):
            store.paints.add_file(text)
        assert [paint.nickname for paint in store.paints.all()] == ["OTHER"]


def test_two_lots_of_one_name():
    text = PAINTS_TOML.split("[[paint]]")[1]
    doubled = "[[paint]]" + text + "[[paint.lot]]\nlot = 'W1'\n"
    with pytest.raises(InputError, match="two lots of one name"):
        parse_paints(doubled, "paints.toml")


# The command


def test_several_labels_at_once(tool):
    labels = ("Keel Blue PB29", "Rope Earth, PY42 PBr7", "Hull White PW6")
    added = tool("tubes", "add", *labels, "--maker", "Slipway")
    assert added.status == 0, added.err
    assert added.out == "".join(
        f"Added {name} as {nickname}, on hand.\n"
        for name, nickname in (
            ("Keel Blue", "KEEL"),
            ("Rope Earth", "ROPE"),
            ("Hull White", "HULL"),
        )
    )
    rows = {row["nickname"]: row for row in tool("tubes", "--json").json}
    assert rows["ROPE"]["pigments"] == ["PY42", "PBr7"] and rows["HULL"]["pigments"] == ["PW6"]
    assert {row["maker"] for row in rows.values()} == {"Slipway"} and rows["KEEL"]["on_hand"]


def test_one_question_a_tube(tool):
    asked = tool("tubes", "add", typed="Keel Blue PB29\nPitch Black\nPBk7\nMast\n\n\n")
    assert asked.status == 0 and asked.err.count("]: ") == 6
    assert "Pigments of Pitch Black [not known]" in asked.err
    assert "as MAST, on hand.\n  Its pigments aren't known" in asked.out
    rows = {row["nickname"]: row["pigments"] for row in tool("tubes", "--json").json}
    assert rows == {"KEEL": ["PB29"], "MAST": [], "PITCH": ["PBk7"]}


@pytest.mark.parametrize(
    "arguments, said",
    [
        (("Keel Blue PB29", "PW6"), "expected a name"),
        (("Keel Blue PB29", "keel blue"), "in the studio already, as KEEL"),
        (("Keel Blue PB29", "--lot", "A1"), "an option of one tube is given without --name"),
        (("Keel Blue PB29", "--name", "Keel Blue"), "it doesn't go with labels"),
    ],
)
def test_a_faulty_label_adds_no_tube_at_all(tool, arguments, said):
    outcome = tool("tubes", "add", *arguments)
    assert (outcome.status, said in outcome.err, outcome.err.count("\n")) == (2, True, 1), (
        outcome.err
    )
    assert tool("tubes", "--json").json == []


def test_one_name_from_two_makers_asks_for_a_nickname(tool):
    tool("tubes", "add", "--name", "Keel Blue", "--maker", "Slipway")
    again = tool("tubes", "add", "--name", "Keel Blue", "--maker", "Tarred Rope")
    assert again.status == 2 and "--nickname KEEL-TR" in again.err


def test_the_same_paint_twice_is_refused(tool):
    for _ in range(2):
        last = tool("tubes", "add", "--name", "Keel Blue", "--maker", "Slipway")
    assert last.status == 2 and "tintladder tubes on KEEL" in last.err


def test_stopping_halfway_adds_nothing(tool):
    stopped = tool("tubes", "add", typed="Keel Blue PB29\n")
    assert stopped.status == 2 and "stopped at the question: Tube 2" in stopped.err
    assert tool("tubes", "--json").json == []


@pytest.mark.parametrize(
    "options, said",
    [
        (("--name", " "), "a tube needs a name"),
        (("--name", "X", "--size", "big"), "expected millilitres"),
        (("--name", "X", "--finish", "shiny"), "finish: expected one of ordinary"),
        (("--name", "X", "--nickname", "a b"), "expected a nickname"),
        (("--name", "X", "--density", "1450"), "density: expected above 0.5"),
    ],
)
def test_faulty_options_add_nothing(tool, options, said):
    outcome = tool("tubes", "add", *options)
    assert (outcome.status, said in outcome.err, outcome.err.count("\n")) == (2, True, 1)
    assert "No tubes yet" in tool("tubes").out or "no studio here yet" in tool("tubes").err


def test_decimals_stand_after_a_comma_too(tool):
    added = ("tubes", "add", "--name", "Keel Blue", "--size", "37,5", "--volume-solids", "0,4")
    assert tool(*added).status == 0
    weighed = tool("tubes", "weigh", "KEEL", "--ml", "2", "--grams", "2,72")
    assert "1.36 g/ml" in weighed.out
    (lot,) = tool("tubes", "--json").json[0]["lots"]
    assert (lot["size_ml"], lot["volume_solids"]) == (37.5, 0.4)
    for faulty, said in (("2.72 g", "such as 2.72"), ("0", "0.01 or more"), ("nan", "0.01 or")):
        refused = tool("tubes", "weigh", "KEEL", "--grams", faulty)
        assert refused.status == 2 and said in refused.err


def test_on_hand_and_out(tool, tmp_path):
    (tmp_path / "paints.toml").write_text(PAINTS_TOML)
    loaded = tool("tubes", "load", "paints.toml")
    assert loaded.out == "paints.toml: 4 paints: HULL, KEEL, KEEL-T, BRASS.\n"
    assert tool("tubes", "out", "hull").out == "HULL (Hull White) is out.\n"
    listed = {row["nickname"]: row["on_hand"] for row in tool("tubes", "--json").json}
    assert listed == {"BRASS": False, "HULL": False, "KEEL": False, "KEEL-T": False}
    assert tool("tubes", "on", "KEEL").status == 0
    table = tool("tubes").out
    assert [line.split()[0] for line in table.splitlines()] == [
        "Nickname",
        "BRASS",
        "HULL",
        "KEEL",
        "KEEL-T",
    ]
    assert table.splitlines()[3].split()[-3:] == ["yes", "not", "yet"]
    assert "shelf" not in table


def test_the_list_names_the_lots_and_which_is_in_use(tool):
    for lot in ("A1", "A2"):
        tool("tubes", "add", "--name", "Keel Blue", "--pigments", "PB29", "--lot", lot)
    assert "A2 in use, A1" in tool("tubes").out
    lots = tool("tubes", "--json").json[0]["lots"]
    assert [(lot["lot"], lot["in_use"]) for lot in lots] == [("A1", False), ("A2", True)]


def test_a_pigment_that_is_no_colour_index_name_gets_a_hint(tool):
    """Generic names of pigments and natural dyes as the Colour Index writes them (from memory)."""
    said = tool("tubes", "add", "--name", "Keel Blue", "--pigments", "ultramarine PB29")
    assert said.status == 0 and "No Colour Index name: ultramarine. " in said.out
    names = "PW6 PR83:1 PBr7 pbk9 NR9 Unknown"
    assert tool("tubes", "add", "--name", "X", "--pigments", names).out == (
        "Added X as X, on hand.\n"
    )


def test_the_studio_may_be_named_before_or_after(tool, tmp_path):
    place = tmp_path / "elsewhere"
    assert tool("tubes", "--studio", place, "add", "--name", "Keel Blue").status == 0
    assert [row["nickname"] for row in tool("tubes", "--studio", place, "--json").json] == ["KEEL"]
    assert tool("tubes", "out", "KEEL", "--studio", place).status == 0
    assert not (tmp_path / "studio.db").exists()


def test_no_studio_yet_says_how_to_start(tool, tmp_path):
    outcome = tool("tubes")
    assert outcome.status == 2 and "start one with: tintladder tubes add" in outcome.err
    assert list(tmp_path.iterdir()) == []


def test_markup_in_a_name_is_only_text(tool):
    tool("tubes", "add", "--name", "Deck [bold]Red[/bold]", "--maker", "[/]")
    assert "Deck [bold]Red[/bold]" in tool("tubes").out
