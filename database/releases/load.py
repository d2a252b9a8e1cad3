"""Reads a release back: its tables with pandas, and its coefficients just as they were."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.plain_text import unescaped
from ..common.remedies import StudioDo
from .files import read_files
from .tables.coefficients import Places, coefficients_of, gigabytes, of_paints, places
from .tables.columns import Kind, Table
from .tables.descriptor import DESCRIPTOR
from .tables.layouts import tables_said
from .tables.models import by_transport, main
from .tables.schema import LAYOUT, TABLES
from .tables.text import heading

_DTYPES: dict[Kind, str] = {
    "string": "str",
    "object": "str",
    "integer": "int64",
    "boolean": "bool",
    "array": "str",
    "number": "float64",
}
# Until 3.1 pandas may miss a number's last digit unless told not to.
_OLD_PANDAS = tuple(int(part) for part in pd.__version__.split(".")[:2]) < (3, 1)
_EXACT: dict[str, Any] = {"float_precision": "round_trip"} if _OLD_PANDAS else {}


MOST_GIGABYTES = 4.0
"""Room that K and S of a whole release may take."""


@dataclass(frozen=True)
class LoadedRelease:
    """A release in memory.

    Attributes
    ----------
    descriptor : mapping
        Its ``datapackage.json``.
    tables : mapping of name to DataFrame
        Those of the model that its paints state.
    beside : mapping of name to DataFrame, or None
        Those of the same paints by transport, where it has them.
    """

    name: str
    version: str
    descriptor: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]
    beside: Mapping[str, pd.DataFrame] | None = None

    @property
    def by_transport(self) -> LoadedRelease | None:
        """The same release as if it held nothing but its paints by transport."""
        return None if self.beside is None else replace(self, tables=self.beside, beside=None)

    @cached_property
    def coefficients(self) -> Coefficients:
        """K and S with their whole covariance, to the last digit.

        Raises
        ------
        InputError
            Where all at once take more room than a computer has; some do with `select`.
        """
        if (room := gigabytes(self.tables)) > MOST_GIGABYTES:
            raise InputError(
                self.name,
                None,
                f"K and S of its {len(self.tables['paints'])} paints and all that they share would "
                f"take {room:.0f} GB at once",
                "load some of them, with select([...]), or one with load_paint",
            )
        return coefficients_of(self.tables)

    @cached_property
    def _places(self) -> Places:
        return places(self.tables)

    def select(self, paints: Sequence[str]) -> Coefficients:
        """Return the same of some paints, with the shared factors that they feel.

        Raises
        ------
        KeyError
            For a paint that isn't in it.
        """
        return coefficients_of(of_paints(self.tables, paints, self._places)).select(paints)


def load_release(path: str | Path) -> LoadedRelease:
    """Read a release, folder or zip.

    It is read as it stands; `tintladder.database.releases.verify.verify_release` says whether that
    is as it was published.

    Raises
    ------
    InputError
        Where it is no release, or a table can't be read.
    """
    files = read_files(path)
    descriptor = read_descriptor(files, path)
    tables = {}
    for table in tables_in(descriptor, path):
        if table.file not in files:
            raise InputError(path, table.file, "is missing from the release", "fetch it again")
        try:
            tables[table.name] = parse_table(table, files[table.file])
        except ValueError as error:
            raise InputError(path, table.file, f"can't be read ({error})", "fetch it again") from (
                error
            )
    return assembled(descriptor, of_this_layout(tables))


def assembled(descriptor: Mapping[str, Any], whole: Mapping[str, pd.DataFrame]) -> LoadedRelease:
    """Put a release together from its description and its tables, as of this layout."""
    return LoadedRelease(
        str(descriptor["name"]),
        str(descriptor["version"]),
        descriptor,
        main(whole),
        by_transport(whole),
    )


def read_descriptor(files: Mapping[str, bytes], path: str | Path) -> dict[str, Any]:
    """Read ``datapackage.json``.

    Raises
    ------
    InputError
        Where there is none, or it is of a layout that this version doesn't know.
    """
    try:
        descriptor = json.loads(files[DESCRIPTOR])
        layout, _ = descriptor["layout"], (descriptor["name"], descriptor["version"])
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise InputError(
            path,
            DESCRIPTOR,
            "expected the description of a release",
            StudioDo.RELEASE_FILE(),
        ) from error
    if not (isinstance(layout, int) and 1 <= layout <= LAYOUT):
        raise InputError(
            path,
            DESCRIPTOR,
            f"its layout is {layout}, this tintladder knows 1 to {LAYOUT}",
            StudioDo.UPDATE(),
        )
    return dict(descriptor)


def tables_in(descriptor: Mapping[str, Any], path: str | Path) -> tuple[Table, ...]:
    """Return the tables that a release describes, held against its layout.

    Raises
    ------
    InputError
        Where they aren't those of the layout.
    """
    try:
        said = {
            resource["path"]: [
                (field["name"], field["type"]) for field in resource["schema"]["fields"]
            ]
            for resource in descriptor["resources"]
        }
        return tables_said(descriptor["layout"], said)
    except (AttributeError, KeyError, TypeError) as error:
        wrong = f"a table isn't described as it must be ({error})"
    except ValueError as error:
        wrong = f"{error}"
    raise InputError(
        path, DESCRIPTOR, wrong, "fetch it again; if it is so old, have its maker publish it anew"
    )


def of_this_layout(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return tables of any layout with what came since, empty."""
    return {table.name: _whole(table, tables.get(table.name)) for table in TABLES}


def _whole(table: Table, found: pd.DataFrame | None) -> pd.DataFrame:
    """Return a table of an older layout with what came since, empty."""
    if found is None:
        found = parse_table(table, heading(table).encode())
    missing = [column for column in table.columns if column.name not in found]
    empty = {c.name: np.nan if c.kind == "number" else "" for c in missing}
    return found.assign(**empty)[[column.name for column in table.columns]]


def parse_table(table: Table, data: bytes) -> pd.DataFrame:
    """Read a table, every number just as it was written.

    Raises
    ------
    ValueError
        Where columns or values aren't the table's.
    """
    numbers = [column.name for column in table.columns if column.kind == "number"]
    dtypes: dict[str, Any] = {c.name: _DTYPES[c.kind] for c in table.columns}
    # Words such as NA may be a nickname: only an empty number is missing.
    frame = pd.read_csv(
        io.BytesIO(data),
        encoding="utf-8",
        dtype=dtypes,
        na_values={name: [""] for name in numbers},
        keep_default_na=False,
        **_EXACT,
    )
    expected = [column.name for column in table.columns]
    if list(frame.columns) != expected:
        raise ValueError(f"expected columns {', '.join(expected[:8])}")
    if b"'" in data:
        for name in (column.name for column in table.columns if column.kind == "string"):
            frame[name] = frame[name].map(unescaped)
    return frame
