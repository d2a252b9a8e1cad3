"""Walks a scan-made number back: channels of each patch, picture, device, its target."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from typing import Any

import numpy as np

from ...calibrate.cards.card import BARE
from ...calibrate.cards.channels import CardChannels
from ..releases.load import LoadedRelease
from ..releases.tables.scans import packed_scans
from ..store import schema
from ..store.scans import channels_of
from ..store.transactions import OrmSession

Scanned = tuple[CardChannels, Mapping[str, Any]]
"""A scan that a fit rests on: its channels, and number, picture, device and target."""


def scans_of_store(session: OrmSession, inputs: Sequence[Mapping[str, Any]]) -> tuple[Scanned, ...]:
    """Scans that a fit of the studio rests on."""
    found = []
    for item in inputs:
        row = session.get_one(schema.Scan, item["scan"])
        version = session.get_one(schema.CardVersion, item["card_version"])
        calibration = row.calibration
        assert calibration is not None
        said = {
            "scan": row.id,
            "file": PurePath(row.file).name,
            "sha256": row.sha256,
            "date": row.taken or row.added,
            "dpi": row.dpi,
            "device": calibration.device.name,
            "characterised": calibration.done,
            "target_sha256": calibration.result["target"].get("picture_sha256", ""),
        }
        found.append((channels_of(row, version), said))
    return tuple(found)


def scans_of_release(
    release: LoadedRelease, inputs: Sequence[Mapping[str, Any]]
) -> tuple[Scanned, ...]:
    """Scans that a fit of a release rests on.

    Raises
    ------
    ValueError
        As `packed_scans`.
    """
    if not inputs:
        return ()
    scans = release.tables["scans"].set_index("scan")
    scanners = release.tables["scanners"].set_index("calibration")
    found = []
    for item, channels in zip(inputs, packed_scans(release.tables, inputs), strict=True):
        row = scans.loc[item["scan"]]
        device = scanners.loc[row["calibration"]]
        said = {
            "scan": item["scan"],
            "file": row["file"],
            "sha256": row["sha256"],
            "date": row["taken"] or row["added"],
            "dpi": float(row["dpi"]),
            "device": device["device"],
            "characterised": device["done"],
            "target_sha256": json.loads(device["target"]).get("picture_sha256", ""),
        }
        found.append((channels, said))
    return tuple(found)


def scan_rows(
    paint: str, scans: Sequence[Scanned], fitted: Mapping[tuple[str, str], tuple[float, float]]
) -> Iterator[dict[str, Any]]:
    """A row for each scanned patch that holds a paint or is bare.

    Parameters
    ----------
    fitted : mapping of (card, patch) to (CIEDE2000, weight)
    """
    for scan, said in scans:
        if paint not in scan.card.paints:
            continue
        steps = {drawdown.step: drawdown for drawdown in scan.card.drawdowns}
        for i, patch in enumerate(scan.labels):
            name = patch.rpartition("/")[0]
            if name != BARE and paint not in scan.card.held(name):
                continue
            step = steps.get(name)
            off, weight = fitted.get((scan.card.name, patch), (np.nan, np.nan))
            yield {
                "card": scan.card.name,
                "card_date": scan.card.date,
                "patch": patch,
                "masses_g": dict(step.masses) if step else {},
                "taken_from": step.taken_from if step else None,
                "taken_g": step.taken_g if step else None,
                "channels": scan.channels[i].tolist(),
                "uncertainty": scan.uncertainty[i].tolist(),
                "fit_de00": float(off) if np.isfinite(off) else None,
                "weight": float(weight) if np.isfinite(weight) else None,
                **said,
            }
