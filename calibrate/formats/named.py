"""Readings by their samples' names, with all that tells them apart, from the tables of a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..errors import InputError
from . import cells
from .choosing import Reading
from .headings import quantity_in
from .marks import Mark, kind_of_heading, marks_of, meaning, of_name
from .rows import Sample, Table
from .statements import Statement, condition_in, parse_geometry, topic, unit_in, unit_word

_NAMELESS = ("NM", "WAVELENGTH", "WAVELENGTHNM", "WL", "LAMBDA", "")
_UNIT_HEADINGS = ("UNIT", "UNITS", "SCALE", "REFLECTANCEUNIT", "REFLECTANCEUNITS")
_QUANTITIES = ("QUANTITY", "VALUES", "VALUETYPE", "DATATYPE", "MEASUREMENTTYPE", "DATA", "MEASURE")
"""Headings under which stands what the numbers are of."""


def readings_of(tables: Sequence[Table], file: str) -> list[Reading]:
    """Return every reading of a file's tables.

    Parameters
    ----------
    tables : sequence of Table
    file : str
        What an error names.

    Returns
    -------
    list of Reading

    Raises
    ------
    InputError
        Where a sample has no name.
    """
    if not any(table.samples for table in tables):
        raise InputError(
            file, None, "there is no reading in it", "export the session again with its samples"
        )
    found: list[Reading] = []
    carried: dict[str, Mark] = {}
    shown, place = 0, Mark("table", "table", "", "")
    for number, table in enumerate(tables):
        if not table.samples:
            continue
        if len(tables) > 1:
            carried |= {mark.kind: mark for mark in _stated(table.statements)}
        if not shown or not _goes_on(tables[number - 1], table):
            shown += 1
            place = Mark("table", "table", str(shown), f"{shown} ({_span(table)})")
        columns = _columns(table.samples)
        _check_quantity(table, columns, file)
        names = _names(table, columns, file)
        marks = _column_marks(columns, names)
        of_table = (place,) if len(tables) > 1 else ()
        for i, (sample, name) in enumerate(zip(table.samples, names[1], strict=True)):
            own = [column[i] for column in marks if column[i].word or column[i].kind == "statistic"]
            found.append(
                Reading(
                    sample.where,
                    name,
                    sample.cells,
                    number,
                    (*own, *sample.marks, *carried.values(), *of_table),
                )
            )
    return _freed(found)


def _goes_on(before: Table, table: Table) -> bool:
    """Whether a table goes on with the one before: nothing between, or under the same header."""
    same = [w.nm for w in before.wavelengths] == [w.nm for w in table.wavelengths]
    return same and (table.where == before.where or not table.statements)


def _span(table: Table) -> str:
    """Where a table stands, and its wavelengths."""
    wl = [field.nm for field in table.wavelengths]
    return f"{table.where}, {min(wl):g}-{max(wl):g} nm"


def _columns(samples: Sequence[Sample]) -> dict[str, list[str]]:
    headings = dict.fromkeys(heading for sample in samples for heading in sample.texts)
    return {heading: [s.texts.get(heading, "") for s in samples] for heading in headings}


def _stated(statements: Sequence[Statement]) -> list[Mark]:
    """What a table's statements say that may tell it from others."""
    found = []
    for statement in statements:
        about = topic(statement.key)
        meant = meaning(statement.value)
        geometry = parse_geometry(statement.value) if about == "geometry" else None
        if about == "unit" and (unit := unit_word(statement.value)):
            found.append(Mark("unit", statement.key, statement.value, unit))
        if geometry is not None:
            found.append(Mark("geometry", statement.key, statement.value, geometry[0]))
            if geometry[1]:
                found.append(Mark("specular", statement.key, statement.value, geometry[1]))
        if about == "condition" and (named := condition_in(statement.value)):
            found.append(Mark("condition", statement.key, named, named))
        elif about in (None, "specular") and meant:
            found.append(Mark(meant[0], statement.key, statement.value, meant[1]))
        if about is None and (unit := unit_in(f"{statement.key} {statement.value}")):
            found.append(Mark("unit", statement.key, statement.value, unit))
    return found


def _check_quantity(table: Table, columns: dict[str, list[str]], file: str) -> None:
    """Refuse numbers that are said to be no reflectance."""
    said = [(s.where, s.value) for s in table.statements if cells.normal(s.key) in _QUANTITIES]
    said += [(s.where, s.value) for s in table.statements if s.key == s.where]
    for heading, column in columns.items():
        if cells.normal(heading) in _QUANTITIES or kind_of_heading(heading) is None:
            said += [(table.samples[i].where, cell) for i, cell in enumerate(column)][:200]
    for where, words in said:
        if quantity := quantity_in(words):
            raise InputError(
                file,
                where,
                f"expected reflectance, this says {quantity}",
                "export spectral reflectance",
            )


