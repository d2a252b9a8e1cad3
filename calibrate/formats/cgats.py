"""CGATS.17 / ISO 28178 text: keywords and values, then a table of samples between BEGIN and END.

Exporters take liberties with it, and those are read too; what could be misread is refused.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import InputError
from . import cells
from .gathered import Said, session_of
from .headings import Wavelength, almost_wavelength, in_order, wavelength
from .rows import Sample, Table
from .session import Session
from .statements import Statement, Unit

_TOKEN = re.compile(r'"(?:[^"]|"")*"|\S+')
_IDENTIFIER = re.compile(r"\s*(?:CGATS|ISO *28178|ISO *12642|IT8)\S*\s*", re.IGNORECASE)
_BEGIN = re.compile(r"^\s*BEGIN_DATA\s*$", re.IGNORECASE | re.MULTILINE)
_SAYS_NOTHING = Said()
_STANDARD = ("ORIGINATOR", "DESCRIPTOR", "CREATED", "INSTRUMENTATION", "MEASUREMENT_GEOMETRY")
"""Keywords that need no declaration."""


@dataclass
class _Section:
    """One data section: its fields and, for each sample, the line it starts on and its cells.

    Its statements are those above it, behind the section before.
    """

    fields: list[str]
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    statements: list[Statement] = field(default_factory=list)
    where: str = ""


def looks_like_cgats(text: str) -> bool:
    """Whether a text is CGATS by its first line or its data section."""
    return bool(_BEGIN.search(text) or _IDENTIFIER.match(text))


def _tokens(line: str, file: str, number: int) -> list[str]:
    tokens = []
    for token in _TOKEN.findall(line):
        if token.startswith('"'):
            if len(token) < 2 or not token.endswith('"'):
                raise InputError(
                    file, f"line {number}", "a quotation mark is left open", "close it"
                )
            token = token[1:-1].replace('""', '"')
        tokens.append(token)
    return tokens


class _Parser:
    """Goes through the lines once, and keeps statements and the samples of all data sections."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.statements: list[Statement] = []
        self.sections: list[_Section] = []
        self.identifier = ""
        self.fields: list[str] = []
        self.counts: dict[str, int] = {}
        self.lines = enumerate(re.split(r"\r\n|\r|\n", text.lstrip("\ufeff")), start=1)
        for number, line in self.lines:
            if line.strip() and not line.lstrip().startswith("#"):
                self.keyword(number, line)
        if not self.sections:
            raise self.error(
                None, "there is no BEGIN_DATA section in it", "export the session again"
            )
        # What stands behind the last section is of the whole file.
        self.sections[0].statements += self.statements

    def error(self, number: int | None, expected: str, do: str) -> InputError:
        return InputError(self.file, f"line {number}" if number else None, expected, do)

    def keyword(self, number: int, line: str) -> None:
        tokens = _tokens(line, self.file, number)
        key = tokens[0].upper()
        if key in ("BEGIN_DATA", "BEGIN_DATA_FORMAT", "END_DATA", "END_DATA_FORMAT"):
            if len(tokens) > 1 or key.startswith("END"):
                raise self.error(number, f"{key} is out of place", "put it on a line of its own")
            if key == "BEGIN_DATA":
                self.data(number)
            else:
                self.data_format(number)
        elif not self.statements and not self.sections and _IDENTIFIER.fullmatch(line):
            self.identifier = line.strip()
        elif key in ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS"):
            if len(tokens) < 2 or not re.fullmatch(r"[0-9]{1,9}", tokens[1]):
                raise self.error(number, f"expected a number after {key}", "correct it")
            self.counts[key] = int(tokens[1])
        elif key != "KEYWORD":  # KEYWORD only declares a word; it states nothing itself.
            value = " ".join(tokens[1:])
            if '"' in line and len(tokens) > 2 and tokens[2].startswith("#"):
                value = tokens[1]
            self.statements.append(Statement(f"line {number}", tokens[0], value))

    def until(self, end: str, begun: int) -> list[tuple[int, str]]:
        found: list[tuple[int, str]] = []
        for number, line in self.lines:
            if line.strip().upper() == end:
                return found
            found.append((number, line))
        raise self.error(
            begun, f"{end} is missing, the file may be cut short", "export the session again"
        )

    def data_format(self, number: int) -> None:
        self.fields = [
            token
            for at, line in self.until("END_DATA_FORMAT", number)
            if not line.lstrip().startswith("#")
            for token in _tokens(line, self.file, at)
        ]
        said = self.counts.pop("NUMBER_OF_FIELDS", len(self.fields))
        if said != len(self.fields):
            raise self.error(
                number,
                f"NUMBER_OF_FIELDS says {said}, but {len(self.fields)} fields are named",
                "export the session again, or correct the count",
            )

    def cells(self, number: int, line: str) -> list[str]:
        """Cells of a line; tabs separate them if that alone makes the line whole."""
        size = len(self.fields)
        if "\t" in line:
            tabbed = [cell.strip() for cell in line.split("\t")]
            while len(tabbed) > size and not tabbed[-1]:
                tabbed.pop()
            if len(tabbed) == size:
                return [
                    cell[1:-1].replace('""', '"') if re.fullmatch('".*"', cell) else cell
                    for cell in tabbed
                ]
        tokens = _tokens(line, self.file, number)
        if len(tokens) > size and tokens[size].startswith("#"):
            tokens = tokens[:size]
        return tokens

    def data(self, begun: int) -> None:
        size = len(self.fields)
        if not size:
            raise self.error(
                begun, "BEGIN_DATA comes before any BEGIN_DATA_FORMAT", "export the session again"
            )
        section = _Section(self.fields, [], self.statements, f"line {begun}")
        self.statements = []
        spectral = sum(wavelength(name) is not None for name in self.fields)
        row: list[str] = []
        start = begun
        for number, line in self.until("END_DATA", begun):
            if line.lstrip().startswith("#"):
                if cells.commented_reading(line, max(spectral, cells.FEWEST)):
                    raise self.error(
                        number,
                        "a line of the data starts with # yet looks like a reading",
                        'quote the sample\'s name ("#...") or delete the line',
                    )
                continue
            # A sample may run over several lines, but ends where a line ends.
            if not row:
                start = number
            row = row + (self.cells(number, line) if line.strip() else [])
            if len(row) > size:
                raise self.error(
                    start,
                    f"expected {size} values for a sample, found {len(row)}"
                    + (f" up to line {number}" if number > start else ""),
                    "quote names that hold spaces, and write - where a value is missing",
                )
            if len(row) == size:
                section.rows.append((start, row))
                row = []
        if row:
            raise self.error(
                start,
                f"expected {size} values for a sample, found {len(row)}",
                "quote names that hold spaces, and write - where a value is missing",
            )
        said = self.counts.pop("NUMBER_OF_SETS", len(section.rows))
        if said != len(section.rows):
            raise self.error(
                begun,
                f"NUMBER_OF_SETS says {said}, but {len(section.rows)} samples follow",
                "export the session again, or correct the count",
            )
        self.sections.append(section)

    def section(self) -> _Section:
        """Return the samples of all sections, which must have the same fields."""
        first, *more = self.sections
        for each in more:
            if [f.upper() for f in each.fields] != [f.upper() for f in first.fields]:
                raise self.error(
                    None,
                    "it holds several data sections with different fields",
                    "put each section into a file of its own",
                )
        return _Section(first.fields, [row for each in self.sections for row in each.rows])


