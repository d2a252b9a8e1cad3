"""The command line: what it says, how it exits, and that nothing is half-written."""

from __future__ import annotations

import errno
import subprocess
import sys
from functools import partial

import pytest
import typer
from tintladder.database import cli
from tintladder.database.store.store import Store

from .command import run
from .studio_cards import CARD_TOML, PATCHES, readings_text, write_all
from .studio_fixtures import joint_fit

HEAVY = {"numpy", "scipy", "pandas", "sqlalchemy", "alembic", "matplotlib", "colour", "jsonschema"}


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return partial(run, monkeypatch, capsys)


@pytest.fixture
def fitted(tool, tmp_path):
    """A studio with readings and a fit."""
    write_all(tmp_path)
    assert tool("read", "paints.toml", "keel-1.toml", "keel-1.txt").status == 0
    with Store.open(tmp_path) as store:
        store.fits.record(joint_fit(), store.readings.all())
    return tool


def counts(folder):
    with Store.open(folder) as store:
        return len(store.paints.all()), len(store.cards.all()), len(store.readings.all())


# Helps and exits


def test_help_needs_nothing_heavy():
    """What makes a start slow is never imported for it."""
    code = "import sys, tintladder.database.cli; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert not HEAVY & set(loaded.stdout.split())


def commands():
    """Every command, and every one below it, as typed."""
    whole = typer.main.get_command(cli.app)
    for name in whole.list_commands(None):
        yield (name,)
        yield from (
            (name, below) for below in getattr(whole.get_command(None, name), "commands", ())
        )


@pytest.mark.parametrize("words", list(commands()), ids=" ".join)
def test_every_command_has_its_help(tool, words):
    said = tool(*words, "--help")
    assert said.status == 0
    for part in (f"Usage: tintladder {' '.join(words)}", "--json", "--studio", "Example:"):
        assert part in said.out
    example = said.out.split("Example:")[1].split()
    assert example[: 1 + len(words)] == ["tintladder", *words]


def test_help_lists_every_command(tool):
    said = tool("--help").out
    for words in commands():
        assert f"  {words[0]} " in said


@pytest.mark.parametrize("arguments", [("paint",), ("read",), ("verify", "--wide", "x")])
def test_a_slip_of_usage_exits_2(tool, arguments):
    outcome = tool(*arguments)
    assert outcome.status == 2 and outcome.err and not outcome.out


def test_our_fault_exits_1_and_says_so(tool, monkeypatch):
    def broken(*_):
        raise RuntimeError("two\nlines")

    monkeypatch.setattr(Store, "open", broken)
    outcome = tool("releases")
    assert (outcome.status, outcome.err.count("\n")) == (1, 1)
    assert "our fault" in outcome.err and "TINTLADDER_TRACEBACK=1" in outcome.err
    monkeypatch.setenv("TINTLADDER_TRACEBACK", "1")
    with pytest.raises(RuntimeError, match="two"):
        tool("releases")


