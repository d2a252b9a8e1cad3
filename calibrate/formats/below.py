"""Samples below a header of wavelengths: which rows they are, and what stands above them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from ..errors import InputError
from . import cells
from .headings import Wavelength, almost_wavelength, in_order, wavelength
from .marks import Mark, marks_in
from .rows import Row, Sample, Table, statement_of
from .statements import Statement, unit_in, unit_word


def noted(row: Row) -> Statement:
    """Return what a row outside the readings states, or all of it where it states nothing."""
    return statement_of(row) or Statement(row.where, row.where, " ".join(row.filled))


def below(
    header: Row, rows: Sequence[Row], lead: Sequence[Row], file: str
) -> tuple[list[Table], list[Row]]:
    """Return the tables below one header, and the rows behind its last sample.

    Parameters
    ----------
    header : Row
    rows : sequence of Row
        Below it, up to the next header.
    lead : sequence of Row
        Above it, from the last sample before.
    file : str
        What an error names.

    Raises
    ------
    InputError
        Where cells may have moved, or a heading is almost a wavelength.
    """
    for name in header.cells:
        if almost_wavelength(name):
            raise InputError(
                file, f"{header.where}, {name}", "expected a wavelength such as 400", "correct it"
            )
    spectral = {j: w for j, name in enumerate(header.cells) if (w := wavelength(name))}
    axis = list(spectral)
    group_rows = _group_rows(lead, header, spectral)
    above = _group_words(group_rows, axis)
    groups = list(_groups(spectral, above))
    for columns, _ in groups:
        in_order([spectral[j].nm for j in columns], file, header.where)
    samples, behind = _samples(header, rows, axis, file)
    statements = [noted(row) for row in lead if row not in group_rows]
    of_all = tuple(
        mark for row in lead if len(row.filled) == 1 and not statement_of(row)
        for mark in marks_in(row.filled[0])
    )  # fmt: skip
    others = [
        j
        for j in range(len(header.cells))
        if j not in spectral and any(row.at(j) for row, _ in samples)
    ]
    beside = tuple(header.cells[j] for j in others if j < axis[0])
    found = []
    for columns, mark in groups:
        found.append(
            Table(
                header.where,
                [spectral[j] for j in columns],
                [
                    Sample(
                        row.where,
                        _texts(header, row, others),
                        [row.at(j) for j in columns],
                        (*of_all, *marks, *mark),
                    )
                    for row, marks in samples
                ],
                statements,
                beside,
            )
        )
    return found, behind


def _texts(header: Row, row: Row, others: Sequence[int]) -> dict[str, str]:
    """Cells outside the spectrum by heading; of two columns with one name the first counts."""
    texts: dict[str, str] = {}
    for j in others:
        texts.setdefault(header.cells[j] or f"column {j + 1}", row.at(j))
    return texts


def _group_rows(lead: Sequence[Row], header: Row, spectral: dict[int, Wavelength]) -> list[Row]:
    """Rows right above a header that name groups of its columns.

    What was merged stands above the first column of each group.
    """
    axis, seen, starts = list(spectral), set[float](), list[int]()
    for j in axis:
        if not starts or spectral[j].nm in seen:
            starts.append(j)
            seen = set()
        seen.add(spectral[j].nm)
    found: list[Row] = []
    below_it = header
    for row in reversed(lead):
        over = [j for j in axis if row.at(j)]
        grouped = over == axis or (over == starts and (len(starts) > 1 or not row.at(0)))
        if row.comment or below_it.gap or not grouped or axis[0] == 0:
            break
        found.append(row)
        below_it = row
    return found


def _group_words(rows: Sequence[Row], axis: Sequence[int]) -> dict[int, list[str]]:
    """What stands above each spectral column."""
    found: dict[int, list[str]] = {j: [] for j in axis}
    for row in rows:
        word = ""
        for j in axis:
            word = row.at(j) or word
            found[j] += [word] if word else []
    return found


def _groups(
    spectral: dict[int, Wavelength], above: dict[int, list[str]]
) -> Iterator[tuple[list[int], tuple[Mark, ...]]]:
    """Spectral columns that belong to one reading each, and what marks it."""

    def key(j: int) -> tuple[Mark, ...]:
        marks = list(spectral[j].marks)
        for word in above[j]:
            if unit := unit_word(word) or unit_in(word):
                marks.append(Mark("unit", "columns", word, unit))
            marks += marks_in(word) or ([] if unit else [Mark("other", "columns", word, word)])
        return tuple(marks)

    groups: dict[tuple[Mark, ...], list[int]] = {}
    for j in spectral:
        groups.setdefault(key(j), []).append(j)
    for marks, columns in groups.items():
        parts: list[list[int]] = []
        seen: dict[float, int] = {}
        for j in columns:
            nm = spectral[j].nm
            at = seen[nm] = seen.get(nm, -1) + 1
            parts += [[]] if at == len(parts) else []
            parts[at].append(j)
        if len(parts) == 1 or len({len(part) for part in parts}) > 1:
            # Where one wavelength alone stands twice, whoever orders them says so.
            yield columns, tuple(m for m in marks if len(groups) > 1 or m.kind != "other")
            continue
        for number, part in enumerate(parts, start=1):
            yield part, (*marks, Mark("other", "columns", f"group {number}", f"group {number}"))


def _samples(
    header: Row, rows: Sequence[Row], axis: Sequence[int], file: str
) -> tuple[list[tuple[Row, tuple[Mark, ...]]], list[Row]]:
    """Rows that hold a spectrum, with what stood above them, and the rows behind the last."""
    found: list[tuple[Row, tuple[Mark, ...]]] = []
    marks: tuple[Mark, ...] = ()
    waiting: list[Row] = []
    over = False
    for row in rows:
        filled = [] if row.comment else [row.at(j) for j in axis if row.at(j)]
        if row.comment:
            check_comment(row, len(axis), file)
            waiting.append(row)
        elif not found and len(filled) > 1 and all(unit_word(cell) for cell in filled):
            # A row of units below the header.
            marks = (Mark("unit", "row of units", filled[0], unit_word(filled[0]) or ""),)
        elif over or (found and _begins_another(row, filled, axis)):
            over = True
            if 2 * sum(map(_is_number, filled)) > len(axis):
                raise InputError(
                    file,
                    row.where,
                    "this row looks like a reading, but stands behind what is none",
                    "put it with the others, or give it a header of wavelengths",
                )
            waiting.append(row)
        elif not filled and (said := _only_words(row)) is not None:
            marks = said or marks
            waiting.append(row)
        else:
            _check_whole(header, row, axis, file)
            found.append((row, marks))
            waiting = [each for each in waiting if each.comment]
    if not found and not waiting:
        raise InputError(
            file, header.where, "there is no reading below it", "export the session again"
        )
    return found, waiting


def _begins_another(row: Row, filled: Sequence[str], axis: Sequence[int]) -> bool:
    """Whether a row below samples is no sample: behind a gap and short, or another header."""
    if 1 < len(filled) < len(axis) / 2 and not any(map(_is_number, filled)):
        return True
    if not row.gap or row.addressed:
        return row.gap and bool(filled) and not any(map(_is_number, filled))
    return len(row.cells) <= axis[-1]


def _is_number(cell: str) -> bool:
    return cells.is_full_scale(cell) or cells.number(cell.removesuffix("%")) is not None


def _only_words(row: Row) -> tuple[Mark, ...] | None:
    """What a row without a spectrum says of those below it; None where it may be a sample."""
    filled = row.filled
    if len(filled) != 1:
        return () if statement_of(row) else None
    if marks := marks_in(filled[0]):
        return tuple(marks)
    if statement_of(row) or row.addressed:
        return ()
    # A lone name may be a sample that was cut off, or of which nothing was read.
    return None


def check_comment(row: Row, size: int, file: str) -> None:
    """Refuse a comment that looks like a reading of ``size`` wavelengths or more."""
    text = " ".join(row.filled)
    if cells.commented_reading(text, size) and not any(
        wavelength(part) for part in re.split(r"[\s;,]+", text)
    ):
        raise InputError(
            file,
            row.where,
            "this row starts with # yet looks like a reading",
            "name the sample without #, or delete the row",
        )


def _check_whole(header: Row, sample: Row, axis: Sequence[int], file: str) -> None:
    """Refuse a row whose cells may have moved against the header's."""
    width = len(header.cells)
    if (len(sample.cells) <= axis[-1] and not sample.addressed) or any(sample.cells[width:]):
        raise InputError(
            file,
            sample.where,
            f"expected {width} cells as in the header, found {len(sample.cells)}",
            "leave a cell empty where a value is missing, and separate cells by tabs or "
            "semicolons if numbers have a decimal comma",
        )
    for name, cell in list(zip(header.cells, sample.cells, strict=False))[axis[0] :]:
        if cell and not name:
            raise InputError(
                file,
                sample.where,
                f"{cells.plain(cell)[:40]!r} stands where the header has no wavelength",
                "give each value its wavelength",
            )
