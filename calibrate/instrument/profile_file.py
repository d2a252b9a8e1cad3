"""Profile files: an instrument's profile in TOML, read and checked."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any, cast

import numpy as np

from ..cards.toml_text import Table, closest, load
from ..errors import InputError
from ..optics.spectra import Array
from ..optics.surface import GEOMETRIES, Geometry
from .corrections import InstrumentOptics
from .profile import COMMANDS, Command, Due, LineSettings, Profile, Status
from .reply import CHECKSUMS, FIELDS, Grammar, fields_of

CONDITIONS = ("M0", "M1", "M2", "M3")
"""Measurement conditions of ISO 13655."""
_PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}
_FLOW = ("none", "hardware", "software")
_TOP = (
    "profile", "title", "geometry", "specular", "condition", "contact", "aperture_mm",
    "warm_up_minutes", "band_nm", "band_corrected",
)  # fmt: skip
_TABLES = ("line", "spectrum", "checksum", "status", "due", "command")
_NEEDED = {
    "measure": ("values",),
    "lamp": ("hours",),
    "error": ("status",),
}
"""Fields that the reply to a command can't do without."""
_TEMPLATE = "template.toml"


def _texts(table: Table, key: str) -> tuple[str, ...]:
    value = table.values.get(key, [])
    if not isinstance(value, list) or not all(isinstance(each, str) and each for each in value):
        raise table.error(key, "expected a list of texts", 'write it as in ["0", "00"]')
    return tuple(value)


def _raw(table: Table, key: str) -> str | None:
    """Return a text as it stands: line ends and spaces count here."""
    value = table.values.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value or any(ord(letter) > 255 for letter in value):
        raise table.error(key, "expected a text of single bytes", r'write it as in "*IDN?" or "\n"')
    return value


def _inner(top: Table, key: str) -> Table:
    return Table(top.values.get(key, {}), top.file, ", ".join(p for p in (top.place, key) if p))


def _number(table: Table, key: str, otherwise: float, zero: bool = False) -> float:
    value = table.number(key, zero=zero)
    return otherwise if value is None else value


def _line(table: Table) -> LineSettings:
    table.check_keys(
        ("baud", "bits", "parity", "stop", "flow", "end", "reply_end", "timeout_s", "retries"),
        (),
        "",
    )
    usual = LineSettings()
    stop = _number(table, "stop", usual.stop)
    bits = _number(table, "bits", usual.bits)
    if stop not in (1, 1.5, 2):
        raise table.error("stop", f"expected 1, 1.5 or 2 stop bits, found {stop:g}", "correct it")
    if bits not in (5, 6, 7, 8):
        raise table.error("bits", f"expected 5 to 8 data bits, found {bits:g}", "correct it")
    end = _raw(table, "end")
    retries = table.count("retries", least=0)
    return LineSettings(
        baud=int(_number(table, "baud", usual.baud)),
        bits=int(bits),
        parity=_PARITY[table.choice("parity", tuple(_PARITY)) or "none"],
        stop=stop,
        flow=table.choice("flow", _FLOW) or "none",
        end=usual.end if end is None else end.encode("latin-1"),
        reply_end=(_raw(table, "reply_end") or end or "\r\n").encode("latin-1"),
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
    table.check_keys(("ok", "busy", "white", "black", "errors"), (), "")
    errors = table.values.get("errors", {})
    if not isinstance(errors, dict) or not all(isinstance(word, str) for word in errors.values()):
        raise table.error("errors", "expected codes and their words", 'write 5 = "the lamp is out"')
    return Status(
        **{key: _texts(table, key) for key in ("ok", "busy", "white", "black")}, errors=dict(errors)
    )


def _due(table: Table) -> Due:
    names = tuple(vars(Due()))
    table.check_keys(names, (), "")
    return Due(**{name: _number(table, name, getattr(Due(), name)) for name in names})


def _grammar(table: Table, name: str, checksum: str | None) -> Grammar | None:
    pattern = _raw(table, "reply")
    needed = _NEEDED.get(name, ())
    if pattern is None:
        if needed:
            raise table.error(
                "reply", "it is missing", f'write reply = "{{{needed[0]}}}" or the like'
            )
        return None
    fields = fields_of(pattern)
    _check_fields(table, fields, needed)
    if "}{" in pattern:
        raise table.error("reply", "two fields touch", "write what stands between them")
    if "checksum" not in fields:
        return Grammar(pattern, None)
    if checksum is None:
        raise table.error("reply", "its checksum isn't described", "add [checksum] with kind")
    if not pattern.endswith("{checksum}"):
        raise table.error("reply", "the checksum must come last", "put the rest in reply_end")
    return Grammar(pattern, checksum)


def _check_fields(table: Table, fields: Sequence[str], needed: Sequence[str]) -> None:
    for each in fields:
        if each not in FIELDS:
            raise table.error("reply", f"there is no field {{{each}}}", closest(each, FIELDS))
    for each in needed:
        if each not in fields:
            raise table.error("reply", f"it lacks {{{each}}}", "write it where it stands")
    if len(set(fields)) < len(fields):
        raise table.error("reply", "a field stands in it twice", "leave one of them")


def _commands(top: Table, line: LineSettings, checksum: str | None) -> dict[str, Command]:
    tables = _inner(top, "command")
    tables.check_keys(COMMANDS, (), "")
    found = {}
    for name in tables.values:
        table = _inner(tables, name)
        table.check_keys(("send", "reply", "reply_end", "timeout_s"), (), "")
        send = _raw(table, "send")
        if send is None:
            raise table.error("send", "it is missing", 'write send = "..."')
        reply_end = _raw(table, "reply_end")
        found[name] = Command(
            send.encode("latin-1"),
            _grammar(table, name, checksum),
            line.reply_end if reply_end is None else reply_end.encode("latin-1"),
            _number(table, "timeout_s", line.timeout_s),
        )
    if "measure" not in found:
        raise tables.error("measure", "it is missing", "say what makes the instrument read")
    return found


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
    top = Table(load(text, file), file)
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
    line = _line(_inner(top, "line"))
    spectrum = _inner(top, "spectrum")
    spectrum.check_keys(("unit", "first_nm", "last_nm", "step_nm", "separator", "missing"), (), "")
    unit = spectrum.choice("unit", ("fraction", "percent"))
    if unit is None:
        raise spectrum.error("unit", "it is missing", 'write "fraction" or "percent"')
    check = _inner(top, "checksum")
    check.check_keys(("kind",), (), "")
    kind = check.choice("kind", tuple(CHECKSUMS))
    status = _status(_inner(top, "status"))
    commands = _commands(top, line, kind)
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
        wavelengths=_wavelengths(spectrum),
        unit=cast(Any, unit),
        separator=_raw(spectrum, "separator") or ",",
        missing=_texts(spectrum, "missing"),
        status=status,
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
        return path.read_text(encoding="utf-8-sig"), file
    except (OSError, UnicodeDecodeError):
        raise InputError(file, None, "no profile can be read there", "check the name") from None


def read_profile(name_or_path: str | Path) -> Profile:
    """Read a profile by its name, or from a TOML file of one's own.

    Raises
    ------
    InputError
        As `parse_profile`, and where there is none of that name.
    """
    return parse_profile(*profile_text(name_or_path))
