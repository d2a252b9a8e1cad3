"""A session put together from the tables of a file: names, units, order, and what is left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import CalibrateDo, InputError
from ..optics.spectra import Flag, Spectra, check_possible
from . import cells
from .choosing import Choice, Reading, chosen
from .headings import column_unit, in_order
from .marks import Mark, meaning
from .named import readings_of
from .possible import check_units, check_written_alike, told_apart
from .rows import Table
from .session import Session
from .statements import Statement, Unit, resolve, topic, unit_in


@dataclass(frozen=True)
class Said:
    """What the user says of a file that doesn't say it itself.

    Attributes
    ----------
    unit : {"percent", "fraction"} or None
    specular : {"included", "excluded"} or None
    only : str or None
        Which readings are meant where several are there of one sample.
    """

    unit: str | None = None
    geometry: str | None = None
    specular: str | None = None
    only: str | None = None


def session_of(
    tables: Sequence[Table], file: str, sha256: str, taken_for: str, said: Said
) -> Session:
    """Put a session together.

    Parameters
    ----------
    tables : sequence of Table
    file, sha256, taken_for : str
        As the session is to name them.
    said : Said

    Returns
    -------
    Session
        Its header says what was chosen (``TAKEN``) and what was left out (``LEFT_OUT``).

    Raises
    ------
    InputError
        For anything that can't be read without guessing, and for impossible reflectances.
    """
    every = readings_of(tables, file)
    choice = Choice(said.only, said.specular)
    kept, left_out, taken = chosen(every, choice, file)
    used = [tables[i] for i in dict.fromkeys(reading.table for reading in kept)]
    orders = [in_order([w.nm for w in t.wavelengths], file, t.where) for t in used]
    wl = orders[0][0]
    for table, (other, _) in zip(used, orders, strict=True):
        if not np.array_equal(other, wl):
            raise _on_other_wavelengths(used[0], table, file)
    places = {id(t): order for t, (_, order) in zip(used, orders, strict=True)}
    rows = [[r.cells[j] for j in places[id(tables[r.table])]] for r in kept]
    names, where = [r.name for r in kept], [r.where for r in kept]
    values, clipped = cells.values(rows, wl, names, where, file)
    units = _units(kept, rows, tables, file)
    stated = resolve(
        [*_statements(tables[0], used, kept), *_of_marks(kept)],
        file,
        column_unit=units if isinstance(units, str) else "fraction" if units else None,
        unit=said.unit,
        geometry=said.geometry,
        specular=said.specular,
    )
    scale = (
        np.array([100.0 if u == "percent" else 1.0 for u in units])[:, None]
        if isinstance(units, list)
        else stated.scale
    )
    numbers, values = values, values / scale
    doubled = told_apart(names, values)
    if doubled is not None:
        apart = [_of_order(reading, order) for reading, order in zip(kept, doubled, strict=True)]
        picked, _, more = chosen(apart, choice, file)
        at = [i for i, reading in enumerate(apart) if any(reading is each for each in picked)]
        names, values, clipped = [names[i] for i in at], values[at], clipped[at]
        taken += more
        every = apart
    choice.check_used(every, file)
    spectra = Spectra.from_values(wl, values, names)
    check_possible(spectra, file)
    if not isinstance(units, list):
        check_written_alike([r.cells for r in kept], numbers, where, file)
    check_units(spectra, where, stated.specular, file)
    fields = stated.fields()
    for key, words in (("LEFT_OUT", left_out), ("TAKEN", taken)):
        if words:
            fields["header"] = {**fields["header"], key: "; ".join(words)}
    return Session(
        spectra=spectra.flag(clipped, Flag.CLIPPED),
        file=file,
        sha256=sha256,
        format=taken_for,
        **fields,
    )


def _on_other_wavelengths(first: Table, other: Table, file: str) -> InputError:
    return InputError(
        file,
        other.where,
        f"it is on other wavelengths than the readings of {first.where}",
        CalibrateDo.SAY_ONLY(choices='"table=1", "table=2" and so on'),
    )


def _units(
    kept: Sequence[Reading], rows: Sequence[Sequence[str]], tables: Sequence[Table], file: str
) -> Unit | list[Unit] | None:
    """Unit that each reading states itself: one for all, or one each; None where none does."""
    of_columns = {i: column_unit(tables[i].wavelengths, file) for i in {r.table for r in kept}}
    found: list[Unit | None] = []
    for reading, row in zip(kept, rows, strict=True):
        said: dict[str, str] = {}
        shown = cells.shown_in_percent(row, file, reading.where)
        mark = reading.mark(("unit", "")) or next(
            (mark for mark in reading.marks if mark.kind == "unit"), None
        )
        if shown:
            said["percent"] = "its cells"
        if mark is not None and mark.value in ("percent", "fraction"):
            said.setdefault(mark.value, f"{mark.heading} {mark.word}")
        elif mark is not None and mark.word:
            raise InputError(
                file,
                f"{reading.where}, {mark.heading}",
                f"expected percent or fraction, found {mark.word[:40]!r}",
                "correct it",
            )
        if unit := of_columns[reading.table]:
            said.setdefault(unit, "the column names")
        if len(said) > 1:
            percent, fraction = said["percent"], said["fraction"]
            raise InputError(
                file,
                reading.where,
                f"its unit is percent by {percent} but fraction by {fraction}",
                "correct the file",
            )
        found.append(next(iter(said), None))  # type: ignore[arg-type]
    units = set(found)
    if None not in units and len(units) > 1:
        return found  # type: ignore[return-value]
    if len(units) > 1:
        at = found.index(None)
        raise InputError(
            file,
            kept[at].where,
            f"this reading states no unit, but that of {kept[_first(found)].where} is in "
            f"{found[_first(found)]}",
            "write all readings of a file alike",
        )
    return found[0] if found else None


def _first(found: Sequence[object]) -> int:
    return next(i for i, each in enumerate(found) if each is not None)


def _statements(first: Table, used: Sequence[Table], kept: Sequence[Reading]) -> list[Statement]:
    """What the tables state, without what a reading's own marks say nearer."""
    nearer = {mark.kind for reading in kept for mark in reading.marks}
    found: dict[Statement, None] = {}
    for table in used:
        own = {topic(statement.key) for statement in table.statements}
        # What stands above the first table holds for all, but where a later one says otherwise.
        of_file = [s for s in first.statements if (about := topic(s.key)) and about not in own]
        for statement in (*(of_file if table is not first else ()), *table.statements):
            about = topic(statement.key)
            if about in nearer and about in ("specular", "condition", "unit", "geometry"):
                continue
            if about == "geometry" and "specular" in nearer:
                # Here it is what the instrument is called; the readings say the rest.
                value = statement.value.lower().replace("di:8", "d:8").replace("de:8", "d:8")
                statement = statement._replace(value=value)
            found[statement] = None
            if about is None and (unit := unit_in(f"{statement.key} {statement.value}")):
                found[Statement(statement.where, "UNIT", unit)] = None
            if about is None and (meant := meaning(statement.value)) and meant[0] in _KEYS:
                found[Statement(statement.where, _KEYS[meant[0]], meant[1])] = None
    return [s for s in found if not (topic(s.key) == "unit" and "unit" in nearer)]


_KEYS = {
    "geometry": "GEOMETRY",
    "specular": "SPECULAR",
    "condition": "MEASUREMENT_CONDITION",
}


def _of_marks(kept: Sequence[Reading]) -> list[Statement]:
    """What all readings left are marked by, as statements."""
    found = []
    for kind, key in _KEYS.items():
        marks = [mark for reading in kept if (mark := reading.mark((kind, "")))]
        if marks and len({mark.value for mark in marks}) == 1 and len(marks) == len(kept):
            value = marks[0].value.replace("di", "d") if kind == "geometry" else marks[0].value
            found.append(Statement(f"{marks[0].heading} {marks[0].word}", key, value))
    return found


def _of_order(reading: Reading, order: int) -> Reading:
    mark = Mark("order", "reading", str(order), str(order))
    return Reading(
        reading.where, reading.name, reading.cells, reading.table, (*reading.marks, mark)
    )