def _paired(section: _Section, file: str) -> tuple[list[Wavelength], list[int]] | None:
    """Wavelengths and columns of a section that writes each as SPECTRAL_NM, SPECTRAL_PCT or _DEC.

    None where it doesn't.
    """
    names = [cells.normal(name) for name in section.fields]
    at = [i for i, name in enumerate(names) if name == "SPECTRALNM"]
    if not at or not section.rows:
        return None
    units: dict[str, Unit] = {"SPECTRALPCT": "percent", "SPECTRALDEC": "fraction"}
    found = []
    for i in at:
        unit = units.get(names[i + 1] if i + 1 < len(names) else "")
        if unit is None:
            raise InputError(
                file,
                f"field {i + 1}",
                "expected SPECTRAL_PCT or SPECTRAL_DEC after SPECTRAL_NM",
                "export the session again",
            )
        texts = {row[i] for _, row in section.rows}
        nm = cells.number(section.rows[0][1][i])
        if len(texts) > 1 or nm is None or np.isnan(nm):
            raise InputError(
                file,
                f"field {i + 1}",
                "SPECTRAL_NM is no number, or differs from sample to sample",
                "export every sample on the same wavelengths",
            )
        found.append(Wavelength(nm, unit))
    return found, [i + 1 for i in at]


