"""Coefficients and tables as bytes, and back, bit for bit.

Coefficients are numpy's open ``.npz`` (a zip of ``.npy`` arrays, no pickles), tables are compressed
JSON. The same input gives the same bytes.
"""

from __future__ import annotations

import io
import json
import zlib
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
import orjson

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.surface import Surface

if TYPE_CHECKING:
    import pandas as pd

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
    "mix_error",
    "part_error",
    "model_error",
    "surface_offset",
    "surface_error",
)


def _text(values: Any) -> np.ndarray:
    return np.array(list(values), dtype=np.str_)


def pack_coefficients(coefficients: Coefficients) -> bytes:
    """Coefficients as bytes."""
    header = {
        "scale": coefficients.scale,
        "model": coefficients.model,
        "surface": asdict(coefficients.surface),
    }
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        allow_pickle=False,
        paints=_text(coefficients.paints),
        factor_names=_text(coefficients.factor_names),
        header=np.array(json.dumps(header)),
        **{name: getattr(coefficients, name) for name in _ARRAYS},
    )
    return buffer.getvalue()


def unpack_coefficients(data: bytes, fit: int | None = None) -> Coefficients:
    """Coefficients from the bytes that `pack_coefficients` made.

    With the number of their fit, their shared factors are named by it: those of two fits are not
    the same. A factor of an earlier fit, which a tube was fitted against, bears that name already.
    """
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        header = json.loads(str(arrays["header"]))
        factors = arrays["factor_names"].tolist()
        if fit is not None:
            factors = [n if n.startswith("fit ") else f"fit {fit}: {n}" for n in factors]
        # A studio's first fits were kept before these were learnt.
        later = dict.fromkeys(
            ("surface_offset", "part_error", "surface_error"), np.zeros(len(arrays["k"]))
        )
        return Coefficients(
            paints=tuple(arrays["paints"].tolist()),
            factor_names=tuple(factors),
            scale=header["scale"],
            model=header["model"],
            surface=Surface(**header["surface"]),
            **later | {name: arrays[name] for name in _ARRAYS if name in arrays},
        )


def pack_table(table: pd.DataFrame) -> bytes:
    """Columns of numbers, truths or words as bytes; the index is left behind."""
    columns = {str(name): column.tolist() for name, column in table.items()}
    return zlib.compress(json.dumps(columns, ensure_ascii=False).encode())


def unpack_table(data: bytes) -> pd.DataFrame:
    """Table from the bytes that `pack_table` made."""
    import pandas as pd

    return pd.DataFrame(unpack_columns(data))


def unpack_columns(data: bytes) -> dict[str, list[Any]]:
    """Columns of the table that `pack_table` made."""
    text = zlib.decompress(data)
    columns: dict[str, list[Any]]
    try:
        columns = orjson.loads(text)
    except orjson.JSONDecodeError:
        # NaN, which only the library of the language itself has a word for.
        columns = json.loads(text)
    return columns