def _column_marks(columns: dict[str, list[str]], names: tuple[str, list[str]]) -> list[list[Mark]]:
    marks = []
    for heading, column in columns.items():
        if heading == names[0]:
            continue
        if _is_unit(heading, column):
            marks.append([Mark("unit", heading, c, unit_word(c) or c) for c in column])
        elif topic(heading) == "geometry" and (of_geometry := _geometries(heading, column)):
            marks += of_geometry
        elif (of_column := marks_of(heading, column)) is not None:
            marks.append(of_column)
    return marks


def _geometries(heading: str, column: list[str]) -> list[list[Mark]]:
    """What a column of geometries says, and of the specular component, where it says that too."""
    found = [parse_geometry(cell) for cell in column]
    if not all(found):
        return []
    geometries = [
        Mark("geometry", heading, c, f[0]) for c, f in zip(column, found, strict=True) if f
    ]
    specular = [
        Mark("specular", heading, c, f[1]) for c, f in zip(column, found, strict=True) if f and f[1]
    ]
    return [geometries, *([specular] if len(specular) == len(column) else [])]


def _is_unit(heading: str, column: Sequence[str]) -> bool:
    filled = [cell for cell in column if cell]
    said = cells.normal(heading) in _UNIT_HEADINGS
    return bool(filled) and (said or all(unit_word(cell) for cell in filled))


def _names(table: Table, columns: dict[str, list[str]], file: str) -> tuple[str, list[str]]:
    """Heading of the column that names the samples, and the names."""
    where = [sample.where for sample in table.samples]
    known = [h for h in columns if cells.normal(h) in (*cells.LABELS, *cells.LABELS_LAST)]
    known = [h for h in known if marks_of(h, columns[h]) is None or _is_other(h, columns[h])]
    filled = {h: _filled_down(h, columns) for h in known}
    if known and (found := cells.labels(filled, file, where)) is not None:
        heading = next(h for h in known if [cells.plain(c) for c in filled[h]] == found)
        return heading, found
    beside = [h or f"column {j + 1}" for j, h in enumerate(table.beside)]
    free = [h for h in beside if h in columns and _is_other(h, columns[h])]
    free = [h for h in free if kind_of_heading(h) is None] or free
    nameless = [h for h in columns if h.startswith("column ") or cells.normal(h) in _NAMELESS]
    for heads in ([h for h in nameless if h in free] if len(free) > 1 else free, free):
        if len(heads) == 1:
            column = _filled_down(heads[0], columns)
            named = cells.labels({"SAMPLE": column}, file, where)
            assert named is not None
            return heads[0], named
    said = [s.value for s in table.statements if cells.normal(s.key) in cells.LABELS]
    if len(said) == 1 and said[0]:
        return "", [cells.plain(said[0])] * len(table.samples)
    raise InputError(
        file,
        table.where,
        "nothing tells the samples' names",
        'head the names "sample" or SAMPLE_NAME, and put them before the first wavelength',
    )


def _is_other(heading: str, column: Sequence[str]) -> bool:
    """Whether a column may hold names, for all that its cells say."""
    if _is_unit(heading, column) or cells.normal(heading) in _QUANTITIES:
        return False
    marks = marks_of(heading, column)
    return marks is None or marks[0].kind in ("other", "statistic")


def _filled_down(heading: str, columns: dict[str, list[str]]) -> list[str]:
    """A column of names; where cells were merged, the first holds the name of those that follow."""
    column = columns[heading]
    others = [
        h
        for h in columns
        if h != heading
        and (kind_of_heading(h) not in (None, "free") or not _is_other(h, columns[h]))
    ]
    names, last = [], ""
    for i, cell in enumerate(column):
        last = cell or (last if any(columns[h][i] for h in others) else "")
        names.append(last)
    return names


def _freed(readings: list[Reading]) -> list[Reading]:
    """Take words behind names for marks, where the names without them are those of samples.

    A word that stands behind every name, or behind some of names that stand alone too, tells
    readings apart; any other belongs to a name.
    """
    found = [of_name(reading.name) for reading in readings]
    if not any(found):
        return readings
    plain = {r.name for r, f in zip(readings, found, strict=True) if f is None}
    words = {(f[1].kind, f[1].value) for f in found if f}
    # One word behind all names is a part of them; several tell readings of one sample apart.
    every = all(found) and len({kind for kind, _ in words}) == 1 and len(words) > 1
    every = every and len({f[0] for f in found if f}) < len(readings)
    freed = []
    for reading, one in zip(readings, found, strict=True):
        counts = one is not None and (
            every or one[0] in plain or (one[0] == reading.name and bool(plain))
        )
        if one is None or not counts:
            freed.append(reading)
        else:
            freed.append(replace(reading, name=one[0], marks=(one[1], *reading.marks)))
    return freed
