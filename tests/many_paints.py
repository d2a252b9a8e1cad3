"""A release of many paints: the demo's over and over, each with a name of its own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
from tintladder.database.releases.load import LoadedRelease

from tests.lab.paints import WHITE

_CARDED = ("cards", "drawdowns", "sessions", "patches")


def many_paints(release: LoadedRelease, count: int) -> LoadedRelease:
    """Repeat every paint but the white, its cards and its readings, until there are so many."""
    tables = {name: [table] for name, table in release.tables.items()}
    rest = [paint for paint in release.tables["paints"]["paint"] if paint != WHITE]
    for i in range(count - 1 - len(rest)):
        paint, number = rest[i % len(rest)], 2 + i // len(rest)
        for name, table in _again(release.tables, paint, f"-{number}", 100 * (i + 1)).items():
            tables[name].append(table)
    made = {name: pd.concat(parts, ignore_index=True) for name, parts in tables.items()}
    return replace(release, tables=made)


def _again(
    tables: Mapping[str, pd.DataFrame], paint: str, suffix: str, offset: int
) -> dict[str, pd.DataFrame]:
    """One paint's rows of every table, renamed."""

    def named(text: str) -> str:
        return f"{paint}{suffix}" if text == paint else text

    def masses(text: str) -> str:
        return json.dumps({named(key): value for key, value in json.loads(text).items()})

    patches = tables["patches"][tables["patches"]["paint"] == paint]
    cards = set(patches["card"])
    mine: dict[str, Any] = {
        name: table[table["paint"] == paint].assign(paint=named(paint))
        for name, table in tables.items()
        if "paint" in table and name != "drawdowns"
    }
    for name in _CARDED:
        table = mine.get(name, tables[name])
        table = table[table["card"].isin(cards)]
        mine[name] = table.assign(card=table["card"] + suffix)
    of = mine["drawdowns"]
    mine["drawdowns"] = of.assign(paint=of["paint"].map(named), masses=of["masses"].map(masses))
    mine["paints"]["name"] = mine["paints"]["name"] + f" {suffix[1:]}"
    sessions = mine["sessions"]["session"]
    readings = tables["readings"][tables["readings"]["session"].isin(sessions)]
    mine["readings"] = readings.assign(session=readings["session"] + offset)
    mine["sessions"]["session"] = sessions + offset
    return mine
