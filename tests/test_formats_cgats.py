"""CGATS text: what real exporters write is read, what could be misread is refused.

What CGATS.17 and ISO 28178 lay down (keywords, data format, SPECTRAL_NM with SPECTRAL_PCT or
SPECTRAL_DEC) is from memory, as is the notation of geometries in CIE 15:2018. All numbers are
invented.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import format_cgats, parse_cgats
from tintladder.calibrate.formats.gathered import Said
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.formats.statements import parse_geometry
from tintladder.calibrate.optics.spectra import Flag, Spectra
from tintladder.database.commands.remedies import in_terminal

DATA = Path(__file__).parent / "data" / "formats"
GOOD = """CGATS.17
MEASUREMENT_GEOMETRY "di:8"
REFLECTANCE_UNIT "fraction"
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME SPECTRAL_NM400 SPECTRAL_NM410 SPECTRAL_NM420
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "masstone/black" 0.045 0.055 0.065
2 "masstone/white" 0.145 0.155 0.165
END_DATA
"""


def parse(text: str, **said: str) -> Session:
    return parse_cgats(text, "file.txt", "0" * 64, Said(**said))


def without(start: str) -> str:
    return "\n".join(line for line in GOOD.split("\n") if not line.startswith(start))


def refused(text: str, *words: str, **said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse(text, **said)
    line = in_terminal(caught.value)
    assert "\n" not in line
    for word in words:
        assert word in line


def test_a_session_with_repeats_and_a_missing_value() -> None:
    session = read_session(DATA / "repeats_fraction.txt")
    assert session.format == "ISO 28178 text"
    assert (session.unit, session.geometry, session.specular) == ("fraction", "di:8", "excluded")
    assert session.condition == "M1"
    assert session.date == "2026-05-04T10:15:00"
    assert session.device == "bench spectrophotometer, serial 1"
    assert session.header == {"ORIGINATOR": "Slipway Signs", "DESCRIPTOR": "ladder of ANCHOR"}
    spectra = session.spectra
    assert spectra.labels == ("bare/black", "masstone/black", "masstone/black", "1:1/white")
    np.testing.assert_array_equal(spectra.wavelengths, np.arange(400, 461, 10))
    assert spectra.values[2, 1] == pytest.approx(0.1015, abs=1e-12)
    assert spectra.flagged() == [("1:1/white", 420.0, Flag.MISSING)]


def test_an_ugly_file() -> None:
    session = read_session(DATA / "ugly_percent.txt")
    assert (session.unit, session.geometry, session.specular) == ("percent", "45:0", "excluded")
    assert session.date == "2026-05-04"
    assert session.spectra.labels == ("deep masstone/black", "deep 1:1/white")
    assert session.spectra.values[0, :2] == pytest.approx([0.0921, 0.1012], abs=1e-12)


def test_wavelengths_beside_each_value() -> None:
    session = read_session(DATA / "paired_percent.txt")
    assert (session.unit, session.geometry, session.specular) == ("percent", "8:di", "included")
    assert session.spectra.wavelengths.tolist() == list(range(400, 461, 10))
    assert session.spectra.values[1, 0] == pytest.approx(0.0931, abs=1e-12)


SPELLINGS = (
    *("SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "spectral_nm{}", "SPECTRAL_DEC{}"),
    *("NM_{}", "NM{}", "nm{}", "{}", "{}nm", "{}.0", "R{}", "R_{}"),
)


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_spellings_of_a_wavelength(spelling: str) -> None:
    session = parse(GOOD)
    text = GOOD
    for nm in (400, 410, 420):
        text = text.replace(f"SPECTRAL_NM{nm}", spelling.format(nm))
    np.testing.assert_array_equal(parse(text).spectra.values, session.spectra.values)


@pytest.mark.parametrize("word", ['""', "-", "NaN", "nan", "N/A", "--"])
def test_missing_values_are_flagged(word: str) -> None:
    spectra = parse(GOOD.replace("0.155", word)).spectra
    assert spectra.flagged() == [("masstone/white", 410.0, Flag.MISSING)]
    assert np.isnan(spectra.values[1, 1])


def test_tabs_with_empty_cells_and_unquoted_names() -> None:
    text = GOOD.replace('2 "masstone/white" 0.145 0.155 0.165', "2\ttint one/white\t0.145\t\t0.165")
    spectra = parse(text).spectra
    assert spectra.labels[1] == "tint one/white"
    assert spectra.flagged() == [("tint one/white", 410.0, Flag.MISSING)]


def test_samples_over_several_lines() -> None:
    text = GOOD.replace('1 "masstone/black" 0.045', '1 "masstone/black"\n0.045')
    np.testing.assert_array_equal(parse(text).spectra.values, parse(GOOD).spectra.values)


def test_small_excursions_are_kept_and_flagged() -> None:
    spectra = parse(GOOD.replace("0.045", "-0.001").replace("0.165", "1.02")).spectra
    assert [flag for _, _, flag in spectra.flagged()] == [Flag.BELOW_ZERO, Flag.ABOVE_ONE]
    assert spectra.values[0, 0] == -0.001


def test_the_sample_is_named_by_the_best_field_that_names_all() -> None:
    assert parse(GOOD.replace('"masstone/white"', '""')).spectra.labels == ("1", "2")
    assert parse(GOOD.replace("SAMPLE_NAME", "REMARK")).spectra.labels == ("1", "2")
    text = GOOD.replace("SAMPLE_NAME", "SAMPLE_LOC").replace("SAMPLE_ID", "COUNTER")
    assert parse(text).spectra.labels == ("masstone/black", "masstone/white")
    refused(GOOD.replace("SAMPLE_NAME", "A").replace("SAMPLE_ID", "B"), "SAMPLE_NAME")
    refused(
        without("2 ").replace('1 "masstone/black"', '"" ""').replace("SETS 2", "SETS 1"), "name"
    )


def test_sections_with_the_same_fields_are_one_session() -> None:
    section = GOOD[GOOD.index("NUMBER_OF_SETS") :]
    assert len(parse(GOOD + section).spectra) == 4
    other = GOOD[GOOD.index("NUMBER_OF_FIELDS") :].replace("420", "430")
    refused(GOOD + other, "several tables", "400-430 nm", '--only "table=1"')
    assert parse(GOOD + other, only="table=2").spectra.wavelengths[-1] == 430.0
    mixed = GOOD + 'MEASUREMENT_GEOMETRY "45:0"\n' + section
    refused(mixed, "geometry: of its readings 2 are di:8 and 2 are 45:0")
    assert parse(mixed, only="45:0").geometry == "45:0"


@pytest.mark.parametrize(
    ("text", "geometry"),
    [
        ("di:8", ("di:8", "included")),
        ("de:8", ("di:8", "excluded")),
        ("DI:8°", ("di:8", "included")),
        ("8:de", ("8:di", "excluded")),
        ("d/8", ("di:8", None)),
        ("8/d", ("8:di", None)),
        ("sphere d/8 SCE", ("di:8", "excluded")),
        ("d/8, specular included", ("di:8", "included")),
        ("45/0", ("45:0", "excluded")),
        ("0/45", ("45:0", "excluded")),
        ("45a:0", ("45:0", "excluded")),
        ("45°:0°", ("45:0", "excluded")),
        ("0 deg / 45 deg", ("45:0", "excluded")),
        ("di:8 SCE", None),
        ("sphere", None),
        ("0:0", None),
        ("d:0", None),
        ("45:0 or d:8", None),
    ],
)
def test_geometries(text: str, geometry: tuple[str, str | None] | None) -> None:
    assert parse_geometry(text) == geometry


def test_nothing_is_guessed() -> None:
    refused(without("REFLECTANCE_UNIT"), "--unit percent", "--unit fraction")
    refused(without("MEASUREMENT_GEOMETRY"), "--geometry di:8", "8:di", "45:0", "--specular")
    refused(GOOD.replace("di:8", "d/8"), "--specular included")
    refused(GOOD.replace('"di:8"', '"sphere"'), "--geometry di:8")
    assert parse(without("REFLECTANCE_UNIT"), unit="fraction").spectra.values[0, 0] == 0.045
    refused(without("REFLECTANCE_UNIT"), "still too dark", "--unit percent", unit="percent")
    assert parse(GOOD.replace("di:8", "d/8"), specular="excluded").specular == "excluded"
    told = parse(without("MEASUREMENT_GEOMETRY"), geometry="di:8", specular="excluded")
    assert (told.geometry, told.specular) == ("di:8", "excluded")
    assert parse(without("MEASUREMENT_GEOMETRY"), geometry="45:0").specular == "excluded"


def test_an_option_overrides_nothing() -> None:
    same = parse(GOOD, unit="fraction", geometry="di:8", specular="included")
    assert (same.unit, same.geometry, same.specular) == ("fraction", "di:8", "included")
    refused(GOOD, "unit is fraction here but percent by --unit", unit="percent")
    refused(GOOD, "--geometry", geometry="45:0")
    refused(GOOD, "--specular", specular="excluded")
    refused(GOOD.replace("di:8", "de:8"), "--geometry", geometry="di:8")
    refused(without("MEAS"), "--specular", geometry="45:0", specular="included")
    refused(GOOD, "--unit", unit="grams")
    refused(GOOD, "--geometry", geometry="sideways")
    refused(GOOD, "--specular", specular="perhaps")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"fraction"', '"absorbance"', ("line 3", "percent or fraction")),
        ('"di:8"', '"di:8"\nSPECULAR "excluded"', ("line 3", "specular", "line 2")),
        ('"di:8"', '"45:0"\nSPECULAR "included"', ("line 3", "specular")),
        ('"di:8"', '"di:8"\nSPECULAR "sometimes"', ("line 3", "included or excluded")),
        ('"di:8"', '"di:8"\nSAMPLE_STATE "damp"', ("line 3", "dry or wet")),
        ('"di:8"', '"di:8"\nFILTER "M0 and M1"', ("line 3", "M0, M1, M2, M3")),
        ('"di:8"', '"di:8', ("line 2", "quotation mark")),
        ("SETS 2", "SETS 3", ("NUMBER_OF_SETS says 3", "2 samples")),
        ("SETS 2", "SETS many", ("line 8", "number")),
        ("FIELDS 5", "FIELDS 6", ("NUMBER_OF_FIELDS says 6",)),
        ("END_DATA\n", "", ("END_DATA is missing",)),
        (" 0.165", "", ("line 11", "expected 5 values", "found 4")),
        (" 0.065", "", ("line 10", "found 9 up to line 11")),
        (" 0.165", " 0.165 0.175", ("line 11", "found 6")),
        ("0.155", "0.1x5", ("line 11 (masstone/white), 410 nm", "'0.1x5'")),
        ("0.155", "1e400", ("410 nm", "number")),
        ("0.155", "1_5", ("410 nm", "number")),
        ("0.155", "1.5", ("masstone/white at 410 nm", "1.3", "percent")),
        ("0.155", "-0.5", ("masstone/white at 410 nm", "-0.02")),
        ("SPECTRAL_NM410", "SPECTRAL_NM390", ("in no order", "390 nm comes after 400")),
        ("SPECTRAL_NM410", "SPECTRAL_NM400", ("400 nm stands twice",)),
        ("SPECTRAL_NM410", "SPECTRAL_NM41O", ("SPECTRAL_NM41O", "wavelength")),
        ("SPECTRAL_NM410", "XYZ_X", ("wavelengths", "found 2")),
        ("SPECTRAL_NM400", "SPECTRAL_NM330", ("340 to 830", "330")),
        ("SPECTRAL_NM420", "SPECTRAL_NM900", ("340 to 830", "900")),
        ("SPECTRAL_NM400", "SPECTRAL_PCT400", ("unit is percent",)),
        ("BEGIN_DATA\n", "BEGIN_DATA now\n", ("line 9", "line of its own")),
        ('2 "masstone/white"', '#2 "masstone/white"', ("line 11", "starts with #")),
    ],
)
def test_bad_files(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in GOOD
    refused(GOOD.replace(old, new, 1), *words)


def test_more_bad_files() -> None:
    refused("CGATS.17\n", "BEGIN_DATA")
    refused(without("2 ").replace('1 "m', '# 1 "m').replace("SETS 2", "SETS 0"), "#")
    refused("\n".join(GOOD.split("\n")[:7]) + "\nBEGIN_DATA\nEND_DATA\n", "no reading")
    refused("BEGIN_DATA\n1 2\nEND_DATA\n", "BEGIN_DATA_FORMAT")
    holed = GOOD.replace("SPECTRAL_NM420", "SPECTRAL_NM420 NM430 NM440 NM460")
    for last in ("0.065", "0.165"):
        holed = holed.replace(last, f"{last} 0.1 0.1 0.1")
    refused(holed.replace("FIELDS 5", "FIELDS 8"), "a wavelength is missing: 450 nm")
    paired = (DATA / "paired_percent.txt").read_text()
    refused(paired.replace("400 9.31", "405 9.31"), "differs from sample to sample")
    refused(paired.replace("SPECTRAL_PCT", "LAB_L", 1), "after SPECTRAL_NM")
    refused(paired.replace("SPECTRAL_PCT", "SPECTRAL_DEC", 1), "some")


labels = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1).filter(
    lambda text: text.strip()
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            labels,
            # A value that paint can have, then any: a whole spectrum of nothing is refused.
            st.tuples(st.floats(0.05, 1.3), *[st.floats(-0.02, 1.3) | st.just(float("nan"))] * 3),
        ),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from([("di:8", "included"), ("8:di", "excluded"), ("45:0", "excluded")]),
    st.sampled_from([None, "M0", "M3"]),
)
def test_written_and_read_again_it_is_the_same(samples, instrument, condition) -> None:
    values = np.array([row for _, row in samples])
    if np.isnan(values).all():
        return
    spectra = Spectra.from_values([400.0, 403.3, 406.6, 409.9], values, [n for n, _ in samples])
    session = Session(
        spectra,
        "made.txt",
        "",
        "CGATS.17 text",
        "fraction",
        geometry=instrument[0],
        specular=instrument[1],
        condition=condition,
        state="wet",
        date="2026-05-04",
        device='a "quoted" device',
        header={"ORIGINATOR": "Slipway Signs", "ROOM": "shed 2"},
    )
    again = parse_cgats(format_cgats(session, ["Invented."]), "made.txt", "")
    np.testing.assert_array_equal(again.spectra.values, values)
    np.testing.assert_array_equal(again.spectra.wavelengths, spectra.wavelengths)
    np.testing.assert_array_equal(again.spectra.flags, spectra.flags)
    assert again.spectra.labels == tuple(" ".join(name.split()) for name, _ in samples)
    assert replace(again, spectra=spectra) == session


def test_what_was_read_survives_writing() -> None:
    for name in ("repeats_fraction.txt", "ugly_percent.txt", "paired_percent.txt"):
        session = read_session(DATA / name)
        again = parse(format_cgats(session))
        np.testing.assert_array_equal(again.spectra.values, session.spectra.values)
        assert again.spectra.labels == session.spectra.labels
        assert again.header == session.header


def mutated(good: str) -> st.SearchStrategy[str]:
    """A good text with a few stretches of it deleted, doubled, or replaced by odd text."""
    odd = st.sampled_from(['"', "\t", "\n", "\r", ",", ";", "#", "-", "1e999", "NM_", "\x00", "９"])
    edit = st.tuples(st.integers(0, len(good)), st.integers(0, 40), odd | st.text(max_size=5))

    def apply(edits: list[tuple[int, int, str]]) -> str:
        text = good
        for at, length, new in edits:
            text = text[:at] + (new or text[at : at + length] * 2) + text[at + length :]
        return text

    return st.lists(edit, min_size=1, max_size=4).map(apply)


@settings(max_examples=300, deadline=None)
@given(st.text() | mutated(GOOD) | mutated((DATA / "paired_percent.txt").read_text()))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        session = parse(text)
    except InputError:
        return
    assert len(session.spectra) == len(session.spectra.values) > 0
