"""Profile files: an instrument's profile in TOML, read and checked."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Any, cast

import numpy as np

from ..cards.toml_text import Table, closest, load
from ..errors import InputError
from ..optics.spectra import Array
from ..optics.surface import GEOMETRIES, Geometry
from .corrections import InstrumentOptics
from .profile import Calibration, Due, LineSettings, Profile, Status
from .profile_messages import checksum_of, commands_of, frame_of, raw_text, texts, values_of

CONDITIONS = ("M0", "M1", "M2", "M3")
"""Measurement conditions of ISO 13655."""
_PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_FLOW = ("none", "hardware", "software")
_TOP = (
    "profile", "title", "geometry", "specular", "condition", "contact", "aperture_mm",
    "warm_up_minutes", "band_nm", "band_corrected",
)  # fmt: skip
_TABLES = (
    "line", "frame", "spectrum", "checksum", "status", "calibration", "due", "command",
)  # fmt: skip
_SPECTRUM = (
    "unit", "one", "first_nm", "last_nm", "step_nm", "separator", "missing", "full_scale", "form",
    "width", "decimal", "byte_order", "line_label",
)  # fmt: skip
_TEMPLATE = "template.toml"


def _inner(top: Table, key: str) -> Table:
    return Table(top.values.get(key, {}), top.file, ", ".join(p for p in (top.place, key) if p))


def _number(table: Table, key: str, otherwise: float, zero: bool = False) -> float:
    value = table.number(key, zero=zero)
    return otherwise if value is None else value


def _line(table: Table, framed: bool) -> LineSettings:
    table.check_keys(
        ("baud", "bits", "parity", "stop", "flow", "end", "reply_end", "echo", "prompt", "again",
         "timeout_s", "retries"),
        (),
        "",
    )  # fmt: skip
    usual = LineSettings()
    stop = _number(table, "stop", usual.stop)
    bits = _number(table, "bits", usual.bits)
    if stop not in (1, 1.5, 2):
        raise table.error("stop", f"expected 1, 1.5 or 2 stop bits, found {stop:g}", "correct it")
    if bits not in (5, 6, 7, 8):
        raise table.error("bits", f"expected 5 to 8 data bits, found {bits:g}", "correct it")
    # In a frame nothing else ends a message.
    end = raw_text(table, "end", empty=True)
    end = end if end is not None else "" if framed else "\r\n"
    reply_end = raw_text(table, "reply_end", empty=True)
    retries = table.count("retries", least=0)
    return LineSettings(
        baud=int(_number(table, "baud", usual.baud)),
        bits=int(bits),
        parity=_PARITY[table.choice("parity", tuple(_PARITY)) or "none"],
        stop=stop,
        flow=table.choice("flow", _FLOW) or "none",
        end=end.encode("latin-1"),
        reply_end=(end if reply_end is None else reply_end).encode("latin-1"),
        echo=bool(table.flag("echo")),
        prompt=(raw_text(table, "prompt") or "").encode("latin-1"),
        again=(raw_text(table, "again") or "").encode("latin-1"),
        timeout_s=_number(table, "timeout_s", usual.timeout_s),
        retries=usual.retries if retries is None else retries,
    )


def _wavelengths(table: Table) -> Array:
    first, last, step = (table.number(key) for key in ("first_nm", "last_nm", "step_nm"))
    if first is None or last is None or step is None:
        raise table.error(
            None,
            "expected the wavelengths of a reading",
            "write first_nm = 400, last_nm = 700 and step_nm = 10",
        )
    count = (last - first) / step
    if not 5 <= round(count) <= 2000 or abs(count - round(count)) > 1e-6:
        raise table.error(
            "last_nm",
            f"expected whole steps of {step:g} nm from {first:g}, at least five",
            "correct first_nm, last_nm or step_nm",
        )
    return np.linspace(first, last, round(count) + 1)


def _status(table: Table) -> Status:
    table.check_keys(
        ("ok", "busy", "white", "black", "errors", "flags", "failure", "alone"), (), ""
    )
    words: dict[str, dict[str, str]] = {}
    for key in ("errors", "flags"):
        said = table.values.get(key, {})
        if not isinstance(said, dict) or not all(isinstance(word, str) for word in said.values()):
            raise table.error(key, "expected codes and their words", 'write 5 = "the lamp is out"')
        words[key] = said
    if not all(bit.isdigit() for bit in words["flags"]):
        raise table.error("flags", "expected numbers, added up where several hold", "write 1, 2, 4")
    return Status(
        **{key: texts(table, key) for key in ("ok", "busy", "white", "black")},
        errors=dict(words["errors"]),
        flags={int(bit): word for bit, word in words["flags"].items()},
    )


def _calibration(table: Table) -> Calibration:
    table.check_keys(("order", "before_reading", "readings"), (), "")
    order = texts(table, "order") or Calibration().order
    if not set(order) <= {"white", "black"} or len(set(order)) < len(order):
        raise table.error("order", "expected white and black", 'write order = ["white", "black"]')
    return Calibration(
        cast(Any, order), bool(table.flag("before_reading")), table.count("readings", least=1)
    )


def _due(table: Table) -> Due:
    names = tuple(vars(Due()))
    table.check_keys(names, (), "")
    return Due(**{name: _number(table, name, getattr(Due(), name)) for name in names})


def parse_profile(text: str, file: str) -> Profile:
    """Read a profile.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    Profile

    Raises
    ------
    InputError
        Naming the line or key at fault.
    """
    top = Table(load(text, file, plain=False), file)
    top.check_keys((*_TOP, *_TABLES), (), "")
    name = top.text("profile")
    if name is None:
        raise top.error("profile", "the profile has no name", 'begin with profile = "NAME"')
    geometry = top.choice("geometry", GEOMETRIES)
    if geometry is None:
        raise top.error("geometry", "it is missing", f"write one of {', '.join(GEOMETRIES)}")
    specular = top.choice("specular", ("included", "excluded"))
    if specular is None and geometry != "45:0":
        raise top.error("specular", "it is missing", 'write "included" or "excluded"')
    contact = top.flag("contact")
    if contact is None:
        raise top.error("contact", "it is missing", "write true where it touches what it reads")
    frame = frame_of(_inner(top, "frame"), checksum_of(_inner(top, "checksum"), "bytes"))
    line = _line(_inner(top, "line"), frame is not None)
    spectrum = _inner(top, "spectrum")
    spectrum.check_keys(_SPECTRUM, (), "")
    unit = spectrum.choice("unit", ("fraction", "percent"))
    one = spectrum.number("one")
    if unit is None and one is None:
        raise spectrum.error("unit", "it is missing", 'write "fraction" or "percent"')
    wavelengths = _wavelengths(spectrum)
    usual = 100.0 if unit == "percent" else 1.0
    values = values_of(spectrum, wavelengths.size, usual if one is None else one)
    in_text = None if frame else checksum_of(_inner(top, "checksum"), "hexadecimal")
    status_table = _inner(top, "status")
    status = _status(status_table)
    commands = commands_of(_inner(top, "command"), line, in_text, values, status_table)
    if not status.ok and any(c.reply and "status" in c.reply.fields for c in commands.values()):
        raise top.error("status, ok", "it is missing", 'say which status is well: ok = ["0"]')
    return Profile(
        name=name,
        title=top.text("title") or name,
        file=file,
        text=text,
        geometry=cast(Geometry, geometry),
        specular=cast(Any, specular or "excluded"),
        condition=top.choice("condition", CONDITIONS),
        contact=contact,
        aperture_mm=top.number("aperture_mm"),
        warm_up_minutes=_number(top, "warm_up_minutes", 0.0, zero=True),
        optics=InstrumentOptics(top.number("band_nm"), bool(top.flag("band_corrected"))),
        line=line,
        frame=frame,
        wavelengths=wavelengths,
        unit=cast(Any, unit or "fraction"),
        values=values,
        status=status,
        calibration=_calibration(_inner(top, "calibration")),
        due=_due(_inner(top, "due")),
        commands=commands,
    )


def _shipped() -> Any:
    return resources.files("tintladder.calibrate.instrument") / "profiles"


def profile_names() -> tuple[str, ...]:
    """Names of the profiles that come with the program."""
    names = (entry.name for entry in _shipped().iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name != _TEMPLATE))


def template() -> str:
    """Return the commented template that a profile of one's own begins as."""
    return (_shipped() / _TEMPLATE).read_text(encoding="utf-8")


def profile_text(name_or_path: str | Path) -> tuple[str, str]:
    """Text of a profile that comes with the program or of a file of one's own, and its file's name.

    Raises
    ------
    InputError
        Where there is none of that name, or it can't be read.
    """
    file = str(name_or_path)
    if file in profile_names():
        return (_shipped() / f"{file}.toml").read_text(encoding="utf-8"), f"{file}.toml"
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise InputError(
            file, None, "there is no profile of that name", closest(file, profile_names())
        )
    try:
        if path.is_file():  # to read a pipe waits until somebody writes into it
            return path.read_text(encoding="utf-8-sig"), file
    except (OSError, UnicodeDecodeError):
        pass
    raise InputError(file, None, "no profile can be read there", "check the name")


def read_profile(name_or_path: str | Path) -> Profile:
    """Read a profile by its name, or from a TOML file of one's own.

    Raises
    ------
    InputError
        As `parse_profile`, and where there is none of that name.
    """
    return parse_profile(*profile_text(name_or_path))
