"""Readers of files as a fuzzer sees them: bytes in, and nothing out but what was read or one error.

Each has seeds, which are good files, to be spoilt. Of an archive one member is spoilt and packed
again: spoilt whole, it would hardly ever come past its checksums.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image
from tintladder.calibrate.cards.card_file import parse_card
from tintladder.calibrate.cards.layout import layout_names, layout_text, parse_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.cxf_writing import format_cxf
from tintladder.calibrate.formats.read import read_session, read_spot_ink
from tintladder.calibrate.formats.table_writing import format_csv, format_xlsx
from tintladder.calibrate.formats.target_values import read_target_values
from tintladder.calibrate.instrument.profile_file import parse_profile, profile_names, profile_text
from tintladder.calibrate.scan.image import read_facts
from tintladder.database.releases.compare import Numbers
from tintladder.database.releases.export.spot_ink import as_spot_ink
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.paints_file import parse_paints
from tintladder.database.store.store import Store

from .studio_fixtures import PAINTS_TOML, coefficients, ladder, session
from .test_release import fill

SMALL = 400
"""Bytes of the longest piece that is copied or cut."""
_TEXTS = (
    *("", "0", "-1", "1e999", "NaN", "inf", "9" * 400, "1,5", "0x1F", "true", "null", "-"),
    *('"', "'", '"""', "[", "]", "{", "}", "[[drawdown]]", "=", ":", ";", ",", "\t", "#"),
    *("\n", "\r", "\r\n\r\n", "\x00", "\x1a", "\ufeff", "é", "𝟙", "٣", "..", "/", "\\", "%"),
    *("BEGIN_DATA\n", "END_DATA\n", "KEYWORD", "NUMBER_OF_SETS 3\n", "SPECTRAL_NM", "400"),
    *("<", ">", "</", "/>", "<!--", "<![CDATA[", "&lt;", "&#x110000;", "<!DOCTYPE x>", "xmlns"),
    *("9" * 5000, "[" * 3000, "a = " + "[" * 3000, '{"a":' * 3000, "<CxF>" * 3000, "a.b" * 9),
    *("2026-02-30", "1979-05-27T07:32:00Z", "inf", "1e-400", "[1, 2]", "{a = 1}", "\\u0000"),
)
WORDS = (*(text.encode() for text in _TEXTS), b"\xff", b"\xfe\xff", b"PK\x03\x04", b"\x80\x81")


@dataclass(frozen=True)
class Reader:
    """A reader, and good files for it."""

    read: Callable[[bytes], object]
    seeds: Callable[[], Sequence[bytes]]


def tried(name: str, data: bytes) -> None:
    """Give bytes to a reader; anything but its own error goes through."""
    try:
        READERS[name].read(data)
    except InputError as error:
        said = str(error)
        assert said and "\n" not in said, f"not one line: {said!r}"


def spoilt(data: bytes, edits: Sequence[tuple[float, int, int, bytes]]) -> bytes:
    """A file with pieces cut out, copied to elsewhere, or put in.

    Parameters
    ----------
    data : bytes
    edits : sequence of (where, how, size, word)
        `where` from 0 to 1; `how` 0 to 3; `size` of the piece in bytes.
    """
    for where, how, size, word in edits:
        at = round(where * len(data))
        piece = data[at : at + size]
        if how == 0:
            data = data[:at] + data[at + size :]
        elif how == 1:
            data = data[:at] + word + data[at:]
        elif how == 2:
            data = data[:at] + word + data[at + max(len(word), 1) :]
        else:
            to = round((where * 7.31 % 1) * len(data))
            data = data[:to] + piece + data[to:]
    return data


def _from_file(read: Callable[[Path], object], suffix: str) -> Callable[[bytes], object]:
    def reader(data: bytes) -> object:
        with tempfile.NamedTemporaryFile(suffix=suffix) as file:
            file.write(data)
            file.flush()
            return read(Path(file.name))

    return reader


def _from_text(parse: Callable[[str, str], object]) -> Callable[[bytes], object]:
    return lambda data: parse(data.decode(errors="replace"), "file")


