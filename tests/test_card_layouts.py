"""Cards printed by a layout of one's own, and what keeps a layout from it."""

from __future__ import annotations

from pathlib import Path

from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.layout import layout_text


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
