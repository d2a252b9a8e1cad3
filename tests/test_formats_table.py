"""Spectra as CSV, TSV and XLSX, samples in rows or columns. All numbers are invented."""

import io
import zipfile
from pathlib import Path

import colour
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats import workbook
from tintladder.calibrate.formats.gathered import Said
from tintladder.calibrate.formats.read import LARGEST, read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.formats.table import parse_cells, parse_table
from tintladder.calibrate.optics.spectra import Flag
from tintladder.database.commands.remedies import in_terminal

from .test_formats_cgats import GOOD as CGATS
from .test_formats_cgats import mutated

DATA = Path(__file__).parent / "data" / "formats"
PATCHES = ("bare/black", "masstone/black", "masstone/white", "1:1/white")
ROWS = """# unit: percent
# geometry: di:8
sample,400,410,420
masstone/black,4.5,5.5,6.5
masstone/white,14.5,15.5,16.5
"""
COLUMNS = """unit,percent
geometry,di:8
nm,masstone/black,masstone/white
400,4.5,14.5
410,5.5,15.5
420,6.5,16.5
"""


def parse(text: str, **said: str) -> Session:
    return parse_table(text, "file.csv", "0" * 64, Said(**said))


def refused(text: str, *words: str, **said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(text, **said)
    line = in_terminal(caught.value)
    assert "\n" not in line
    for word in words:
        assert word in line


def test_rows_with_semicolons_and_decimal_commas() -> None:
    session = read_session(DATA / "rows_decimal_comma.csv")
    assert session.format == "CSV table (semicolons), samples in rows"
    assert (session.unit, session.geometry, session.specular) == ("percent", "di:8", "included")
    assert session.header["operator"] == "Büro"
    assert session.spectra.labels == PATCHES
    same = read_session(DATA / "columns.csv").spectra
    np.testing.assert_allclose(session.spectra.values, same.values, rtol=0, atol=1e-12)


def test_columns_agree_with_a_general_reader(tmp_path: Path) -> None:
    session = read_session(DATA / "columns.csv")
    assert session.format == "CSV table (commas), samples in columns"
    assert (session.geometry, session.specular) == ("45:0", "excluded")
    # Outside check: colour-science reads the same table, freed of its statements.
    bare = tmp_path / "bare.csv"
    bare.write_text("\n".join((DATA / "columns.csv").read_text().split("\n")[3:]))
    theirs = colour.read_sds_from_csv_file(str(bare))
    assert tuple(theirs) == session.spectra.labels == PATCHES
    for label, ours in zip(session.spectra.labels, session.spectra.values, strict=True):
        np.testing.assert_array_equal(theirs[label].wavelengths, session.spectra.wavelengths)
        np.testing.assert_array_equal(theirs[label].values, ours)


def test_tabs_in_utf16() -> None:
    session = read_session(DATA / "rows_utf16.tsv")
    assert session.format == "TSV table, samples in rows"
    assert (session.geometry, session.specular) == ("di:8", "excluded")
    columns = read_session(DATA / "columns.csv")
    np.testing.assert_array_equal(session.spectra.values, columns.spectra.values)


def test_rows_and_columns_say_the_same() -> None:
    rows, columns = parse(ROWS), parse(COLUMNS)
    assert rows.spectra.labels == columns.spectra.labels
    np.testing.assert_array_equal(rows.spectra.values, columns.spectra.values)


@pytest.mark.parametrize(
    "text",
    [
        ROWS.replace("\n", "\r\n"),
        ROWS.replace("\n", "\r"),
        "\ufeff" + ROWS,
        ROWS.replace(",", "\t"),
        ROWS.replace(",", ";"),
        ROWS.replace(",", ";").replace(".", ","),
        ROWS.replace("masstone/black", '"masstone/black"').replace("5.5,6.5", '"5.5", 6.5')
        + "\n\n",
        ROWS.replace("sample", "Sample name").replace("400", "NM400").replace("410", "410 nm"),
        ROWS.replace("sample", ""),
        ROWS.replace("sample", "Remark"),
        ROWS.replace("# unit: percent", '"# unit: percent",,,'),
        ROWS.replace("# unit: percent", "# unit = %"),
        ROWS.replace("# unit: percent\n", "").replace("sample,400", "sample,SPECTRAL_PCT400"),
        COLUMNS.replace("nm,", "Wavelength [nm],"),
        COLUMNS.replace("nm,", ","),
        COLUMNS.replace("unit,", "Unit:,"),
        COLUMNS.replace(",", ";").replace(".", ","),
        COLUMNS.replace("\n", ",,\n"),
    ],
)
def test_ways_to_write_one_table(text: str) -> None:
    session, plain = parse(text), parse(ROWS)
    np.testing.assert_array_equal(session.spectra.values, plain.spectra.values)
    assert session.spectra.labels == plain.spectra.labels
    assert session.unit == "percent"


def test_other_columns_and_titles_are_not_spectra() -> None:
    text = ROWS.replace("sample,400", "L*,no,sample,400").replace("mass", "30,7,mass")
    assert parse("Session of the shed\n" + text).spectra.labels == parse(ROWS).spectra.labels
    assert parse("2 cards of the shed\n" + COLUMNS).spectra.labels == parse(COLUMNS).spectra.labels
    header = parse("Session of the shed\n" + ROWS + "# checked twice\n").header
    assert header == {"line 7": "# checked twice", "line 1": "Session of the shed"}


def test_missing_values_are_flagged() -> None:
    expected = [("masstone/white", 410.0, Flag.MISSING)]
    for word in ("", "-", "NaN", "N/A", "#N/A"):
        assert parse(ROWS.replace("15.5", word)).spectra.flagged() == expected
        assert parse(COLUMNS.replace("15.5", word)).spectra.flagged() == expected
    bare = parse(ROWS.replace("15.5,16.5", ",")).spectra
    assert [nm for _, nm, _ in bare.flagged()] == [410.0, 420.0]


def test_cells_that_may_have_moved_are_refused() -> None:
    refused(ROWS.replace(",15.5,16.5", ""), "line 5", "expected 4 cells")
    refused(ROWS.replace("sample,400,410", "sample,400,,410"), "line 4", "expected 5 cells")
    moved = ROWS.replace("400,410", "400,,410").replace(".5\n", ".5,1\n")
    refused(moved, "line 4", "'5.5' stands where the header has no wavelength")
    refused(COLUMNS.replace("masstone/white", "masstone,white"), "line 4", "expected 4 cells")
    refused(COLUMNS.replace("410,5.5", "410,\n,5.5"), "line 5", "expected 3 cells")
    refused(COLUMNS.replace("410,5.5,15.5", "410,,\n,5.5,15.5"), "column 2", "no wavelength")


def test_samples_with_numbers_for_names() -> None:
    text = ROWS.replace("masstone/black", "401").replace("masstone/white", "402") + "403,7,8,9\n"
    assert parse(text).spectra.labels == ("401", "402", "403")
    text = COLUMNS.replace("masstone/black,masstone/white", "401,402,403")
    text = text.replace("4.5\n", "4.5,9\n").replace("5.5\n", "5.5,9\n").replace("6.5\n", "6.5,9\n")
    assert parse(text).spectra.labels == ("401", "402", "403")
    refused(text.replace("nm,", "what,"), "both a row and a column", '"nm"')


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("# unit: percent\n", "", ("--unit percent", "--unit fraction")),
        ("# geometry: di:8\n", "", ("--geometry di:8",)),
        ("percent", "densities", ("line 1, unit", "percent or fraction")),
        ("percent", "fraction", ("masstone/black at 400 nm", "--unit percent")),
        ("15.5", "x", ("line 5 (masstone/white), 410 nm", "'x'")),
        ("15.5", "15,5", ("line 5", "decimal comma")),
        ("410", "390", ("line 3", "in no order")),
        ("410,420", "410,41S,420", ("line 3, 41S", "wavelength")),
        ("400,410,420", "400,410,420,430,450", ("440 nm",)),
        ("400,410,420", "320,400,410,420", ("320",)),
        ("400,410,420", "20,30,40", ("neither a row nor a column",)),
        ("masstone/white", "", ("line 5", "no name")),
        ("masstone/white", '"masstone/white', ("quotation marks",)),
        ("masstone/white", "#2", ("line 5", "starts with #")),
        ("sample,400", "colour,remark,400", ("names",)),
        ("masstone/black,4.5,5.5,6.5\nmasstone/white,14.5,15.5,16.5\n", "", ("no reading",)),
        ("4.5,5.5,6.5\nmasstone/white,14.5,15.5,16.5\n", ",,", ("no reading",)),
    ],
)
def test_bad_tables(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in ROWS
    text = ROWS.replace(old, new, 1)
    if old == "sample,400":
        text = text.replace("masstone", "a,masstone")
    refused(text, *words)


def test_options_fill_in_what_a_table_leaves_out() -> None:
    bare = ROWS[ROWS.index("sample") :]
    session = parse(bare, unit="percent", geometry="45:0")
    assert (session.unit, session.geometry) == ("percent", "45:0")
    refused(ROWS, "--unit", unit="fraction")


def book_of(**sheets: list[list[object]]) -> bytes:
    buffer = io.BytesIO()
    with pd.ExcelWriter(buffer, engine="openpyxl") as writer:
        for name, rows in sheets.items():
            pd.DataFrame(rows).to_excel(writer, sheet_name=name, header=False, index=False)
    return buffer.getvalue()


SHEET: list[list[object]] = [
    ["unit", "fraction", None, None],
    ["geometry", "di:8", None, None],
    ["sample", 400, 410.0, "420"],
    ["masstone/black", 0.1, 0.2, None],
    ["masstone/white", 0.3, "0,4", 0.5],
]


def test_spreadsheets(tmp_path: Path) -> None:
    path = tmp_path / "readings.xlsx"
    path.write_bytes(book_of(notes=[["to do"]], readings=SHEET))
    session = read_session(path)
    assert session.format == "XLSX sheet readings, samples in rows"
    np.testing.assert_array_equal(session.spectra.values, [[0.1, 0.2, np.nan], [0.3, 0.4, 0.5]])
    path.write_bytes(book_of(turned=[list(row) for row in zip(*SHEET[2:], strict=True)]))
    turned = read_session(path, unit="fraction", geometry="di:8")
    np.testing.assert_array_equal(turned.spectra.values, session.spectra.values)
    for raw, word in (
        (book_of(a=SHEET, b=SHEET), "several sheets"),
        (book_of(a=[["nothing", 1]]), "neither a row nor a column"),
        (book_of(a=SHEET)[:-40], "damaged"),
    ):
        path.write_bytes(raw)
        with pytest.raises(InputError, match=word):
            read_session(path)


def test_a_spreadsheet_that_swells_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "readings.xlsx"
    path.write_bytes(book_of(readings=SHEET))
    monkeypatch.setattr(workbook, "UNPACKED", 1000)
    with pytest.raises(InputError, match="unpacks to 0 MB, far more"):
        read_session(path)


def test_a_session_knows_its_file(tmp_path: Path) -> None:
    # sha256sum of this text by coreutils.
    path = tmp_path / "a.csv"
    path.write_text(ROWS)
    session = read_session(path)
    assert session.file == str(path)
    assert session.sha256 == "b5031ed2f9690a481ba3a5db827a4e80655c52ce0023a6a69d6aa1597de32930"


def test_files_that_are_no_readings(tmp_path: Path) -> None:
    path = tmp_path / "thing"
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.writestr("a.txt", "a")
    for raw, word in (
        (b"", "empty"),
        (b" \r\n", "empty"),
        (b"%PDF-1.7 x", "PDF"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"II*\x00\x00", "TIFF"),
        (b"SQLite format 3\x00", "database"),
        (b"\x00\x01\x02", "binary"),
        (b"\xff\xfe\x00\xd8", "UTF-16"),
        (zipped.getvalue(), "zip archive"),
        (b"PK\x03\x04 and no more", "damaged"),
        (b'<?xml version="1.0"?><a/>', "XML"),
        (b'card = "a"\n[[drawdown]]\n', "card file"),
        (b"Dear all,\nno readings today.\n", "spectra"),
    ):
        path.write_bytes(raw)
        with pytest.raises(InputError, match=word):
            read_session(path)
    with pytest.raises(InputError, match="folder"):
        read_session(tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read_session(tmp_path / "nowhere.txt")
    with path.open("wb") as big:
        big.truncate(LARGEST + 1)
    with pytest.raises(InputError, match="50 MB"):
        read_session(path)


def test_encodings_and_the_end_of_file_mark(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    text = CGATS.replace("masstone/white", "Töne/white")
    for raw in (
        text.encode("utf-8"),
        text.encode("utf-8-sig"),
        text.encode("utf-16"),
        text.encode("cp1252"),
        text.encode("utf-8") + b"\x1a",
    ):
        path.write_bytes(raw)
        assert read_session(path).spectra.labels == ("masstone/black", "Töne/white")


@settings(max_examples=200, deadline=None)
@given(st.text() | mutated(ROWS) | mutated(COLUMNS))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        session = parse(text)
    except InputError:
        return
    assert len(session.spectra) == len(session.spectra.values) > 0


cell = st.sampled_from(["400", "410", "420", "430", "0.5", "", "sample", "nm", "#", "a"]) | st.text(
    max_size=4
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(cell, max_size=6), max_size=7))
def test_any_cells_are_read_or_refused(table: list[list[str]]) -> None:
    try:
        parse_cells(table, "a.xlsx", "", Said(unit="fraction", geometry="45:0"))
    except InputError:
        return


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=60) | st.sampled_from([b"PK\x03\x04", b"CGATS", b"\xff\xfe"]))
def test_any_bytes_are_refused(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    path = tmp_path_factory.mktemp("bytes") / "x"
    path.write_bytes(raw)
    with pytest.raises(InputError):
        read_session(path)