def _stated(path: Path) -> object:
    """As a user reads it who says what the file may not."""
    try:
        return read_session(path)
    except InputError:
        return read_session(path, unit="percent", geometry="di:8", specular="included")


def _verified(path: Path) -> object:
    """What verify says of it; what it says is no error."""
    return verify_release(path)


def _member(archive: Callable[[], bytes], name: str, suffix: str, read: Callable[[Path], object]):
    """Read an archive of which one member is the data."""

    def reader(data: bytes) -> object:
        made = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(archive())) as old, zipfile.ZipFile(made, "w") as new:
            for info in old.infolist():
                same = not info.filename.endswith(name)
                new.writestr(info.filename, old.read(info) if same else data)
        return _from_file(read, suffix)(made.getvalue())

    def seeds() -> list[bytes]:
        with zipfile.ZipFile(io.BytesIO(archive())) as old:
            return [old.read(n) for n in old.namelist() if n.endswith(name)]

    return Reader(reader, seeds)


@cache
def _session():
    read = session(ladder(), specular="excluded")
    rows = [i for i, values in enumerate(read.spectra.values) if not np.isnan(values).any()]
    return replace(read, spectra=read.spectra.select(rows[:5]))


@cache
def _xlsx() -> bytes:
    return format_xlsx(_session())


@cache
def _release() -> bytes:
    with tempfile.TemporaryDirectory() as folder, Store.open(folder) as store:
        return publish(fill(store)).archive.read_bytes()


def _spot_inks() -> list[bytes]:
    numbers = Numbers("1.0.0", coefficients(("HULL", "KEEL")), {"KEEL": "HULL"})
    return [as_spot_ink(numbers, "KEEL", 75.0, "2026-05-07T10:00:00Z")]


def _cards() -> list[bytes]:
    folder = Path(__file__).parent.parent / "measurements" / "boatyard" / "cards"
    return [path.read_bytes() for path in sorted(folder.glob("*.toml"))[:3]]


@cache
def _pictures() -> list[bytes]:
    found = []
    image = Image.fromarray(np.full((24, 32, 3), 90, np.uint8))
    for kind in ("PNG", "JPEG", "TIFF"):
        out = io.BytesIO()
        image.save(out, kind, dpi=(300, 300))
        found.append(out.getvalue())
    return found


READERS: dict[str, Reader] = {
    "cgats": Reader(_from_file(_stated, ".txt"), lambda: [format_cgats(_session()).encode()]),
    "csv": Reader(_from_file(_stated, ".csv"), lambda: [format_csv(_session()).encode()]),
    "xlsx": Reader(_from_file(_stated, ".xlsx"), lambda: [_xlsx()]),
    "xlsx_sheet": _member(_xlsx, "sheet1.xml", ".xlsx", _stated),
    "cxf": Reader(
        _from_file(_stated, ".cxf"), lambda: [format_cxf(_session(), "2026-05-07T10:00:00Z")]
    ),
    "spot_ink": Reader(_from_file(read_spot_ink, ".cxf"), _spot_inks),
    "target": Reader(
        _from_file(read_target_values, ".txt"), lambda: [format_cgats(_session()).encode()]
    ),
    "card": Reader(_from_text(parse_card), _cards),
    "layout": Reader(
        _from_text(parse_layout), lambda: [layout_text(name)[0].encode() for name in layout_names()]
    ),
    "paints": Reader(_from_text(parse_paints), lambda: [PAINTS_TOML.encode()]),
    "profile": Reader(
        _from_text(parse_profile),
        lambda: [profile_text(name)[0].encode() for name in profile_names()],
    ),
    "picture": Reader(_from_file(read_facts, ".png"), _pictures),
    "release": Reader(_from_file(load_release, ".zip"), lambda: [_release()]),
    "release_descriptor": _member(_release, "datapackage.json", ".zip", load_release),
    "release_verified": _member(_release, "datapackage.json", ".zip", _verified),
    "release_sums": _member(_release, "SHA256SUMS", ".zip", _verified),
    "release_table": _member(_release, "coefficients.csv", ".zip", load_release),
}
