"""What a session's record of corrections says, and the same corrections made anew from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..optics.spectra import Spectra
from .corrections import CHANGING, Corrected, InstrumentOptics, correct
from .tiles import Tile, TileReading


def in_words(record: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Say what a session's record of corrections says: what was made, and what was not and why."""
    if record is None:
        return ()
    made = [
        f"{'corrected' if s['stage'] in CHANGING else 'checked'} {s['stage']}: {s['words']}"
        for s in record["stages"]
        if s["made"]
    ]
    not_made = [f"{s['stage']} ({s['words']})" for s in record["stages"] if not s["made"]]
    return (*made, f"not corrected: {', '.join(not_made)}") if not_made else tuple(made)


def changed_by(record: Mapping[str, Any]) -> list[str]:
    """Return the stages that changed the values of a session."""
    return [s["stage"] for s in record["stages"] if s["made"] and s["stage"] in CHANGING]


def correct_anew(spectra: Spectra, record: Mapping[str, Any]) -> Corrected:
    """Correct raw readings just as a record says that they were.

    Parameters
    ----------
    spectra : Spectra
        Raw.
    record : mapping
        From `tintladder.calibrate.instrument.corrections.Corrected.record`.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        As `tintladder.calibrate.instrument.corrections.correct`.
    """
    tiles = {
        said["name"]: Tile(
            **{**said, "wavelengths": np.array(said["wavelengths"]), "values": _array(said)}
        )
        for said in record["tiles"]
    }
    readings = [TileReading(**{**said, "values": _array(said)}) for said in record["readings"]]
    optics = InstrumentOptics(**record["optics"])
    return correct(spectra, np.array(record["at"]), readings, tiles, optics, record["without"])


def _array(said: Mapping[str, Any]) -> np.ndarray:
    return np.array(said["values"], dtype=float)
