"""Names that would steer a terminal, a database or a spreadsheet: cleaned in, escaped out."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tintladder.calibrate.cards.toml_text import load
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.table import parse_table
from tintladder.calibrate.formats.table_writing import format_csv
from tintladder.calibrate.optics.spectra import Spectra
from tintladder.calibrate.plain_text import escaped, unescaped, without_controls
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.verify import verify_release
from tintladder.database.store import schema
from tintladder.database.store.paints_file import NewPaint
from tintladder.database.store.store import Store

from . import postgres
from .command import run
from .studio_fixtures import PAINTS_TOML, fill, ladder, session

NASTY = "Keel\x1b[31m\x00 Bl\u202eue\x9b2J\x7f"
CLEAN = "Keel[31m Blue2J"


@given(st.text())
def test_every_text_comes_back_from_a_cell(text):
    cell = escaped(text)
    assert unescaped(cell) == text and not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_what_steers_is_taken_away_and_lines_stay():
    assert without_controls(NASTY) == CLEAN
    assert without_controls("two\nlines\tand a tab") == "two\nlines\tand a tab"
    assert load('"a\\u0000b" = ["x\\u001by", {k = "\\u0007"}]', "f") == {"ab": ["xy", {"k": ""}]}
    assert "\x1b" not in str(InputError("f\x1b[2J", "row\x00", "expected \x1b", "mend"))


def assert_kept_clean(place):
    toml = PAINTS_TOML.replace('"Keel Blue"', '"Keel\\u001b[31m\\u0000 Bl\\u202Eue\\u009b2J"', 1)
    with Store.open(place) as store:
        store.paints.add_file(toml)
        store.cards.add(ladder(), "text")
        read = replace(session(ladder()), device=NASTY, header={"ORIGINATOR": NASTY})
        store.readings.add("keel-1", read)
        assert store.paints.find("KEEL").name == CLEAN
    with Store.open(place) as store, store.snapshot() as rows:
        kept = rows.get_one(schema.Session, 1)
        assert kept.device is not None and kept.device.name == CLEAN
        assert kept.header["ORIGINATOR"] == CLEAN


def test_the_studio_keeps_no_control_characters(tmp_path):
    assert_kept_clean(tmp_path)


@pytest.mark.skipif(postgres.why_not() is not None, reason=postgres.why_not() or "")
def test_nor_does_a_shared_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with postgres.server() as url:
        assert_kept_clean(postgres.new_database(url, "plain"))


def test_a_name_typed_reaches_the_terminal_clean(monkeypatch, capsys, tmp_path):
    tool = partial(run, monkeypatch, capsys)
    nasty = NASTY.replace("\x00", "")
    assert tool("tubes", "add", f"{nasty} PB29", "--studio", tmp_path).status == 0
    said = tool("tubes", "--studio", tmp_path)
    assert CLEAN in said.out and "\x1b" not in said.out
    wrong = tool("predict", f"{nasty}=1", "--studio", tmp_path)
    assert wrong.status == 2 and "\x1b" not in wrong.err


def test_a_formula_stands_in_no_table_of_a_release(tmp_path):
    link = '=HYPERLINK("http://127.0.0.1/", "Keel")'
    with Store.open(tmp_path) as store:
        fill(store)
        store.paints.change("KEEL", NewPaint("KEEL", link, "'+1", "-2+3", ("PB29",)))
        made = publish(store)
    text = (made.folder / "paints.csv").read_text()
    cells = pd.read_csv(io.StringIO(text), dtype="str", keep_default_na=False).set_index("paint")
    assert cells.loc["KEEL", "name"] == f"'{link}"
    assert not cells.map(lambda cell: cell.startswith(("=", "+", "-", "@"))).to_numpy().any()
    back = load_release(made.archive).tables["paints"].set_index("paint").loc["KEEL"]
    assert (back["name"], back["maker"], back["range"]) == (link, "'+1", "-2+3")
    assert verify_release(made.archive, made.digest) == []


def test_a_sample_named_like_a_formula_comes_back_from_csv():
    labels = ["=1+1/black", "'=x/white", "plain/black"]
    grid = np.arange(400.0, 701.0, 10.0)
    read = replace(session(ladder()), spectra=Spectra.from_values(
        grid, np.full((3, grid.size), 0.25), labels
    ))  # fmt: skip
    text = format_csv(read)
    assert not any(line.startswith("=") for line in text.splitlines())
    assert parse_table(text, "f.csv", "").spectra.labels == tuple(labels)
