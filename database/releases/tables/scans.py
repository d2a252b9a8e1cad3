"""Scans in a release: from the store into its tables, and back from them into a fit."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import PurePath
from typing import Any

import numpy as np
import pandas as pd

from ....calibrate.cards.channels import CardChannels, one_sided
from ....calibrate.optics.sensors import TONES, Sensors
from ....calibrate.optics.spectra import GRID
from ....calibrate.optics.surface import Surface
from ...store import schema
from ...store.release_rows import scan_rows, scanner_rows, scans_of
from ...store.scanners import Scanner
from ...store.transactions import OrmSession
from .columns import Table
from .inputs import card_of
from .scan_schema import CHANNELS, SCAN_TABLES
from .text import as_json, rows

_TABLE: dict[str, Table] = {table.name: table for table in SCAN_TABLES}
_SPECTRUM = [f"{w:g}" for w in GRID]


def scan_texts(
    session: OrmSession, fits: Iterable[schema.Fit]
) -> dict[str, Callable[[], Iterator[str]]]:
    """Lines of each table of scans, of those that the fits rest on or were judged by, in pieces."""
    numbers = scans_of(session, fits)

    def scanners() -> Iterator[schema.Calibration]:
        return scanner_rows(session, numbers)

    return {
        "scanners": lambda: rows(_TABLE["scanners"], map(_scanner, scanners())),
        "sensitivities": lambda: rows(
            _TABLE["sensitivities"], (row for c in scanners() for row in _sensitivities(c))
        ),
        "scans": lambda: rows(_TABLE["scans"], map(_scan, scan_rows(session, numbers))),
        "channels": lambda: rows(
            _TABLE["channels"],
            (row for scan in scan_rows(session, numbers) for row in _channels(scan)),
        ),
    }


def _scanner(row: schema.Calibration) -> dict[str, Any]:
    device = row.result["device"]
    kept = {k: v for k, v in device.items() if k not in ("name", "sensors")}
    if tones := (device["sensors"] or {}).get("tones"):
        kept["tones"] = tones
    target = {
        key: PurePath(value).name if key in ("picture", "values") else value
        for key, value in row.result["target"].items()
    }
    return {
        "calibration": row.id,
        "device": row.device.name,
        "done": row.done,
        "target": as_json(target),
        "characterised": as_json(kept),
    }


def _sensitivities(row: schema.Calibration) -> Iterator[dict[str, Any]]:
    sensors = Scanner.of(row).device.sensors
    assert sensors is not None
    for factor, rows_of in enumerate([sensors.sensitivity, *sensors.factors]):
        for channel, values in zip(CHANNELS, rows_of, strict=True):
            if values.any():
                said = {"calibration": row.id, "factor": factor, "channel": channel}
                yield said | dict(zip(_SPECTRUM, values.tolist(), strict=True))


def _scan(row: schema.Scan) -> dict[str, Any]:
    return {
        "scan": row.id,
        "card": row.card.name,
        "file": PurePath(row.file).name,
        "sha256": row.sha256,
        "taken": row.taken,
        "added": row.added,
        "calibration": row.calibration_id,
        "dpi": row.dpi,
        "level_from": row.level_from,
        "level_uncertainty": row.evened["level_uncertainty"],
        "settings": as_json(row.settings),
        "evened": as_json(row.evened),
    }


def _channels(row: schema.Scan) -> Iterator[dict[str, Any]]:
    for patch in row.patches:
        yield {
            "scan": row.id,
            "patch": patch.patch,
            "repeat": patch.repeat,
            **dict(zip(CHANNELS, patch.channels, strict=True)),
            **{f"variance_{c}": v for c, v in zip(CHANNELS, patch.variance, strict=True)},
            "left_out": patch.left_out,
            "flag": patch.flag,
        }


def packed_scans(
    tables: Mapping[str, pd.DataFrame], inputs: Sequence[Mapping[str, Any]]
) -> list[CardChannels]:
    """Scans of a fit, in its order, from the tables of a release.

    Raises
    ------
    KeyError
        Where a scan isn't in it.
    ValueError
        Where it has a card as it was corrected after the fit.
    """
    cards, scans = tables["cards"].set_index("card"), tables["scans"].set_index("scan")["card"]
    for item in inputs:
        if cards.loc[scans[item["scan"]], "sha256"] != item["card_sha256"]:
            raise ValueError(f"card {scans[item['scan']]} was corrected since")
    return [_packed(tables, item["scan"]) for item in inputs]


def packed_devices(
    tables: Mapping[str, pd.DataFrame],
    inputs: Sequence[Mapping[str, Any]],
    by_scan: Mapping[str, Any],
) -> list[tuple[Sensors, list[CardChannels]]]:
    """Devices of a fit, each with what it scanned, in its order; see `packed_scans`.

    Parameters
    ----------
    tables : mapping of name to DataFrame
    inputs : sequence of mapping
        The fit's scans.
    by_scan : mapping
        Of the fit's characterisations, the numbers: ``calibrations``, or of one ``calibration``, as
        fits before several devices told together have it.
    """
    numbers = by_scan.get("calibrations") or [by_scan["calibration"]]
    of_scan = tables["scans"].set_index("scan")["calibration"]
    found: dict[int, list[CardChannels]] = {int(number): [] for number in numbers}
    for item, scan in zip(inputs, packed_scans(tables, inputs), strict=True):
        number = int(of_scan[item["scan"]]) if len(found) > 1 else int(numbers[0])
        if item.get("learnt"):
            scan = replace(scan, card=replace(scan.card, purpose="learn"))
        found[number].append(scan)
    return [(packed_sensors(tables, number), scans) for number, scans in found.items()]


def judging_scans(
    tables: Mapping[str, pd.DataFrame], card: str
) -> Iterator[tuple[list[CardChannels], Sensors]]:
    """Scans of a card of mixtures, a device at a time, and what the device sees.

    Raises
    ------
    KeyError
        Where a device isn't in the tables.
    """
    mine = tables["scans"][tables["scans"]["card"] == card]
    for calibration, rows_of in mine.groupby("calibration"):
        scans = [_packed(tables, scan) for scan in rows_of["scan"]]
        yield scans, packed_sensors(tables, int(str(calibration)))


def _packed(tables: Mapping[str, pd.DataFrame], scan: int) -> CardChannels:
    (said,) = tables["scans"][tables["scans"]["scan"] == scan].to_dict("records")
    patches = tables["channels"][tables["channels"]["scan"] == scan]
    return CardChannels(
        card_of(tables, said["card"]),
        patches[list(CHANNELS)].to_numpy(float),
        patches[[f"variance_{name}" for name in CHANNELS]].to_numpy(float),
        tuple(patches["patch"]),
        Surface.of("45:0", "excluded"),
        said["file"],
        float(said["level_uncertainty"]),
        one_sided(zip(patches["patch"], patches["flag"].fillna(""), strict=True)),
    )


def packed_sensors(tables: Mapping[str, pd.DataFrame], calibration: int) -> Sensors:
    """A device's sensitivities from the tables of a release.

    Raises
    ------
    KeyError
        Where they aren't in it.
    """
    mine = tables["sensitivities"][tables["sensitivities"]["calibration"] == calibration]
    if mine.empty:
        raise KeyError(calibration)
    whole = np.zeros((int(mine["factor"].max()) + 1, len(CHANNELS), GRID.size))
    at = mine["factor"].to_numpy(int), mine["channel"].map(CHANNELS.index).to_numpy(int)
    whole[at] = mine[_SPECTRUM].to_numpy(float)
    (said,) = tables["scanners"].loc[
        tables["scanners"]["calibration"] == calibration, "characterised"
    ]
    tones = np.array(json.loads(said).get("tones", [])).reshape(-1, len(CHANNELS), TONES.size)
    return Sensors(whole[0], whole[1:], GRID, tones)