def _spectral(section: _Section, file: str) -> tuple[list[Wavelength], list[int]]:
    """Wavelengths of a section, and the columns they stand in."""
    if paired := _paired(section, file):
        return paired
    found = [(wavelength(name), i) for i, name in enumerate(section.fields)]
    for name in section.fields:
        if almost_wavelength(name):
            raise InputError(
                file, f"field {name}", "expected a wavelength such as SPECTRAL_NM400", "correct it"
            )
    return [w for w, _ in found if w], [i for w, i in found if w]


def _table(section: _Section, file: str) -> Table | None:
    """The spectra of a section; None where it holds none."""
    fields, columns = _spectral(section, file)
    if not fields:
        return None
    at = {id(w): i for w, i in zip(fields, columns, strict=True)}
    used = {*columns, *(i - 1 for i in columns if _is_nm(section.fields[i - 1]))}
    samples = []
    for number, row in section.rows:
        texts: dict[str, str] = {}
        for i, name in enumerate(section.fields):
            if i not in used:
                texts.setdefault(name, row[i])
        samples.append(Sample(f"line {number}", texts, [row[at[id(w)]] for w in fields]))
    return Table(section.where, fields, samples, section.statements)


def _is_nm(name: str) -> bool:
    return cells.normal(name) == "SPECTRALNM"


def parse_cgats(text: str, file: str, sha256: str, said: Said = _SAYS_NOTHING) -> Session:
    """Read CGATS.17 / ISO 28178 text.

    Parameters
    ----------
    text : str
    file, sha256 : str
        As the session is to name them.
    said : Said
        What the user says of it.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        For anything that can't be read without guessing, and for impossible reflectances.
    """
    parser = _Parser(text, file)
    tables, colours, statements = list[Table](), list[str](), list[Statement]()
    for section in parser.sections:
        table = _table(section, file)
        if table is None:
            colours.append(section.where)
            statements += section.statements
        else:
            table.statements = [*statements, *table.statements]
            statements = []
            tables.append(table)
    if not tables:
        in_order([], file, "data format")
    if colours:
        words = f"sections without spectra ({', '.join(colours)})"
        tables[0].statements.append(Statement(colours[0], "LEFT_OUT_SECTIONS", words))
    tables[-1].statements += statements
    kind = "ISO 28178 text" if "28178" in parser.identifier else "CGATS.17 text"
    return session_of(tables, file, sha256, kind, said)


def _quoted(text: str) -> str:
    return '"' + cells.plain(text).replace('"', '""') + '"'


def format_cgats(session: Session, comments: Sequence[str] = ()) -> str:
    """Write a session as CGATS.17 text.

    Values are written as fractions with every digit, so that reading them gives the same numbers.

    Parameters
    ----------
    session : Session
        Its `file`, `sha256`, `format` and `unit` aren't written.
    comments : sequence of str
        Lines for the reader, put at the top.

    Returns
    -------
    str
    """
    said = {
        "CREATED": session.date,
        "INSTRUMENTATION": session.device,
        "MEASUREMENT_GEOMETRY": session.notation,
        "SPECULAR": session.specular if session.geometry != "45:0" else None,
        "MEASUREMENT_CONDITION": session.condition,
        "REFLECTANCE_UNIT": "fraction",
        "SAMPLE_STATE": session.state,
        "INSTRUMENT_SERIAL_NUMBER": session.serial,
        "CALIBRATION_DATE": session.calibrated,
        "CALIBRATION_TILE": session.tile,
    }
    written = {re.sub(r"[^\w.-]+", "_", key): value for key, value in session.header.items()}
    written |= {key: value for key, value in said.items() if value is not None}
    lines = ["CGATS.17", *(f"# {cells.plain(comment)}" for comment in comments)]
    lines += [f'KEYWORD "{key}"' for key in written if key not in _STANDARD]
    lines += [f"{key} {_quoted(value)}" for key, value in written.items()]
    wl, values = session.spectra.wavelengths, session.spectra.values
    names = ["SAMPLE_NAME"]
    names += [f"SPECTRAL_NM{np.format_float_positional(nm, trim='-')}" for nm in wl]
    lines += [f"NUMBER_OF_FIELDS {len(names)}", "BEGIN_DATA_FORMAT", "\t".join(names)]
    lines += ["END_DATA_FORMAT", f"NUMBER_OF_SETS {len(values)}", "BEGIN_DATA"]
    for label, row in zip(session.spectra.labels, values.tolist(), strict=True):
        numbers = ("NaN" if np.isnan(value) else repr(value) for value in row)
        lines.append("\t".join((_quoted(label), *numbers)))
    return "\n".join([*lines, "END_DATA", ""])
