"""Coefficients and tables as bytes, and back, bit for bit.

Coefficients are numpy's open ``.npz`` (a zip of ``.npy`` arrays, no pickles), tables are compressed
JSON. The same input gives the same bytes. What is large of coefficients is packed a few paints
together, so that some of a thousand are unpacked without the rest.
"""

from __future__ import annotations

import io
import json
import zlib
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
import orjson

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.surface import Surface

if TYPE_CHECKING:
    import pandas as pd

_OF_GRID = ("wavelengths", "model_error")
_BY_PAINT = (
    "dry_volume",
    "density",
    "dry_volume_measured",
    "ratio_only",
    "scan_made",
    "mix_error",
    "part_error",
    "crowding",
    "surface_offset",
    "surface_error",
)
_LARGE = ("k", "s", "local", "own", "factors")
"""What is packed a few paints together; of a studio's earlier fits all."""
_TOGETHER, _SOME = 16, "paints from {}"
"""How many, and what to call the array of all that is large of them."""


def _text(values: Any) -> np.ndarray:
    return np.array(list(values), dtype=np.str_)


def pack_coefficients(coefficients: Coefficients) -> bytes:
    """Coefficients as bytes."""
    header = {
        "scale": coefficients.scale,
        "model": coefficients.model,
        "surface": asdict(coefficients.surface),
    }
    c, buffer = coefficients, io.BytesIO()
    parts = [c.factors.swapaxes(0, 1) if n == "factors" else getattr(c, n) for n in _LARGE]
    np.savez_compressed(
        buffer,
        allow_pickle=False,
        paints=_text(c.paints),
        factor_names=_text(c.factor_names),
        header=np.array(json.dumps(header)),
        **{name: getattr(c, name) for name in (*_OF_GRID, *_BY_PAINT)},
        **{
            _SOME.format(i): np.concatenate(
                [_stacked(part[i : i + _TOGETHER], c.wavelengths.size) for part in parts], axis=1
            )
            for i in range(0, len(c.paints), _TOGETHER)
        },
    )
    return buffer.getvalue()


def unpack_coefficients(
    data: bytes, fit: int | None = None, paints: Sequence[str] | None = None
) -> Coefficients:
    """Coefficients from the bytes that `pack_coefficients` made: of all paints, or of some.

    With the number of their fit, their shared factors are named by it: those of two fits are not
    the same. A factor of an earlier fit, which a tube was fitted against, bears that name already.

    Raises
    ------
    KeyError
        For a paint that isn't among them.
    """
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        header = json.loads(str(arrays["header"]))
        factors = arrays["factor_names"].tolist()
        if fit is not None:
            factors = [n if n.startswith("fit ") else f"fit {fit}: {n}" for n in factors]
        row = {paint: i for i, paint in enumerate(arrays["paints"].tolist())}
        wanted = list(row) if paints is None else list(paints)
        rows = np.array([row[paint] for paint in wanted], dtype=np.intp)
        # A studio's first fits were kept before these were learnt.
        later = dict.fromkeys(
            ("surface_offset", "part_error", "crowding", "surface_error"), np.zeros(len(rows))
        )
        return Coefficients(
            paints=tuple(wanted),
            factor_names=tuple(factors),
            scale=header["scale"],
            model=header["model"],
            surface=Surface(**header["surface"]),
            **{name: arrays[name] for name in _OF_GRID},
            **later | {name: arrays[name][rows] for name in _BY_PAINT if name in arrays},
            **_large(arrays, rows, len(factors)),
        )


def _stacked(part: np.ndarray, width: int) -> np.ndarray:
    """Each paint's rows over wavelength, (P, N, W)."""
    return part.reshape(len(part), -1, width)


def _large(arrays: Any, rows: np.ndarray, factors: int) -> dict[str, Any]:
    """What is large of some paints, by their rows."""
    if "k" in arrays:
        whole = {name: arrays[name] for name in _LARGE}
        return {
            name: each[:, rows] if name == "factors" else each[rows] for name, each in whole.items()
        }
    width = arrays["wavelengths"].size
    firsts = np.unique(rows - rows % _TOGETHER).tolist()
    some = {first: arrays[_SOME.format(first)] for first in firsts}
    table = np.array([some[row - row % _TOGETHER][row % _TOGETHER] for row in rows.tolist()])
    last = table.shape[1] - 2 * factors
    return {
        "k": table[:, 0],
        "s": table[:, 1],
        "local": table[:, 2:6].reshape(-1, 2, 2, width),
        "own": table[:, 6:last].reshape(len(rows), (last - 6) // 2, 2, width),
        "factors": np.moveaxis(table[:, last:].reshape(len(rows), factors, 2, width), 1, 0),
    }


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
