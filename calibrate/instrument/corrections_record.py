"""What a session's record of corrections says, and the same corrections made anew from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..optics.spectra import Spectra
from .corrections import InstrumentOptics, ReadAgain, correct
from .estimate.outcomes import CHANGING
from .estimate.stagewise import corrected_by_stages
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


def correct_anew(spectra: Spectra, record: Mapping[str, Any]) -> Spectra:
    """Correct raw readings just as a record says that they were.

    Parameters
    ----------
    spectra : Spectra
        Raw.
    record : mapping
        From `tintladder.calibrate.instrument.corrections.Corrected.record`, or of corrections that
        were made stage by stage, before it held how sure they are.

    Returns
    -------
    Spectra
        Corrected.

    Raises
    ------
    InputError
        As `tintladder.calibrate.instrument.corrections.correct`.
    """
    at = np.array(record["at"], dtype=float)
    readings = [TileReading(**{**said, "values": _array(said)}) for said in record["readings"]]
    if "errors" not in record:
        values = corrected_by_stages(spectra.wavelengths, spectra.values, at, readings, record)
        return spectra.with_values(values)
    tiles = {
        said["name"]: Tile(
            **{**said, "wavelengths": np.array(said["wavelengths"]), "values": _array(said)}
        )
        for said in record["tiles"]
    }
    made = correct(
        spectra, at, readings, tiles, InstrumentOptics(**record["optics"]), record["without"],
        again=[ReadAgain(**{**said, "values": _array(said)}) for said in record["again"]],
        reading_s=record["reading_s"],
        tiles_are_clean=record["tiles_are_clean"],
    )  # fmt: skip
    return made.spectra


def _array(said: Mapping[str, Any]) -> np.ndarray:
    return np.array(said["values"], dtype=float)
