"""Cards printed by a layout of one's own, and what keeps a layout from it."""

from __future__ import annotations

from pathlib import Path

from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.layout import layout_text


def own_layout(folder: Path, old: str = "", new: str = "") -> Path:
    text, _ = layout_text("quick-a5-2")
    text = text.replace('layout = "quick-a5-2"', 'layout = "mine"').replace(
        "number = 15", "number = 101"
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
    assert "an opening of up to 4 mm" in sound.out
    assert tool("card", "--check", "mine.toml", "--json").json["faults"] == []


def test_check_names_overlaps_and_unreachable_patches(tool, tmp_path):
    own_layout(tmp_path, "pitch_mm = [0, 16]", "pitch_mm = [0, 13]")
    wrong = tool("card", "--check", "mine.toml")
    assert wrong.status == 2
    assert "nearer than 3 mm" in wrong.err
    assert "step 2: its patches don't lie in one line, so one stroke can't reach them" in wrong.err
    asjson = tool("card", "--check", "mine.toml", "--json")
    assert asjson.status == 2 and len(asjson.json["faults"]) == wrong.err.count("\n")


def test_check_names_words_that_find_no_room(tool, tmp_path):
    own_layout(tmp_path, "height_mm = 24", "height_mm = 12")
    small = tool("card", "--check", "mine.toml")
    assert small.status == 2 and "don't fit a box" in small.err and "letters of 8 pt" in small.err
    refused = tool("card", "KEEL", "--scale", "0.1", "--layout", "mine.toml")
    assert refused.status == 2 and "letters of 8 pt" in refused.err
    assert not list((tmp_path / "cards").glob("*"))


def test_films_without_room_for_tape_are_not_printed(tool, tmp_path):
    """A layout of one's own from an earlier edition reads its cards, and prints no new ones."""
    text, _ = layout_text("drawdown-a4")
    text = text.replace('layout = "drawdown-a4"', 'layout = "mine"')
    (tmp_path / "mine.toml").write_text(text.replace("number = 5", "number = 101"))
    refused = tool("card", "KEEL", "--scale", "0.1", "--layout", "mine.toml")
    assert refused.status == 2
    assert "needs patches of 16 x 16 mm" in refused.err
    assert not list((tmp_path / "cards").glob("*"))


def test_a_layout_is_printed_in_its_newest_edition(tool):
    for asked in ("quick-a5", "quick-a5-2", "quick"):
        made = tool("card", "KEEL", "--scale", "0.1", "--layout", asked, "--json")
        assert made.json["layout"] == "quick-a5-2"
    assert "there is no layout quick-a5-3" in tool("card", "KEEL", "--layout", "quick-a5-3").err
