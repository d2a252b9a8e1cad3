"""What the heading of a spectral column says: wavelength, unit, and which reading it is of."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..errors import InputError
from ..optics.spectra import Array
from .cells import FEWEST, LONGEST, SHORTEST
from .marks import Mark, meaning
from .statements import Unit


class Wavelength(NamedTuple):
    """A field's wavelength, and what else its name states.

    Attributes
    ----------
    unit : {"fraction", "percent"} or None
    marks : tuple of Mark
        What tells it from another column of the same wavelength.
    quantity : str
        What it is of, where that is not reflectance.
    """

    nm: float
    unit: Unit | None = None
    marks: tuple[Mark, ...] = ()
    quantity: str = ""


_NM = re.compile(r"(?<![0-9.,])([0-9]{3,4}(?:[.,][0-9]+)?)(?![0-9]|[.,][0-9])")
_ALMOST = re.compile(
    r"[0-9][0-9A-Z.,]{1,6}(?: ?NM)?|(?:SPECTRAL|NM|PCT|DEC)[0-9A-Z_]*[0-9][0-9A-Z_]*"
)
_SAYS_NOTHING = frozenset(
    ("NM", "SPECTRAL", "SPEC", "SPECTRUM", "WL", "WAVELENGTH", "LAMBDA", "Λ", "R", "REFL",
     "REFLECTANCE", "REFLECTIVITY", "REFLECTION", "REMISSION", "RHO", "Ρ", "BETA", "Β", "VALUE")
)  # fmt: skip
_UNITS: dict[str, Unit] = {
    **dict.fromkeys(("PCT", "%", "R%", "%R", "PERCENT", "PRC"), "percent"),
    **dict.fromkeys(("DEC", "FRACTION"), "fraction"),
}
_REPEAT = re.compile(r"(?:R|REP|REPEAT|READING|MEAS|RUN|NO|N|#)?[0-9]{1,2}")
_OTHERS = {
    **dict.fromkeys(("T", "%T", "T%", "TRANS", "TRANSMITTANCE", "TAU"), "transmittance"),
    **dict.fromkeys(("K/S", "KS"), "K/S"),
    **dict.fromkeys(("K", "S"), "K or S"),
    **dict.fromkeys(("A", "ABS", "ABSORBANCE", "OD", "D", "DENSITY"), "absorbance or density"),
    **dict.fromkeys(("DR", "DELTA", "Δ", "ΔR", "DIFF", "DIFFERENCE"), "a difference"),
}
"""What a column may hold that is no reflectance."""


def quantity_in(words: str) -> str:
    """Return what a text says that numbers are, where that is not reflectance; else nothing.

    Only words that mean nothing else are looked at: a K or an A may be anything.

    Examples
    --------
    >>> quantity_in("spectral density"), quantity_in("Reflectance"), quantity_in("K/S values")
    ('absorbance or density', '', 'K/S')
    """
    found = (
        _OTHERS.get(word) for word in re.split(r"[\s_()\[\],:]+", words.upper()) if len(word) > 2
    )
    return next((quantity for quantity in found if quantity), "")


def wavelength(name: str) -> Wavelength | None:
    """Wavelength that a field's name stands for, in any of the common spellings, or None.

    Examples
    --------
    >>> wavelength("R%[400]"), wavelength("SPECTRAL_NM410").nm, wavelength("keel 400")
    (Wavelength(nm=400.0, unit='percent', marks=(), quantity=''), 410.0, None)
    """
    text = name.strip().upper()
    if not 3 <= len(text) <= 40:
        return None
    found = _NM.findall(text)
    if len(found) != 1:
        return None
    before, _, after = text.partition(found[0])
    unit: Unit | None = None
    marks: list[Mark] = []
    quantity = ""
    words = re.split(r"[\s_\[\](){}:;,=@.\-]+", f"{before} {after}".replace("λ".upper(), " Λ "))
    for word in filter(None, words):
        if word in _SAYS_NOTHING:
            continue
        if word in _UNITS:
            unit = _UNITS[word]
        elif word in _OTHERS:
            quantity = _OTHERS[word]
        elif _REPEAT.fullmatch(word):
            marks.append(Mark("repeat", "heading", word, word))
        elif meant := meaning(word):
            marks.append(Mark(meant[0], "heading", word, meant[1]))
        else:
            return None
    return Wavelength(float(found[0].replace(",", ".")), unit, tuple(marks), quantity)


def in_range(name: str) -> bool:
    """Whether a name is that of a wavelength that is read."""
    found = wavelength(name)
    return found is not None and SHORTEST <= found.nm <= LONGEST


def almost_wavelength(name: str) -> bool:
    """Whether a name that is no wavelength was likely meant as one, such as ``4O0``."""
    return wavelength(name) is None and _ALMOST.fullmatch(name.strip().upper()) is not None


def column_unit(fields: Sequence[Wavelength], file: str) -> Unit | None:
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
        Where some state percent and some fractions, or what they hold is no reflectance.
    """
    for field in fields:
        if field.quantity:
            raise InputError(
                file,
                f"column {field.nm:g} nm",
                f"expected reflectance, its heading says {field.quantity}",
                "export spectral reflectance",
            )
    units = {field.unit for field in fields if field.unit}
    if len(units) > 1:
        raise InputError(
            file,
            "column names",
            "some spectral columns are percent (PCT) and some decimal (DEC)",
            "export the readings in one unit",
        )
    return units.pop() if units else None


def in_order(wavelengths: Sequence[float], file: str, where: str) -> tuple[Array, list[int]]:
    """Return wavelengths from short to long, and the places that they stood in.

    Parameters
    ----------
    wavelengths : sequence of W float, nm
        In any order.
    file, where : str
        For the message.

    Returns
    -------
    (W,) array, nm
    list of W int

    Raises
    ------
    InputError
        For fewer than three, one outside 340-830 nm, one twice, or a hole in otherwise equal steps.
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
    places = np.argsort(wl, kind="stable")
    steps, moves = np.diff(wl[places]), np.diff(wl)
    if (steps == 0).any():
        raise InputError(
            file,
            where,
            f"{wl[places][int(np.argmax(steps == 0))]:g} nm stands twice, and nothing tells the "
            "two apart",
            "export each wavelength once, or head each group of columns by what it is",
        )
    # Neither rising nor falling, and uneven besides: rather a slip than an order.
    if not ((moves > 0).all() or (moves < 0).all() or np.allclose(steps, steps[0])):
        at = int(np.argmax(np.sign(moves) != np.sign(np.median(moves))))
        raise InputError(
            file,
            where,
            f"the wavelengths are in no order: {wl[at + 1]:g} nm comes after {wl[at]:g} nm",
            "order them from short to long, each once",
        )
    ordered = wl[places]
    ratio = steps / steps.min()
    holes = ratio > 1.5
    if holes.any() and holes.mean() < 0.5 and np.allclose(ratio, np.round(ratio), atol=1e-6):
        at = int(np.argmax(holes))
        raise InputError(
            file,
            where,
            f"a wavelength is missing: {ordered[at] + steps.min():g} nm, after {ordered[at]:g} nm",
            "export every wavelength of the range (a single missing value may stay empty)",
        )
    return ordered, places.tolist()
