"""The file of paints: a studio's tubes as TOML."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from ...calibrate.cards.toml_text import load, shown
from ...calibrate.errors import InputError
from .paint_names import check_nickname, nickname_key
from .schema import FINISHES, ORDINARY

LIKELY_DENSITY = (0.5, 6.0)
"""g/ml; wider than any tube paint, so as to catch a wrong unit. Common practice, no source."""


@dataclass(frozen=True)
class NewLot:
    """One tube: size, price, density (g/ml) and volume solids (0-1) where they are known."""

    lot: str = ""
    size_ml: float | None = None
    price: float | None = None
    density: float | None = None
    volume_solids: float | None = None
    opened: date | None = None
    on_hand: bool = True
    note: str = ""


@dataclass(frozen=True)
class NewPaint:
    """A paint as its label describes it."""

    nickname: str
    name: str
    maker: str = ""
    range: str = ""
    pigments: tuple[str, ...] = ()
    binder: str = ""
    finish: str = ORDINARY
    note: str = ""
    lots: tuple[NewLot, ...] = field(default_factory=tuple)


def check_lot(lot: NewLot, file: str | None = None, where: str | None = None) -> NewLot:
    """Return a lot whose figures a tube can have.

    Raises
    ------
    InputError
        Naming the figure that none can have.
    """
    limits = {
        "size_ml": (0.0, math.inf),
        "price": (0.0, math.inf),
        "density": LIKELY_DENSITY,
        "volume_solids": (0.0, 1.0),
    }
    for key, (low, high) in limits.items():
        value = getattr(lot, key)
        above = value is None or value > low or (key == "price" and value == 0)
        if not (above and (value is None or value <= high) and value != math.inf):
            raise InputError(
                file,
                ", ".join(part for part in (where, key) if part),
                f"expected {'above' if key != 'price' else 'at least'} {low:g}"
                f"{'' if high == math.inf else f' and up to {high:g}'}, got {value:g}",
                "density is in g/ml, volume solids a fraction; leave it out where unknown",
            )
    return lot


def check_finish(finish: str, file: str | None = None, where: str = "") -> str:
    """Return a finish that a paint can have.

    Raises
    ------
    InputError
        Where it is none.
    """
    if finish not in FINISHES:
        raise InputError(
            file,
            f"{where}finish",
            f"expected one of {', '.join(FINISHES)}, got {finish!r}",
            "leave it out for an ordinary paint",
        )
    return finish


def parse_paints(text: str, file: str) -> list[NewPaint]:
    """Parse the text of a file of paints.

    Raises
    ------
    InputError
        Naming the line (syntax) or the place, such as ``paint 2, lot 1, density``.
    """
    document = load(text, file)
    tables = document.pop("paint", None)
    if document or not isinstance(tables, list) or not tables:
        raise InputError(
            file,
            next(iter(document), None),
            "expected a file of paints: tables [[paint]] and nothing else",
            "begin each paint with a line [[paint]]",
        )
    paints = [_paint(table, file, f"paint {i}") for i, table in enumerate(tables, 1)]
    seen: dict[str, int] = {}
    for i, paint in enumerate(paints, 1):
        first = seen.setdefault(nickname_key(paint.nickname), i)
        if first != i:
            raise InputError(
                file,
                f"paint {i}, nickname",
                f"{paint.nickname} is already the nickname of paint {first}",
                "give each paint a nickname of its own",
            )
    return paints


_PAINT_KEYS: dict[str, type] = {
    "nickname": str,
    "name": str,
    "maker": str,
    "range": str,
    "pigments": list,
    "binder": str,
    "finish": str,
    "note": str,
    "lot": list,
}
_LOT_KEYS: dict[str, type] = {
    "lot": str,
    "size_ml": float,
    "price": float,
    "density": float,
    "volume_solids": float,
    "opened": date,
    "on_hand": bool,
    "note": str,
}
_LARGEST = 1e9
_SAID = {
    str: "words in quotes",
    list: "a list in brackets",
    float: "a number",
    date: "a date such as 2026-03-01",
    bool: "true or false",
}


def _checked(table: Any, keys: Mapping[str, type], file: str, where: str) -> dict[str, Any]:
    if not isinstance(table, dict):
        raise InputError(file, where, "expected a table", "write its keys below it")
    for key, value in table.items():
        if key not in keys:
            known = ", ".join(keys)
            raise InputError(file, f"{where}, {key}", f"expected one of {known}", "mend the key")
        kind = keys[key]
        right = type(value) is kind
        if kind is float:
            is_number = isinstance(value, int | float) and not isinstance(value, bool)
            right = is_number and abs(value) < _LARGEST
        if not right:
            raise InputError(
                file,
                f"{where}, {key}",
                f"expected {_SAID[kind]}, got {shown(value)}",
                "mend the value",
            )
    return {key: float(v) if keys[key] is float else v for key, v in table.items()}


def _paint(table: Any, file: str, where: str) -> NewPaint:
    values = _checked(table, _PAINT_KEYS, file, where)
    for key in ("nickname", "name"):
        if not values.get(key, "").strip():
            raise InputError(file, f"{where}, {key}", "expected one, found none", "write it")
    check_nickname(values["nickname"], file, f"{where}, nickname")
    check_finish(values.get("finish", ORDINARY), file, f"{where}, ")
    pigments = values.pop("pigments", [])
    if not all(isinstance(pigment, str) for pigment in pigments):
        raise InputError(
            file, f"{where}, pigments", f"expected names, got {pigments}", 'write ["PB29"]'
        )
    lots = tuple(
        check_lot(
            NewLot(**_checked(lot, _LOT_KEYS, file, f"{where}, lot {i}")), file, f"{where}, lot {i}"
        )
        for i, lot in enumerate(values.pop("lot", []), 1)
    )
    if len({lot.lot for lot in lots}) < len(lots):
        raise InputError(
            file, f"{where}, lot", "two lots of one name", "give each lot a name of its own"
        )
    return NewPaint(pigments=tuple(pigments), lots=lots, **values)
