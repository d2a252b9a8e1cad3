"""Files that were made to do harm, up to 50 MB, given to every command that reads one.

Each is to end in under 30 s of processor time and 1 GB of memory, with one line or a right answer.
The command line is started anew for each, so that what it takes is its own.
"""

from __future__ import annotations

import io
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path
from struct import pack
from typing import NamedTuple

from tintladder.database.store.store import Store

from ..archive import RELEASES
from ..studio_fixtures import PAINTS_TOML
from .harness import benchmark

MB, LARGEST = 10**6, 50 * 10**6
SECONDS, GIGABYTE, MOST_SECONDS = 30.0, 10**9, 60
"""Of processor time; at the last the system ends it."""
PATIENCE = 900.0
"""Seconds by the clock: a machine may be busy with something else."""
HOUSE = Path(__file__).parent.parent.parent
HEADER = "CGATS.17\nSPECTRAL_NORM 1\nNUMBER_OF_FIELDS 3\nBEGIN_DATA_FORMAT\nSAMPLE_NAME "


def _zip(**members: bytes | int) -> bytes:
    """Pack members; a number is so many bytes of nothing."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, held in members.items():
            with packed.open(name.replace("__", "/"), "w", force_zip64=True) as part:
                if isinstance(held, bytes):
                    part.write(held)
                else:
                    for _ in range(held // MB):
                        part.write(bytes(MB))
    return made.getvalue()


def _workbook(sheet: bytes | int, strings: bytes | int = b"<sst/>") -> bytes:
    kinds = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    of_package = "http://schemas.openxmlformats.org/package/2006"
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    return _zip(**{
        "[Content_Types].xml": f'<Types xmlns="{of_package}/content-types"><Override PartName='
        f'"/xl/workbook.xml" ContentType="{kinds}.sheet.main+xml"/><Override PartName='
        f'"/xl/worksheets/sheet1.xml" ContentType="{kinds}.worksheet+xml"/><Override PartName='
        f'"/xl/sharedStrings.xml" ContentType="{kinds}.sharedStrings+xml"/></Types>'.encode(),
        "_rels/.rels": f'<Relationships xmlns="{of_package}/relationships"><Relationship Id="r1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>'.encode(),
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{of_package}/relationships">'
        f'<Relationship Id="r1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="r2" Type="{office}/sharedStrings" Target="sharedStrings.xml"/>'
        "</Relationships>".encode(),
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet name="a" '
        'sheetId="1" r:id="r1"/></sheets></workbook>'.encode(),
        "xl/worksheets/sheet1.xml": sheet if isinstance(sheet, int) else
        f'<worksheet xmlns="{main}"><sheetData>'.encode() + sheet + b"</sheetData></worksheet>",
        "xl/sharedStrings.xml": strings,
    })  # fmt: skip


def _png(width: int, height: int, colours: int, extra: bytes = b"") -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return pack(">I", len(data)) + kind + data + pack(">I", zlib.crc32(kind + data))

    packer, rows = zlib.compressobj(1), bytes(1 + width * colours)
    body = b"".join(packer.compress(rows) for _ in range(height)) + packer.flush()
    head = pack(">IIBBBBB", width, height, 8, 2 if colours == 3 else 0, 0, 0, 0)
    text = chunk(b"zTXt", b"note\0\0" + extra) if extra else b""
    size = chunk(b"pHYs", pack(">IIB", 11811, 11811, 1))
    whole = chunk(b"IHDR", head) + size + text + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + whole


def _release(**changed: bytes | int) -> bytes:
    """Return the newest archived release with members changed or added."""
    with zipfile.ZipFile(RELEASES[-1]) as packed:
        members: dict[str, bytes | int] = {name: packed.read(name) for name in packed.namelist()}
    at = next(iter(members)).partition("/")[0]
    return _zip(**members | {f"{at}/{name}": held for name, held in changed.items()})


def _laughs() -> bytes:
    names = [f"a{i}" for i in range(12)]
    lines = [f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in pairwise(names)]
    return f'<!DOCTYPE x [<!ENTITY a0 "ha">{"".join(lines)}]><CxF>&a11;</CxF>'.encode()


def _backup() -> bytes:
    said = {"made": "", "files": {"studio.db": {"sha256": "0" * 64, "bytes": 60 * 2**30}}}
    return _zip(**{"backup.json": json.dumps(said).encode(), "studio.db": 2000 * MB})


def _members() -> bytes:
    return _zip(**{f"a/{i}": b"" for i in range(200_000)})


class Harm(NamedTuple):
    """A file's name, what is in it (None: a pipe), and the command that is given it."""

    file: str
    held: Callable[[], bytes] | None
    command: str


