"""Reads a release back: its tables with pandas, and its coefficients just as they were."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ..calibrate.errors import InputError
from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.surface import Surface
from .release_descriptor import DESCRIPTOR
from .release_files import read_files
from .release_schema import LAYOUT, TABLES, Kind, Table

_DTYPES: dict[Kind, str] = {
    "string": "str",
    "object": "str",
    "integer": "int64",
    "boolean": "bool",
}


@dataclass(frozen=True)
class LoadedRelease:
    """A release in memory.

    Attributes
    ----------
    name, version : str
    descriptor : mapping
        Its ``datapackage.json``.
    tables : mapping of name to DataFrame
    """

    name: str
    version: str
    descriptor: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]

    @cached_property
    def coefficients(self) -> Coefficients:
        """K and S with their whole covariance, to the last digit."""
        return coefficients_of(self.tables)


def load_release(path: str | Path) -> LoadedRelease:
    """Read a release, folder or zip.

    It is read as it stands; `tintladder.database.verify.verify_release` says whether that is as it
    was published.

    Raises
    ------
    InputError
        Where it is no release, or a table can't be read.
    """
    files = read_files(path)
    descriptor = read_descriptor(files, path)
    tables = {}
    for table in TABLES:
        if table.file not in files:
            raise InputError(path, table.file, "is missing from the release", "fetch it again")
        try:
            tables[table.name] = parse_table(table, files[table.file])
        except ValueError as error:
            raise InputError(path, table.file, f"can't be read ({error})", "fetch it again") from (
                error
            )
    return LoadedRelease(str(descriptor["name"]), str(descriptor["version"]), descriptor, tables)


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
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            path,
            DESCRIPTOR,
            "expected the description of a release",
            "give the folder or the zip of a release made by tintladder publish",
        ) from error
    if layout != LAYOUT:
        raise InputError(
            path,
            DESCRIPTOR,
            f"its layout is {layout}, this tintladder knows {LAYOUT}",
            "update with: pip install --upgrade tintladder",
        )
    return dict(descriptor)


def parse_table(table: Table, data: bytes) -> pd.DataFrame:
    """Read a table, every number just as it was written.

    Raises
    ------
    ValueError
        Where columns or values aren't the table's.
    """
    # Words such as NA may be a nickname, and pandas' own reading may miss a number's last digit.
    frame = pd.read_csv(
        io.BytesIO(data),
        encoding="utf-8",
        dtype={c.name: _DTYPES[c.kind] for c in table.columns if c.kind in _DTYPES},
        converters={c.name: _number for c in table.columns if c.kind == "number"},
        keep_default_na=False,
    )
    expected = [column.name for column in table.columns]
    if list(frame.columns) != expected:
        raise ValueError(f"expected columns {', '.join(expected)}")
    return frame.astype({c.name: "float64" for c in table.columns if c.kind == "number"})


def _number(text: str) -> float:
    return float(text) if text else np.nan


def coefficients_of(tables: Mapping[str, pd.DataFrame]) -> Coefficients:
    """Coefficients from the tables of a release.

    Raises
    ------
    ValueError, KeyError
        Where the tables don't hang together.
    """
    paints, wavelengths = tables["paints"], tables["wavelengths"]
    p, w = len(paints), len(wavelengths)
    row = pd.Series(range(p), index=paints["paint"])
    column = pd.Series(range(w), index=wavelengths["wavelength"])
    which = {"K": 0, "S": 1}

    def at(table: pd.DataFrame) -> tuple[Any, Any, Any]:
        return (
            row.loc[table["paint"]].to_numpy(np.intp),
            table["quantity"].map(which).to_numpy(np.intp),
            column.loc[table["wavelength"]].to_numpy(np.intp),
        )

    long, local_rows = tables["coefficients"], tables["covariance"]
    values = np.full((p, 2, w), np.nan)
    values[at(long)] = long["value"]
    ratio_only = np.zeros((p, w), dtype=bool)
    i, _, j = at(long)
    ratio_only[i, j] = long["ratio_only"]
    local = np.full((p, 2, 2, w), np.nan)
    i, _, j = at(local_rows.assign(quantity="K"))
    for (a, b), name in {(0, 0): "kk", (0, 1): "ks", (1, 0): "ks", (1, 1): "ss"}.items():
        local[i, a, b, j] = local_rows[name]
    mine, shared = tables["own"], tables["factors"]
    own = np.zeros((p, int(mine["factor"].max()) if len(mine) else 0, 2, w))
    i, q, j = at(mine)
    own[i, mine["factor"] - 1, q, j] = mine["change"]
    factors = np.zeros((len(tables["shared"]), p, 2, w))
    i, q, j = at(shared)
    factors[shared["factor"] - 1, i, q, j] = shared["change"]
    first = paints.iloc[0]
    return Coefficients(
        paints=tuple(paints["paint"]),
        wavelengths=wavelengths["wavelength"].to_numpy(),
        k=values[:, 0],
        s=values[:, 1],
        local=local,
        own=own,
        factors=factors,
        factor_names=tuple(tables["shared"]["name"]),
        scale=first["scale"],
        surface=Surface(
            geometry=first["geometry"],
            specular=first["specular"],
            gloss=first["gloss"],
            n=float(first["n"]),
            k2=float(first["k2"]),
            haze=float(first["haze"]),
        ),
        dry_volume=paints["dry_volume"].to_numpy(),
        density=paints["density"].to_numpy(),
        dry_volume_measured=paints["dry_volume_measured"].to_numpy(),
        ratio_only=ratio_only,
        scan_made=paints["scan_made"].to_numpy(),
        mix_error=paints["mix_error"].to_numpy(),
        model_error=wavelengths["model_error"].to_numpy(),
        model=first["model"],
    )
