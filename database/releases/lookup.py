"""Looks one paint up in the folder of a release, without reading the rest."""

from __future__ import annotations

import mmap
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ..mixing.model_choice import no_such_fit
from .load import parse_table, read_descriptor, tables_in
from .tables.coefficients import OF_PAINTS, coefficients_of, of_paints, places
from .tables.columns import Table
from .tables.descriptor import DESCRIPTOR
from .tables.models import by_transport, main
from .tables.text import heading

_BY_PAINT = (*OF_PAINTS, "transport")
_WHOLE = ("wavelengths", "shared")


def load_paint(folder: str | Path, paint: str, model: str = TWO_FLUX) -> Coefficients:
    """Return K and S of one paint of a release, with all of their uncertainty.

    Parameters
    ----------
    folder : str or Path
        Of a release, unpacked.
    paint : str
        Nickname.
    model : {"two-flux", "transport"}
        Which numbers of it.

    Raises
    ------
    InputError
        Where it isn't the folder of a release, or has no such paint, or no such fit of it.
    """
    place = Path(folder)
    try:
        said = read_descriptor({DESCRIPTOR: (place / DESCRIPTOR).read_bytes()}, folder)
        tables = {table.name: table for table in tables_in(said, folder)}
        of_paint = [name for name in _BY_PAINT if name in tables]
        found = {name: _rows(place, tables[name], paint) for name in of_paint}
        found |= {
            name: parse_table(tables[name], (place / tables[name].file).read_bytes())
            for name in _WHOLE
        }
    except (OSError, ValueError) as error:
        raise InputError(
            folder, None, f"expected the folder of a release ({error})", "unpack its zip first"
        ) from error
    return _coefficients(folder, paint, model, found)


def _coefficients(
    folder: str | Path, paint: str, model: str, tables: Mapping[str, pd.DataFrame]
) -> Coefficients:
    if tables["paints"].empty:
        raise InputError(folder, paint, "no such paint in this release", "give a nickname of it")
    mine = main(tables) if model == TWO_FLUX else by_transport(tables)
    if mine is None:
        raise no_such_fit([paint], model, str(folder))
    return coefficients_of(of_paints(mine, [paint], places(mine)))


def _rows(place: Path, table: Table, paint: str) -> pd.DataFrame:
    """Rows of one paint: they stand together, paints in binary order of their nicknames."""
    head = heading(table).encode()
    with (
        (place / table.file).open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text,
    ):
        if text[: len(head)] != head:
            raise ValueError(f"{table.file} has other columns")
        start = _first(text, len(head), paint.encode(), past=False)
        end = _first(text, len(head), paint.encode(), past=True)
        return parse_table(table, head + text[start:end])


def _first(text: mmap.mmap, begin: int, wanted: bytes, past: bool) -> int:
    """Find where the first line stands whose paint is not before the wanted one (or is past it)."""
    low, high = begin, len(text)
    while low < high:
        middle = (low + high) // 2
        line = max(text.rfind(b"\n", begin, middle) + 1, low)
        end = text.find(b"\n", line) + 1
        name = text[line : text.find(b",", line)]
        if name < wanted or (past and name == wanted):
            low = end
        else:
            high = line
    return low
