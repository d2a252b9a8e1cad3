"""Export files of many shapes: read right, asked about, or refused in one line. Invented data."""

import io
import os
import time
from pathlib import Path

import numpy as np
import pytest
from openpyxl import Workbook
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats import workbook
from tintladder.calibrate.formats.gathered import Said
from tintladder.calibrate.formats.read import LARGEST, read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.formats.table import parse_table
from tintladder.calibrate.optics.spectra import Flag
from tintladder.database.commands.remedies import in_terminal

from .bench.exports import outcomes

HEAD = "# unit: percent\n# geometry: di:8\n"


def parse(text: str, **said: str) -> Session:
    return parse_table(text, "file.csv", "", Said(**said))


def refused(text: str, *words: str, **said: str) -> str:
    with pytest.raises(InputError) as caught:
        parse(text, **said)
    line = in_terminal(caught.value)
    assert "\n" not in line
    for word in words:
        assert word in line, line
    return line


def test_none_of_forty_shapes_is_misread() -> None:
    # The files and what each is owed are in tests/bench, written without looking at the readers.
    found = outcomes()
    assert len(found) == 40
    assert not {name: said for name, said in found.items() if said[0] in ("misread", "wrong")}


MODES = """sample,Mode,400,410,420
masstone/white,SCI,44.5,45.5,46.5
masstone/white,SCE,40.5,41.5,42.5
bare/white,SCI,84.5,85.5,86.5
bare/white,SCE,80.5,81.5,82.5
"""


def test_a_column_that_splits_readings_is_asked_about() -> None:
    text = HEAD.replace("di:8", "d/8") + MODES
    refused(text, "column Mode", "2 are SCI and 2 are SCE", '--only "Mode=SCI"')
    for only in ("SCE", "Mode=SCE", "specular=excluded", "mode = sce"):
        session = parse(text, only=only)
        assert session.spectra.values[0, 0] == pytest.approx(0.405)
        assert (session.specular, session.header["TAKEN"]) == ("excluded", "Mode SCE")
    assert parse(text, specular="included").spectra.values[0, 0] == pytest.approx(0.445)
    refused(text, '--only "Mode=SCI"', only="M1")
    refused(text, "no reading is marked by that (Mode=SCI, Mode=SCE)", only="SCE; M1")


def test_a_column_nobody_has_words_for_is_asked_about_too() -> None:
    text = HEAD + MODES.replace("Mode", "Shutter").replace("SCI", "long").replace("SCE", "short")
    refused(text, "column Shutter", '"Shutter=short"')
    assert len(parse(text, only="short").spectra) == 2
    # What counts, dates or comments is no setting: these are repeats.
    for heading, first, second in (
        ("Repeat", "1", "2"), ("Date", "4 May", "5 May"), ("L*", "72.1", "70.4"),
        ("Comment", "dusty", "clean"),
    ):  # fmt: skip
        repeats = HEAD + MODES.replace("Mode", heading).replace("SCI", first).replace("SCE", second)
        assert len(parse(repeats).spectra) == 4


def test_two_readings_of_each_that_differ_throughout_are_no_repeats() -> None:
    rows = ["sample,400,410,420"]
    for lift in (4.0, 0.0):
        for name, level in (("a/black", 5.0), ("a/white", 30.0), ("bare/white", 80.0)):
            rows.append(f"{name},{level + lift},{level + lift + 1},{level + lift + 2}")
    text = HEAD + "\n".join(rows)
    refused(text, "no repeats", '"reading=2"')
    assert parse(text, only="reading=2").spectra.values[0, 0] == pytest.approx(0.05)
    alike = text.replace("9.0,10.0,11.0", "5.1,6.1,7.1")
    assert len(parse(alike).spectra) == 6


def test_averages_are_left_out_with_a_word() -> None:
    text = HEAD + (
        "sample,No,400,410,420\na/white,1,40,41,42\na/white,2,42,43,44\na/white,Mean,41,42,43\n"
        "a/white,Std. dev.,1,1,1\n"
    )
    session = parse(text)
    np.testing.assert_allclose(session.spectra.values[:, 0], [0.40, 0.42])
    assert session.header["LEFT_OUT"] == "1 average (line 6); 1 spread (line 7)"
    assert parse(text, only="Mean").spectra.values[0, 0] == pytest.approx(0.41)
    bottom = HEAD + "sample,400,410,420\na/white,40,41,42\nb/white,60,61,62\nAverage,50,51,52\n"
    assert parse(bottom).spectra.labels == ("a/white", "b/white")
    alone = HEAD + "sample,400,410,420\na/white avg,40,41,42\nb/white avg,60,61,62\n"
    assert parse(alone).spectra.labels == ("a/white avg", "b/white avg")


