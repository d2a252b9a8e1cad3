"""What the cells of a file of readings say: numbers, missing values, names."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..optics.spectra import Array

SHORTEST, LONGEST = 340.0, 830.0
"""Wavelengths that are read, nm."""
FEWEST = 3
"""Fewer wavelengths than these are no spectrum."""
MISSING = frozenset({"", "-", "--", "---", "nan", "n/a", "#n/a", "na", "null", "none"})
"""How exporters write that there is no value."""
LABELS = ("SAMPLENAME", "SAMPLE", "PATCH", "LABEL", "NAME", "SAMPLEID", "ID")
"""Fields that name a sample, best first (`normal` spelling)."""
LABELS_LAST = ("SAMPLELOC", "SAMPLELOCATION", "SAMPLENO", "NO")

_FULL = re.compile(
    r"[>≥]+\s*[0-9.,]*\s*%?|over(?:load|range|flow)?|ovl|ol|ovr|sat(?:urated)?|clip(?:ped)?|\*{2,}|#{3,}",
    re.IGNORECASE,
)
"""How instruments write that a value is beyond their scale."""
_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")


def normal(name: str) -> str:
    """Spelling of a field or statement with case and punctuation taken out."""
    return re.sub(r"[^A-Z0-9]", "", name.upper())


def plain(text: str) -> str:
    """Text with every run of white space made one space."""
    return " ".join(text.split())


def number(text: str) -> float | None:
    """Value of a cell, NaN where it is missing, None where it is no number.

    A decimal comma counts as a point.
    """
    text = text.strip()
    if text.lower() in MISSING:
        return float("nan")
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if np.isfinite(value) else None


def is_full_scale(text: str) -> bool:
    """Whether a cell says that the instrument was at full scale."""
    return _FULL.fullmatch(text.strip()) is not None


def labels(columns: dict[str, list[str]], file: str, where: Sequence[str]) -> list[str] | None:
    """Names of the samples, from the best field that names them all.

    Parameters
    ----------
    columns : mapping of field name to N str
    file : str
    where : sequence of N str
        Where each sample stands, for the message.

    Returns
    -------
    list of N str, or None where no field names samples

    Raises
    ------
    InputError
        Where fields name samples but none names them all.
    """
    by_name = {normal(name): column for name, column in columns.items()}
    known = [by_name[name] for name in (*LABELS, *LABELS_LAST) if name in by_name]
    for column in known:
        if all(plain(cell) for cell in column):
            return [plain(cell) for cell in column]
    if not known:
        return None
    raise InputError(
        file,
        where[[bool(plain(cell)) for cell in known[0]].index(False)],
        "this sample has no name",
        "name it as on the card, such as masstone/black",
    )


def shown_in_percent(row: Sequence[str], file: str, where: str) -> bool:
    """Whether the cells of a reading are written with a percent sign.

    Parameters
    ----------
    row : sequence of str
    file, where : str
        What an error names.

    Raises
    ------
    InputError
        Where some are and some aren't.
    """
    filled = [cell for cell in row if cell and cell.lower() not in MISSING]
    signed = [cell.endswith("%") for cell in filled]
    if any(signed) and not all(signed):
        raise InputError(
            file,
            where,
            f"{filled[signed.index(True)]} is in percent, {filled[signed.index(False)]} is not",
            "write all values of a reading alike",
        )
    return any(signed)


def values(
    rows: Sequence[Sequence[str]],
    wavelengths: Array,
    names: Sequence[str],
    where: Sequence[str],
    file: str,
) -> tuple[Array, NDArray[np.bool_]]:
    """Values of N samples at W wavelengths, NaN where missing.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of each sample; a percent sign behind a number is passed over.
    wavelengths : (W,) array, nm
    names : sequence of str
        Of the samples.
    where : sequence of str
        Where each stands, for errors.
    file : str
        What an error names.

    Returns
    -------
    (N, W) array
    (N, W) array of bool
        Where the instrument was at full scale, and sent no number.

    Raises
    ------
    InputError
        Naming the first cell that is no number, or where there is no value at all.
    """
    out = np.full((len(rows), wavelengths.size), np.nan)
    full = np.zeros(out.shape, dtype=bool)
    for i, row in enumerate(rows):
        for j, cell in enumerate(row):
            value = number(cell.removesuffix("%"))
            if value is None and is_full_scale(cell):
                full[i, j] = True
                continue
            if value is None:
                raise InputError(
                    file,
                    f"{where[i]} ({names[i]}), {wavelengths[j]:g} nm",
                    f"expected a number, found {plain(cell)[:40]!r}",
                    "correct it, or leave it empty if it was not read",
                )
            out[i, j] = value
    if not len(rows) or np.isnan(out).all():
        raise InputError(
            file, None, "there is no reading in it", "export the session again with its samples"
        )
    return out, full


def commented_reading(text: str, size: int) -> bool:
    """Whether a comment holds as many numbers as a spectrum of ``size`` wavelengths.

    Parameters
    ----------
    text : str
    size : int
        Wavelengths of a spectrum.

    Returns
    -------
    bool
    """
    parts = re.split(r"[\s;]+", text) if ";" in text or "\t" in text else re.split(r"[\s,]+", text)
    return sum(bool(_NUMBER.fullmatch(part)) for part in parts) >= size
