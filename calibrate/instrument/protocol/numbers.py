"""The numbers of a spectrum as an instrument sends them: text, fixed width, or binary."""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..faults import Garbled

BINARY = {
    "uint8": "B", "int8": "b", "uint16": "H", "int16": "h", "uint32": "I", "int32": "i",
    "float32": "f", "float64": "d",
}  # fmt: skip
"""Binary forms, with what the library struct calls them; floats are those of IEEE 754."""
FORMS = ("text", "fixed", *BINARY)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_SHOWN = 24


@dataclass(frozen=True)
class Values:
    """What a reading's numbers look like.

    Attributes
    ----------
    count : int
        How many there are.
    form : str
        One of `FORMS`; those of a fixed width stand one behind the other.
    width : int
        Characters of each, where their width is fixed.
    separator : str
        Between numbers of text; a space stands for any white space.
    decimal : {".", ","}
    order : {"big", "little"}
        Of the bytes of binary numbers.
    one : float
        What is sent for a reflectance of 1.
    missing, full_scale : tuple of str
        What is sent in place of a value that there isn't, or that was beyond the scale.
    line_label : str
        What ends the label in front of each line of values, such as the colon of ``400:``; empty
        where there is none. A label must be the wavelength of the value behind it.
    """

    count: int
    form: str = "text"
    width: int = 0
    separator: str = ","
    decimal: Literal[".", ","] = "."
    order: Literal["big", "little"] = "big"
    one: float = 1.0
    missing: tuple[str, ...] = ()
    full_scale: tuple[str, ...] = ()
    line_label: str = ""

    @property
    def length(self) -> int | None:
        """Bytes of all numbers together; None where that isn't fixed."""
        if self.form in BINARY:
            return self.count * struct.calcsize(BINARY[self.form])
        return self.count * self.width if self.form == "fixed" else None

    @property
    def pattern(self) -> str:
        """What they look like, as a regular expression."""
        if self.length is not None:
            return rf"[\s\S]{{{self.length}}}"
        return r"[0-9A-Za-z.,;:+*<>#\-\s]+?"

    def read(self, text: str, wavelengths: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Return reflectances as fractions, and which were beyond the scale.

        Parameters
        ----------
        text : str
            One letter a byte.
        wavelengths : (W,) array, nm

        Returns
        -------
        (W,) array
            NaN where there is no value.
        (W,) array of bool

        Raises
        ------
        Garbled
            Naming what is no number, or where there are more or fewer than there should be.
        """
        if self.form in BINARY:
            return self._binary(text)
        if self.form == "fixed":
            cells = [text[i : i + self.width] for i in range(0, len(text), self.width)]
        else:
            cells = self._cells(text, wavelengths)
        found = np.full(len(cells), np.nan)
        beyond = np.zeros(len(cells), dtype=bool)
        for i, cell in enumerate(cell.strip() for cell in cells):
            if cell in self.full_scale:
                beyond[i] = True
            elif cell not in self.missing:
                found[i] = self._number(cell)
        self._check(len(cells))
        return found / self.one, beyond

    def _cells(self, text: str, wavelengths: Array) -> list[str]:
        if not self.line_label:
            return self._parted(text)
        cells: list[str] = []
        for line in filter(str.strip, text.splitlines()):
            label, mark, rest = line.partition(self.line_label)
            if not mark:
                raise Garbled(
                    f"expected a wavelength and {self.line_label!a}, got {line[:_SHOWN]!a}"
                )
            at = len(cells)
            nm = self._number(label.strip())
            if at >= self.count or nm != wavelengths[at]:
                raise Garbled(f"the line of {nm:g} nm stands where another is expected")
            cells += self._parted(rest)
        return cells

    def _parted(self, text: str) -> list[str]:
        return text.split() if not self.separator.strip() else text.split(self.separator)

    def _number(self, cell: str) -> float:
        text = cell.replace(",", ".") if self.decimal == "," else cell
        if not _NUMBER.fullmatch(text) or (self.decimal == "," and "." in cell):
            shown = cell[:_SHOWN].encode("unicode_escape").decode()
            raise Garbled(f"expected a number, got {shown}")
        return float(text)

    def _binary(self, text: str) -> tuple[Array, NDArray[np.bool_]]:
        kind = np.dtype(("<" if self.order == "little" else ">") + BINARY[self.form])
        data = text.encode("latin-1")
        if len(data) % kind.itemsize:
            raise Garbled(f"expected {self.length} bytes of values, got {len(data)}")
        raw = np.frombuffer(data, dtype=kind).astype(float)
        self._check(raw.size)
        shown = [f"{value:.9g}" for value in raw]
        beyond = np.array([each in self.full_scale for each in shown])
        gone = np.array([each in self.missing for each in shown]) | ~np.isfinite(raw) | beyond
        return np.where(gone, np.nan, raw / self.one), beyond

    def _check(self, count: int) -> None:
        if count != self.count:
            raise Garbled(f"expected a spectrum of {self.count} values, got {count}")

    def write(self, values: Sequence[float] | Array, wavelengths: Array) -> str:
        """Return reflectances as they are sent, as an instrument that isn't there writes them."""
        scaled = np.asarray(values, dtype=float) * self.one
        if self.form in BINARY:
            whole = np.rint(scaled) if BINARY[self.form] not in "fd" else scaled
            low = 0 if self.form.startswith("u") else -np.inf
            sign = "<" if self.order == "little" else ">"
            packed = struct.pack(
                f"{sign}{len(whole)}{BINARY[self.form]}",
                *(int(v) if BINARY[self.form] not in "fd" else v for v in np.maximum(whole, low)),
            )
            return packed.decode("latin-1")
        if self.form == "fixed":
            places = max(0, self.width - 2 - len(f"{self.one:.0f}"))
            return "".join(self._said(v, places).rjust(self.width)[-self.width :] for v in scaled)
        places = 6 if self.one <= 1 else max(0, 6 - round(np.log10(self.one)))
        cells = [self._said(value, places) for value in scaled]
        if not self.line_label:
            return self.separator.join(cells)
        return "".join(
            f"{nm:g}{self.line_label} {cell}\r\n"
            for nm, cell in zip(wavelengths, cells, strict=False)
        )

    def _said(self, value: float, places: int) -> str:
        return f"{value:.{places}f}".replace(".", self.decimal)