def test_wavelengths_come_in_any_order_and_spelling() -> None:
    plain = parse(HEAD + "sample,400,410,420\na/white,40,41,42\n").spectra
    for header, row in (
        ("420,410,400", "42,41,40"),
        ("410,400,420", "41,40,42"),
        ("R%[400],R%[410],R%[420]", "40,41,42"),
        ("400 nm,410nm,nm 420", "40,41,42"),
        ("λ400,λ410,λ420", "40,41,42"),
        ("R_400.0,R_410.0,R_420.0", "40,41,42"),
    ):
        read = parse(HEAD + f"sample,{header}\na/white,{row}\n").spectra
        np.testing.assert_array_equal(read.wavelengths, plain.wavelengths)
        np.testing.assert_array_equal(read.values, plain.values)
    refused(HEAD + "sample,400,430,410,425\na/white,1,2,3,4\n", "in no order")
    refused(HEAD + "sample,400,410,400,420\na/white,9,9,9,9\n", "400 nm stands twice")
    refused(HEAD + "sample,K/S 400,K/S 410,K/S 420\na/white,9,9,9\n", "its heading says K/S")


def test_groups_of_columns_and_sub_headings() -> None:
    beside = HEAD.replace("di:8", "d/8") + (
        ",SCI,,,SCE,,\nsample,400,410,420,400,410,420\na/white,44,45,46,40,41,42\n"
    )
    refused(beside, "1 is SCI and 1 is SCE")
    assert parse(beside, only="SCE").spectra.values[0, 0] == pytest.approx(0.40)
    below = HEAD + "sample,400,410,420\nM0\na/white,44,45,46\nM2\na/white,40,41,42\n"
    refused(below, "condition", "M0", "M2")
    session = parse(below, only="M2")
    assert (session.condition, session.spectra.values[0, 0]) == ("M2", pytest.approx(0.40))
    unmarked = HEAD + "sample,400,410,420,400,410,420\na/white,44,45,46,40,41,42\n"
    refused(unmarked, '"columns=group 2"')


def test_no_reading_is_dropped_behind_a_row_that_is_none() -> None:
    wl = ",".join(str(nm) for nm in range(400, 480, 10))
    row = ",".join(["40"] * 8)
    text = HEAD + f"sample,{wl}\na/white,{row}\n"
    words = text + f"b/white,{','.join(['ERR'] * 8)}\nc/white,{row}\n"
    refused(words, "line 5 (b/white), 400 nm", "'ERR'")
    refused(text + "b/white\n", "line 5", "expected 9 cells")
    lab = text + "\nname,L*,a*,b*\na/white,70,1,2\n"
    assert parse(lab).spectra.labels == ("a/white",)
    assert any("L*" in said for said in parse(lab).header.values())
    refused(lab + f"c/white,{row}\n", "line 8", "looks like a reading")


def test_one_value_a_row() -> None:
    text = HEAD + "sample,nm,Reflectance\n" + "".join(
        f"{name},{nm},{level + nm / 100}\n"
        for name, level in (("a/white", 40), ("b/white", 60), ("a/white", 41))
        for nm in (400, 410, 420)
    )  # fmt: skip
    session = parse(text)
    assert session.format.endswith("one value a row")
    assert session.spectra.labels == ("a/white", "a/white", "b/white")
    np.testing.assert_allclose(session.spectra.values[2], [0.64, 0.641, 0.642])


def test_sides_are_kept_apart_by_name() -> None:
    text = HEAD + "sample,Backing,400,410,420\na,black,40,41,42\na,white,60,61,62\n"
    assert parse(text).spectra.labels == ("a/black", "a/white")
    assert parse(text, only="Backing=white").spectra.labels == ("a",)


def test_full_scale_is_flagged() -> None:
    spectra = parse(HEAD + "sample,400,410,420\na/white,40,>120,42\n").spectra
    assert spectra.flagged() == [("a/white", 410.0, Flag.MISSING | Flag.CLIPPED)]


