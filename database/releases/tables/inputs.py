"""Cards and sessions from the tables of a release, as they went into its fits."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from ....calibrate.cards.card import Card, Drawdown
from ....calibrate.formats.session import Session
from ....calibrate.optics.spectra import Spectra


def card_of(tables: Mapping[str, pd.DataFrame], name: str) -> Card:
    """Return a card of a release.

    Raises
    ------
    KeyError
        Where there is none of that name.
    """
    cards, drawdowns = tables["cards"], tables["drawdowns"]
    row = cards[cards["card"] == name]
    if row.empty:
        raise KeyError(name)
    said = row.iloc[0]
    return Card(
        name=name,
        file=f"{name} (packed in the release)",
        drawdowns=tuple(
            _drawdown(step) for step in drawdowns[drawdowns["card"] == name].to_dict("records")
        ),
        purpose=said["purpose"],
        layout=said["layout"] or None,
        date=said["date"] or None,
        balance_g=float(said["balance_g"]),
        sealed=bool(said["sealed"]),
        note=said["note"],
    )


def _drawdown(row: Mapping[Any, Any]) -> Drawdown:
    return Drawdown(
        step=row["step"],
        paint=row["paint"] or None,
        masses=json.loads(row["masses"]),
        taken_from=row["taken_from"] or None,
        taken_g=_number(row["taken_g"]),
        white=row["white"] or None,
        lots=json.loads(row["lots"]),
        over=tuple(row["over"].split()),
        opaque=bool(row["opaque"]),
        gap_um=_number(row["gap_um"]),
        thickness_um=_number(row["thickness_um"]),
        surface=row["surface"],
        coats=int(row["coats"]),
        hours_dried=_number(row["hours_dried"]),
    )


def session_of(tables: Mapping[str, pd.DataFrame], number: int) -> Session:
    """Return a session of a release, its readings as they came in.

    Raises
    ------
    KeyError
        Where there is none of that number.
    """
    sessions, readings = tables["sessions"], tables["readings"]
    row = sessions[sessions["session"] == number]
    if row.empty:
        raise KeyError(number)
    said, read = row.iloc[0], readings[readings["session"] == number]
    spectra = Spectra(
        np.array(json.loads(said["wavelengths"]), dtype=float),
        np.array([json.loads(text) for text in read["reflectance"]], dtype=float),
        tuple(read["patch"]),
        np.array([json.loads(text) for text in read["flags"]], dtype=np.uint16),
    )
    corrections = json.loads(said["corrections"]) if said["corrections"] else None
    corrected = None
    if corrections is not None:
        values = np.array([json.loads(text) for text in read["corrected"]], dtype=float)
        corrected = spectra.with_values(values)
    return Session(
        spectra=spectra,
        file=said["file"],
        sha256=said["sha256"],
        format=said["format"],
        unit=said["unit"],
        geometry=said["geometry"],
        specular=said["specular"],
        condition=said["condition"] or None,
        state=said["state"],
        date=said["date"] or None,
        device=said["device"] or None,
        corrected=corrected,
        corrections=corrections,
    )


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