def _text(piece: str, before: str = "", size: int = LARGEST) -> Callable[[], bytes]:
    return lambda: (before + piece * ((size - len(before)) // len(piece))).encode()


CXF = '<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>'
_ROW = b"<row><c><v>1</v></c></row>"
READ = "read {} --unit percent --geometry di:8 --specular included"
GRID = ",".join(str(nm) for nm in range(380, 740, 10))
HARMS: dict[str, Harm] = {
    "one line": Harm("a.csv", _text("a"), READ),
    "a line of commas": Harm("a.csv", _text(","), READ),
    "lines of nothing": Harm("a.csv", _text(" \n"), READ),
    "rows without end": Harm("a.csv", _text("s," + "0.5," * 35 + "0.5\n", f"Name,{GRID}\n"), READ),
    "a quote left open": Harm("a.csv", _text("b\n", 'Name,380\n"'), READ),
    "fields without end": Harm("a.txt", _text("SPECTRAL_NM ", HEADER), READ),
    "data without end": Harm(
        "a.txt", _text("s 1 2\n", HEADER + "NM_380 NM_390\nEND_DATA_FORMAT\nBEGIN_DATA\n"), READ
    ),
    "keywords without end": Harm("a.txt", _text('KEYWORD "a"\n', "CGATS.17\n"), READ),
    "the last cell": Harm(
        "a.xlsx", lambda: _workbook(b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'), READ
    ),
    "a sheet that swells": Harm("a.xlsx", lambda: _workbook(3000 * MB), READ),
    "rows that swell": Harm(
        "a.xlsx", lambda: _workbook(b"<row><c><v>1</v></c></row>" * 10**7), READ
    ),
    "strings that swell": Harm("a.xlsx", lambda: _workbook(b"<row/>", 2000 * MB), READ),
    "words of words": Harm("a.cxf", _laughs, READ),
    "tags in tags": Harm("a.cxf", _text("<a>", CXF), READ),
    "objects without end": Harm("a.cxf", _text('<Object Name="a"/>', CXF), READ),
    "a card without end": Harm("a.toml", _text("a = 1\n"), READ),
    "lists in lists": Harm("a.toml", _text("[", "a = ", 900_000), READ),
    "keys in keys": Harm("a.toml", _text("a.", "", 900_000), READ),
    "tables without end": Harm("a.toml", _text("[[paint]]\n", "", 4_900_000), "tubes load {}"),
    "a pipe as a card": Harm("a.toml", None, READ),
    "a pipe as paints": Harm("a.toml", None, "tubes load {}"),
    "a pipe as readings": Harm("a.txt", None, READ),
    "a pipe as a picture": Harm("a.png", None, "scan {}"),
    "a pipe as a photograph": Harm("a.png", None, "setout {}"),
    "a pipe as a release": Harm("a.zip", None, "verify {}"),
    "a pipe as a backup": Harm("a.zip", None, "restore {}"),
    "a picture that swells": Harm("a.png", lambda: _png(30_000, 30_000, 1), "scan {}"),
    "a picture as large as may be": Harm("a.png", lambda: _png(11_800, 11_800, 3), "scan {}"),
    "the same as a photograph": Harm("a.png", lambda: _png(11_800, 11_800, 3), "setout {}"),
    "the same as a target": Harm(
        "a.png", lambda: _png(11_800, 11_800, 3), "device scanner {} a.png"
    ),
    "a note that swells": Harm(
        "a.png", lambda: _png(90, 90, 3, zlib.compress(bytes(1000 * MB))), "scan {}"
    ),
    "a release that swells": Harm("a.zip", lambda: _zip(a__x=4500 * MB), "verify {}"),
    "members without end": Harm("a.zip", _members, "verify {}"),
    "a table without end": Harm(
        "a.zip", lambda: _release(**{"coefficients.csv": b"1,2\n" * 12 * MB}), "verify {}"
    ),
    "a description of lists": Harm(
        "a.zip", lambda: _release(**{"datapackage.json": b"[" * 40 * MB}), "verify {}"
    ),
    "a backup that swells": Harm("a.zip", _backup, "restore {}"),
}


def _harmed(harm: Harm, folder: Path) -> str:
    """What is wrong with how a command takes a file; empty where nothing is."""
    file = folder / harm.file
    with Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
    if harm.held is None:
        os.mkfifo(file)
    else:
        file.write_bytes(harm.held())
        if file.stat().st_size > LARGEST:
            raise AssertionError(f"{file} is larger than was said")
    words = [sys.executable, "-m", "tests.bench.hostile", *harm.command.format(file).split()]
    env = os.environ | {"PYTHONPATH": str(HOUSE), "OPENBLAS_NUM_THREADS": "1"}
    with (folder / "err").open("w+") as err, (folder / "out").open("w") as out:
        child = subprocess.Popen(words, cwd=folder, env=env, stdout=out, stderr=err)
        resource.prlimit(child.pid, resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
        end = time.monotonic() + PATIENCE
        while not (ended := os.wait4(child.pid, os.WNOHANG))[0]:
            time.sleep(0.05)
            if time.monotonic() > end:
                child.kill()
        child.returncode = os.waitstatus_to_exitcode(ended[1])
        used, size = ended[2].ru_utime + ended[2].ru_stime, ended[2].ru_maxrss * 1024
        err.seek(0)
        lines = err.read().splitlines()
    print(f"  {used:.0f} s, {size / 1e6:.0f} MB, {child.returncode}: {(lines or [''])[-1][:120]}")
    wrong = []
    if used > SECONDS:
        wrong.append(f"{used:.0f} s")
    if size > GIGABYTE:
        wrong.append(f"{size / 1e9:.1f} GB")
    if child.returncode not in (0, 2) or (child.returncode and len(lines) != 1):
        wrong.append(f"exit {child.returncode}, {len(lines)} lines: {' '.join(lines)[-200:]}")
    return ", ".join(wrong)


@cache
def _faults() -> dict[str, str]:
    found = {}
    for name, harm in HARMS.items():
        with tempfile.TemporaryDirectory() as folder:
            print(name)
            if wrong := _harmed(harm, Path(folder)):
                found[name] = wrong
    return found


@benchmark("trust.hostile_files", f"of {len(HARMS)} files", target=0)
def hostile() -> float:
    """Files that take more than 30 s, more than 1 GB, or end in anything but one line."""
    for name, wrong in _faults().items():
        print(f"{name}: {wrong}")
    return float(len(_faults()))


if __name__ == "__main__":
    from tintladder.database.cli import main

    main()
