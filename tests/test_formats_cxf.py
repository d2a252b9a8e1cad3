"""CxF3 in and out, and every format's round trip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.cxf_writing import format_cxf
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.formats.table_writing import format_csv, format_xlsx
from tintladder.calibrate.optics.spectra import GRID, Spectra

CREATED = "2026-05-07T10:00:00Z"


def session(**changes):
    rng = np.random.default_rng(4)
    labels = ["masstone/black", "masstone/black", "1:1/white", "=bare/white"]
    values = rng.uniform(0.01, 1.0, (4, GRID.size))
    return Session(
        spectra=Spectra.from_values(GRID, values, labels),
        file="keel.cxf",
        sha256="",
        format="",
        unit="fraction",
        geometry="8:di",
        specular="excluded",
        condition="M1",
        state="dry",
        date="2026-05-06",
        device="Harbour 3 no. 12",
        header={"ORIGINATOR": "a sign shop & <sons>", "APERTURE": "8 mm"},
        **changes,
    )


def written(folder, name, read):
    path = folder / name
    data = {
        ".txt": lambda: format_cgats(read).encode(),
        ".csv": lambda: format_csv(read).encode(),
        ".xlsx": lambda: format_xlsx(read),
        ".cxf": lambda: format_cxf(read, CREATED),
    }[path.suffix]()
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("suffix", [".txt", ".csv", ".xlsx", ".cxf"])
@pytest.mark.parametrize(
    ("geometry", "specular"),
    [("di:8", "included"), ("8:di", "excluded"), ("45:0", "excluded")],
)
def test_a_round_trip_loses_nothing(tmp_path, suffix, geometry, specular):
    read = replace(session(), geometry=geometry, specular=specular)
    back = read_session(written(tmp_path, f"keel{suffix}", read))
    # The spreadsheet library writes sixteen digits; every other format writes all of them.
    close = 1e-15 if suffix == ".xlsx" else 0
    np.testing.assert_allclose(back.spectra.values, read.spectra.values, rtol=close, atol=0)
    np.testing.assert_array_equal(back.spectra.wavelengths, read.spectra.wavelengths)
    assert back.spectra.labels == read.spectra.labels
    for name in ("geometry", "specular", "condition", "state", "date", "device", "unit"):
        assert getattr(back, name) == getattr(read, name), name
    assert back.header["ORIGINATOR"] == "a sign shop & <sons>"
    assert back.header["APERTURE"] == "8 mm"


@pytest.mark.parametrize("suffix", [".txt", ".csv", ".xlsx"])
def test_odd_wavelengths_and_missing_values_come_back(tmp_path, suffix):
    wl = np.array([400.0, 403.5, 410.25, 425.0])
    values = np.array([[0.1, np.nan, 1e-5, 0.123456789012345678], [1 / 3, 0.0, -0.001, 1.02]])
    read = replace(session(), spectra=Spectra.from_values(wl, values, ["a/white", "b/white"]))
    back = read_session(written(tmp_path, f"keel{suffix}", read))
    close = 1e-15 if suffix == ".xlsx" else 0
    np.testing.assert_allclose(back.spectra.values, values, rtol=close, atol=0)
    np.testing.assert_array_equal(back.spectra.wavelengths, wl)


def test_cxf_refuses_what_it_cannot_say():
    values = session().spectra.values.copy()
    values[2, 3] = np.nan
    gap = Spectra.from_values(GRID, values, session().spectra.labels)
    with pytest.raises(InputError, match="sample 1:1/white: it can't say that a value is missing"):
        format_cxf(replace(session(), spectra=gap), CREATED)
    for wl in (GRID + 0.5, GRID + 30):
        shifted = Spectra.from_values(wl, session().spectra.values, session().spectra.labels)
        with pytest.raises(InputError, match="whole, equal steps from a wavelength of 360 to 400"):
            format_cxf(replace(session(), spectra=shifted), CREATED)


BOMB = '<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;">]>'
ROOT = '<CxF xmlns="http://colorexchangeformat.com/CxF3-core"'


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda t: BOMB + t, "declares a document type"),
        (lambda t: t.replace("CxF3-core", "CxF2-core"), "this looks like other XML or HTML"),
        (lambda t: "<html><body>0.5</body></html>", "this looks like other XML or HTML"),
        (lambda t: t[:-200], "it isn't CxF3 as the schema has it"),
        (lambda t: t.replace('Increment="10"', 'Increment="ten"'), "isn't CxF3 as the schema"),
        (lambda t: t.replace("Creator>", "Maker>"), "it isn't CxF3"),
        (lambda t: t.replace('Id="tintladder-1"', 'Id="other"'), "isn't there"),
        (lambda t: t.replace('StartWL="380"', 'StartWL="390"', 1), "several tables hold"),
        (lambda t: t.replace("ReflectanceSpectrum", "TransmittanceSpectrum"), "no reflectance"),
        (lambda t: t.replace(" 0.", " 7.", 1), "expected a reflectance from -0.02 to 1.3, got 7"),
    ],
)  # fmt: skip
def test_what_is_not_as_the_schema_has_it_is_one_line(tmp_path, change, expected):
    text = format_cxf(session(), CREATED).decode()
    path = tmp_path / "keel.cxf"
    path.write_text(change(text), encoding="utf-8")
    with pytest.raises(InputError, match=expected) as caught:
        read_session(path)
    assert "\n" not in str(caught.value)


def test_no_entity_is_expanded_in_any_encoding(tmp_path):
    text = BOMB + format_cxf(session(), CREATED).decode().replace("readings", "&c;", 1)
    path = tmp_path / "keel.cxf"
    path.write_bytes(text.encode("utf-16"))
    with pytest.raises(InputError, match="document type"):
        read_session(path)


def test_an_object_without_a_spectrum_is_named(tmp_path):
    text = format_cxf(session(), CREATED).decode()
    start = text.index("<ns0:ReflectanceSpectrum", text.index('Id="sample-3"'))
    last = "</ns0:ReflectanceSpectrum>"
    end = text.index(last, start) + len(last)
    path = tmp_path / "keel.cxf"
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    back = read_session(path)
    assert len(back.spectra) == 3
    assert back.header["OBJECTS_WITHOUT_SPECTRUM"] == "1:1/white"


def test_percent_is_read_only_if_the_user_says_so(tmp_path):
    read = session()
    percent = replace(read, spectra=replace(read.spectra, values=read.spectra.values * 2))
    path = written(tmp_path, "keel.cxf", percent)
    with pytest.raises(InputError, match="expected a reflectance from"):
        read_session(path)
    back = read_session(path, unit="percent")
    np.testing.assert_allclose(back.spectra.values, read.spectra.values / 50, rtol=1e-15)
