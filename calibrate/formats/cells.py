"""What the cells of a file of readings say: numbers, missing values, wavelengths."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

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

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_WAVELENGTH = re.compile(
    r"(?:SPECTRAL[_ ]?)?(?P<kind>NM|PCT|DEC|R)?[_ ]?(?P<nm>[0-9]{3,4}(?:[.,][0-9]+)?)[_ ]?(?:NM)?"
)
_ALMOST = re.compile(
    r"[0-9][0-9A-Z.,]{1,6}(?: ?NM)?|(?:SPECTRAL|NM|PCT|DEC)[0-9A-Z_]*[0-9][0-9A-Z_]*"
)


class Wavelength(NamedTuple):
    """A field's wavelength, and the unit that its name states."""

    nm: float
    unit: Literal["fraction", "percent"] | None


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


def wavelength(name: str) -> Wavelength | None:
    """Wavelength that a field's name stands for, in any of the common spellings, or None."""
    found = _WAVELENGTH.fullmatch(name.strip().upper())
    if found is None:
        return None
    unit: Literal["fraction", "percent"] | None = None
    if found["kind"] == "PCT":
        unit = "percent"
    elif found["kind"] == "DEC":
        unit = "fraction"
    return Wavelength(float(found["nm"].replace(",", ".")), unit)


def almost_wavelength(name: str) -> bool:
    """Whether a name that is no wavelength was likely meant as one, such as ``4O0``."""
    return wavelength(name) is None and _ALMOST.fullmatch(name.strip().upper()) is not None


def column_unit(fields: Sequence[Wavelength], file: str) -> Literal["fraction", "percent"] | None:
    """Return the unit that the names of the spectral columns state, if they do.

    Parameters
    ----------
    fields : sequence of Wavelength
        Names of spectral columns.
    file : str
        What an error names.

    Returns
    -------
    {'fraction', 'percent'} or None

    Raises
    ------
    InputError
        Where some state percent and some fractions.
    """
    units = {field.unit for field in fields if field.unit}
    if len(units) > 1:
        raise InputError(
            file,
            "column names",
            "some spectral columns are percent (PCT) and some decimal (DEC)",
            "export the readings in one unit",
        )
    return units.pop() if units else None


def check_wavelengths(wavelengths: Sequence[float], file: str, where: str) -> Array:
    """Return the wavelengths as an array if they can be those of a spectrum.

    Parameters
    ----------
    wavelengths : sequence of W float, nm
    file, where : str
        For the message.

    Returns
    -------
    (W,) array, nm

    Raises
    ------
    InputError
        For fewer than three, one outside 340-830 nm, an order that isn't increasing, or a hole in
        otherwise equal steps.
    """
    wl = np.asarray(wavelengths, dtype=float)
    if wl.size < FEWEST:
        raise InputError(
            file,
            where,
            f"expected a spectrum of {FEWEST} wavelengths or more, found {wl.size}",
            "export spectral reflectance, with columns such as SPECTRAL_NM400 or 400",
        )
    outside = wl[(wl < SHORTEST) | (wl > LONGEST)]
    if outside.size:
        raise InputError(
            file,
            where,
            f"expected wavelengths from {SHORTEST:g} to {LONGEST:g} nm, found {outside[0]:g}",
            "export that range alone",
        )
    steps = np.diff(wl)
    if (steps <= 0).any():
        at = int(np.argmax(steps <= 0))
        order = "decreasing" if (steps < 0).all() else "not increasing"
        raise InputError(
            file,
            where,
            f"the wavelengths are {order}: {wl[at + 1]:g} nm comes after {wl[at]:g} nm",
            "order them from short to long, each once",
        )
    ratio = steps / steps.min()
    holes = ratio > 1.5
    if holes.any() and holes.mean() < 0.5 and np.allclose(ratio, np.round(ratio), atol=1e-6):
        at = int(np.argmax(holes))
        raise InputError(
            file,
            where,
            f"a wavelength is missing: {wl[at] + steps.min():g} nm, after {wl[at]:g} nm",
            "export every wavelength of the range (a single missing value may stay empty)",
        )
    return wl


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


def values(
    rows: Sequence[Sequence[str]],
    wavelengths: Array,
    names: Sequence[str],
    where: Sequence[str],
    file: str,
) -> Array:
    """Values of N samples at W wavelengths, NaN where missing.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of each sample.
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

    Raises
    ------
    InputError
        Naming the first cell that is no number, or where there is no value at all.
    """
    out = np.full((len(rows), wavelengths.size), np.nan)
    for i, row in enumerate(rows):
        for j, cell in enumerate(row):
            value = number(cell)
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
    return out


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
