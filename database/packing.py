"""Coefficients and tables as bytes, and back, bit for bit.

The bytes are numpy's open ``.npz`` (a zip of ``.npy`` arrays, no pickles): the same input gives the
same bytes.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.surface import Surface

_ARRAYS = (
    "wavelengths",
    "k",
    "s",
    "local",
    "own",
    "factors",
    "dry_volume",
    "density",
    "dry_volume_measured",
    "ratio_only",
    "scan_made",
    "model_error",
)


def _pack(arrays: Mapping[str, Any]) -> bytes:
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def _text(values: Any) -> np.ndarray:
    return np.array(list(values), dtype=np.str_)


def pack_coefficients(coefficients: Coefficients) -> bytes:
    """Coefficients as bytes."""
    header = {
        "scale": coefficients.scale,
        "model": coefficients.model,
        "surface": asdict(coefficients.surface),
    }
    return _pack(
        {name: getattr(coefficients, name) for name in _ARRAYS}
        | {
            "paints": _text(coefficients.paints),
            "factor_names": _text(coefficients.factor_names),
            "header": np.array(json.dumps(header)),
        }
    )


def unpack_coefficients(data: bytes) -> Coefficients:
    """Coefficients from the bytes that `pack_coefficients` made."""
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        header = json.loads(str(arrays["header"]))
        return Coefficients(
            paints=tuple(arrays["paints"].tolist()),
            factor_names=tuple(arrays["factor_names"].tolist()),
            scale=header["scale"],
            model=header["model"],
            surface=Surface(**header["surface"]),
            **{name: arrays[name] for name in _ARRAYS},
        )


def pack_table(table: pd.DataFrame) -> bytes:
    """Columns of numbers, truths or words as bytes; the index is left behind."""
    columns = {}
    for position, (name, column) in enumerate(table.items()):
        plain = column.dtype.kind in "biuf" if isinstance(column.dtype, np.dtype) else False
        # The position keeps a column's name from becoming the name of an argument or a file.
        columns[f"{position}"] = column.to_numpy() if plain else _text(column)
        columns[f"{position}.name"] = np.array(str(name))
    return _pack(columns)


def unpack_table(data: bytes) -> pd.DataFrame:
    """Table from the bytes that `pack_table` made."""
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        count = len(arrays.files) // 2
        return pd.DataFrame({str(arrays[f"{i}.name"]): arrays[f"{i}"] for i in range(count)})