def test_a_full_disk_is_no_fault_of_ours(tool, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device", "studio.db")

    monkeypatch.setattr(Store, "open", full)
    outcome = tool("releases")
    assert (outcome.status, outcome.err.count("\n")) == (2, 1)
    assert "studio.db: can't be used (No space left on device); make room" in outcome.err


def test_a_file_for_a_studio_is_refused(tool, tmp_path):
    (tmp_path / "notes.txt").write_text("x")
    outcome = tool("tubes", "--studio", "notes.txt")
    assert outcome.status == 2 and "found a file" in outcome.err


# Reading


def test_files_of_every_kind_in_any_order(tool, tmp_path):
    paints, card, readings = (path.name for path in write_all(tmp_path))
    said = tool("read", readings, card, paints)
    assert said.status == 0, said.err
    lines = said.out.splitlines()
    assert lines[0].startswith("paints.toml: 4 paints: HULL, KEEL")
    assert lines[1] == "keel-1.toml: card keel-1, 2 drawdowns of KEEL, HULL (added)"
    assert lines[2].startswith("keel-1.txt: 6 readings of 6 patches of card keel-1, CGATS")
    assert "percent, 45:0" in lines[2] and "400-700 nm" in lines[2]
    assert lines[3] == "  flagged: bare/white at 400 nm is below zero (kept as read)"
    assert counts(tmp_path) == (4, 1, 1)


def test_reading_says_the_same_to_machines(tool, tmp_path):
    write_all(tmp_path)
    taken = tool("read", "paints.toml", "keel-1.toml", "keel-1.txt", "--json").json
    assert [item["kind"] for item in taken] == ["paints", "card", "readings"]
    assert taken[2]["card"] == "keel-1"
    assert taken[2]["flags"] == [["bare/white", 400.0, "below zero"]]


def test_a_card_named_by_hand(tool, tmp_path):
    write_all(tmp_path)
    (tmp_path / "tuesday.txt").write_text(readings_text(PATCHES, 2))
    tool("read", "paints.toml", "keel-1.toml")
    lost = tool("read", "tuesday.txt")
    assert lost.status == 2 and "no card is named tuesday" in lost.err and "--card" in lost.err
    assert tool("read", "tuesday.txt", "--card", "keel-1").status == 0
    by_file = tool("read", "keel-1.txt", "--card", "keel-1.toml")
    assert by_file.status == 0 and "(unchanged)" in by_file.out
    assert counts(tmp_path) == (4, 1, 2)


def test_a_corrected_card_says_so(tool, tmp_path):
    write_all(tmp_path)
    tool("read", "paints.toml", "keel-1.toml")
    (tmp_path / "keel-1.toml").write_text(CARD_TOML.replace("HULL = 5.1", "HULL = 5.2"))
    assert "(changed)" in tool("read", "keel-1.toml").out


def spoilt(name, old, new):
    return lambda folder: (folder / name).write_text((folder / name).read_text().replace(old, new))


@pytest.mark.parametrize(
    "spoil, said",
    [
        (lambda folder: (folder / "keel-1.txt").unlink(), "keel-1.txt: no such file"),
        (lambda folder: (folder / "keel-1.toml").unlink(), "keel-1.toml: no such file"),
        (
            lambda folder: (folder / "keel-1.txt").write_bytes(b"\x89PNG\r\n\x1a\n\0\0"),
            "keel-1.txt",
        ),
        (lambda folder: (folder / "keel-1.toml").write_bytes(b"\xff\xfe\x00"), "UTF-8"),
        (spoilt("keel-1.txt", "half/white", "third/white"), "third/white"),
        (spoilt("keel-1.txt", 'REFLECTANCE_UNIT "percent"', ""), "--unit"),
        (spoilt("keel-1.txt", "percent", "fraction"), "expected"),
        (spoilt("keel-1.toml", "KEEL = 10.0", "KEEL = -1.0"), "drawdown 1, masses.KEEL"),
        (spoilt("keel-1.toml", "KEEL = 10.0", "RUDDER = 10.0"), "drawdown 1, masses.RUDDER"),
        (spoilt("keel-1.toml", "[[drawdown]]", "[[drawdown]"), "keel-1.toml"),
        (spoilt("paints.toml", "[[paint]]", "[[paint]"), "paints.toml"),
        (spoilt("paints.toml", '"KEEL"', '"HULL"'), "paint 2, nickname"),
    ],
)
def test_one_bad_file_and_none_is_taken(tool, tmp_path, spoil, said):
    write_all(tmp_path)
    spoil(tmp_path)
    outcome = tool("read", "paints.toml", "keel-1.toml", "keel-1.txt")
    assert (outcome.status, outcome.err.count("\n")) == (2, 1), outcome.err
    assert said in outcome.err and not outcome.out
    assert counts(tmp_path) == (0, 0, 0)


def test_the_same_readings_twice(tool, tmp_path):
    write_all(tmp_path)
    tool("read", "paints.toml", "keel-1.toml", "keel-1.txt")
    again = tool("read", "keel-1.txt")
    assert again.status == 2 and "already read for card keel-1" in again.err
    assert counts(tmp_path) == (4, 1, 1)


def test_readings_that_are_there_already_keep_no_others_out(tool, tmp_path):
    write_all(tmp_path)
    tool("read", "paints.toml", "keel-1.toml", "keel-1.txt")
    (tmp_path / "tuesday.txt").write_text(readings_text(PATCHES, 2))
    both = tool("read", "keel-1.txt", "tuesday.txt", "--card", "keel-1")
    assert both.status == 0
    assert "keel-1.txt: already read for card keel-1 (" in both.out
    assert "left as it is" in both.out and "tuesday.txt: 6 readings of 6 patches" in both.out
    assert counts(tmp_path) == (4, 1, 2)
    back = tool("read", "--undo").out
    assert "(tuesday.txt)" in back and counts(tmp_path) == (4, 1, 1)
    assert tool("read", "keel-1.toml", "keel-1.txt").status == 2


# Publishing


def test_publish_list_verify(fitted, tmp_path):
    assert fitted("releases").out.startswith("Nothing published yet")
    said = fitted("publish", "--note", "first")
    assert said.status == 0 and said.out.startswith("Published 1.0.0")
    assert "Added: HULL, KEEL." in said.out
    (row,) = fitted("releases", "--json").json
    assert (row["version"], row["paints"], row["note"]) == ("1.0.0", ["HULL", "KEEL"], "first")
    assert fitted("releases").out.splitlines()[1].startswith("1.0.0")
    for path in ("releases/paints-1.0.0", "releases/paints-1.0.0.zip"):
        checked = fitted("verify", path)
        assert checked.status == 0 and "signed by this studio" in checked.out
        elsewhere = fitted("verify", path, "--studio", tmp_path / "none")
        assert elsewhere.status == 0 and "a studio that isn't known here" in elsewhere.out
    assert fitted("publish").status == 2
    assert fitted("publish", "--version", "1.0.0").status == 2


def test_a_changed_release_is_refused_by_name(fitted, tmp_path):
    fitted("publish")
    table = tmp_path / "releases" / "paints-1.0.0" / "paints.csv"
    table.write_text(table.read_text().replace("Hull White", "Hull Wite"))
    said = fitted("verify", table.parent)
    assert said.status == 2 and said.err.count("\n") == 1
    assert "paints.csv: was changed since it was published" in said.err
    assert fitted("verify", table.parent, "--json").json["problems"][0].startswith("paints.csv")


@pytest.mark.parametrize("path", ["nothing", "keel-1.txt", "."])
def test_what_is_no_release(fitted, path):
    said = fitted("verify", path)
    assert (said.status, said.err.count("\n")) == (2, 1)


def test_publishing_without_a_fit(tool, tmp_path):
    write_all(tmp_path)
    tool("read", "paints.toml")
    said = tool("publish")
    assert said.status == 2 and "tintladder fit" in said.err
    assert not (tmp_path / "releases").exists()


def test_without_a_command_it_says_where_the_studio_stands(fitted, tmp_path):
    said = fitted()
    assert said.status == 0 and "fitted, nothing published." in said.out
    assert "Nothing is published yet. tintladder publish --preview" in said.out
    with Store.open(tmp_path) as store:
        cards = {card.name for card in store.cards.all()}
    assert cards and len(said.out.splitlines()) < 10


def test_without_a_command_and_a_studio_it_says_what_there_is(tool, tmp_path):
    said = tool()
    assert said.status == 0 and "Your tubes and cards:" in said.out
    assert not list(tmp_path.iterdir())
