"""Writes a card as the TOML file that `tintladder.calibrate.cards.card_file` reads."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from .card import SUBSTRATES, Card, Drawdown

_EITHER = ("paint", "white", "gap_um", "thickness_um", "surface", "coats", "hours_dried", "opaque")


def card_text(card: Card, comments: Sequence[str] = ()) -> str:
    """Write a card; what all its drawdowns share stands at the top.

    Parameters
    ----------
    card : Card
    comments : sequence of str
        Lines to stand first.

    Returns
    -------
    str
    """
    wide = {
        key: getattr(card.drawdowns[0], key)
        for key in _EITHER
        if len({getattr(d, key) for d in card.drawdowns}) == 1
    }
    lots = {name: lot for d in card.drawdowns for name, lot in d.lots.items()}
    head: dict[str, Any] = {"card": card.name, "purpose": card.purpose, "layout": card.layout}
    lines = [f"# {comment}" for comment in comments] + _lines(head)
    if card.date:
        # TOML has dates of its own, which stand bare.
        lines.append(f"date = {card.date}")
    lines += _lines({"balance_g": card.balance_g, "sealed": card.sealed} | wide)
    lines += _lines({"lots": lots or None, "note": card.note or None})
    for d in card.drawdowns:
        lines += ["", "[[drawdown]]", *_lines(_drawdown(d, wide))]
    return "\n".join(lines) + "\n"


def _drawdown(d: Drawdown, wide: Mapping[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {"step": d.step}
    if d.taken_from is None:
        made["masses"] = d.masses
    else:
        made |= {"from": d.taken_from, "grams": d.taken_g, "additions": d.masses or None}
    made |= {key: getattr(d, key) for key in _EITHER if key not in wide}
    return made | {"over": list(d.over) if d.over != SUBSTRATES else None}


def _lines(values: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_toml(value)}" for key, value in values.items() if value is not None]


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _toml(name)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {_toml(item)}" for key, item in value.items())
        return f"{{{inner}}}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, int):
        return str(value)
    # A JSON string is a TOML one, but for the one control character that JSON leaves bare.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