def test_slips_of_a_hundred_are_caught() -> None:
    rows = "sample,400,410,420\nbare/white,{},{},{}\na/black,0.08,0.09,0.10\n"
    fraction = "# unit: fraction\n# geometry: di:8\n"
    refused(fraction + rows.format(0.0085, 0.0086, 0.0087), "bare/white", "white card")
    dark = rows.replace("a/black,0.08,0.09,0.10", "a/black,0.0008,0.0009,0.0010")
    refused(fraction + dark.format(0.85, 0.86, 0.87), "line 5 (a/black)", "no surface is as dark")
    refused(HEAD + rows.format(0.85, 0.86, 0.87), "still too dark", "--unit percent")
    sce = fraction.replace("di:8", "45:0") + rows + "{}\n"
    refused(sce.format(0.85, 0.86, 0.87, "a/black,0.0030,0.003,0.003"), "0.1 of the same film")
    mixed = HEAD + "sample,400,410,420\na/white,0.4455,0.4555,0.4655\nbare/white,82.1,82.2,82.3\n"
    refused(mixed, "line 4 and line 5", "fractions beside percent")
    # A reading of nothing, from a dead lamp, is no slip: it is kept.
    assert len(
        parse(fraction + dark.replace("0.0008,0.0009,0.0010", "0,0,0").format(1, 1, 1)).spectra
    )


def book(rows: list[list[object]], **formats: str) -> bytes:
    made = Workbook()
    sheet = made.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    for place, form in formats.items():
        sheet[place].number_format = form
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def test_number_formats_of_cells_count(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    rows: list[list[object]] = [["sample", 400, 410, 420], ["a/white", 0.4455, 0.4555, 0.4655]]
    percent = {f"{column}2": "0.00%" for column in "BCD"}
    path.write_bytes(book(rows, **percent))
    session = read_session(path, unit="percent", geometry="di:8")
    np.testing.assert_allclose(session.spectra.values[0], [0.4455, 0.4555, 0.4655])
    with pytest.raises(InputError, match="unit is percent"):
        read_session(path, unit="fraction", geometry="di:8")
    path.write_bytes(book(rows, B2="0.00%"))
    with pytest.raises(InputError, match=r"is in percent, 0\.4555 is not"):
        read_session(path, unit="percent", geometry="di:8")
    whole = [["sample", 400, 410, 420], ["a/white", 44.55, 45.55, 46.55]]
    path.write_bytes(book(whole, **{place: '0.00"%"' for place in percent}))
    session = read_session(path, geometry="di:8")
    np.testing.assert_allclose(session.spectra.values[0], [0.4455, 0.4555, 0.4655])
    path.write_bytes(book(whole, B2="0.00,"))
    with pytest.raises(InputError, match="B2: the number format"):
        read_session(path, geometry="di:8")


def test_sheets_are_asked_about(tmp_path: Path) -> None:
    made = Workbook()
    for number, name in enumerate(("SCI", "SCE")):
        sheet = made.create_sheet(name)
        for row in (["unit", "percent"], ["geometry", "d/8"], ["sample", 400, 410, 420]):
            sheet.append(row)
        sheet.append(["a/white", *(44 - 4 * number + i for i in range(3))])
    path = tmp_path / "a.xlsx"
    made.save(path)
    with pytest.raises(InputError, match="1 is SCI and 1 is SCE"):
        read_session(path)
    session = read_session(path, only="SCE")
    assert (session.specular, session.spectra.values[0, 0]) == ("excluded", 0.40)


def test_readers_stay_within_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "last.xlsx"
    made = Workbook()
    sheet = made.active
    assert sheet is not None
    sheet["XFD1048576"] = 1
    made.save(path)
    with pytest.raises(InputError, match="column 16384"):
        read_session(path)
    monkeypatch.setattr(workbook, "MOST_CELLS", 5)
    path.write_bytes(book([["sample", 400, 410, 420], ["a/white", 0.4, 0.4, 0.4]]))
    with pytest.raises(InputError, match="more than 5 cells"):
        read_session(path)
    path = tmp_path / "long.csv"
    path.write_text("sample," + "4" * 1_000_001)
    with pytest.raises(InputError, match="line 1: it has 1,000,008 characters"):
        read_session(path)
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    before = time.monotonic()
    with pytest.raises(InputError, match="a pipe or a device"):
        read_session(pipe)
    assert time.monotonic() - before < 60  # it doesn't wait for somebody to write
    assert LARGEST <= 50_000_000
