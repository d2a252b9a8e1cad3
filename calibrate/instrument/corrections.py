"""Corrections of an instrument's readings: each on or off, each recorded with its data.

The order is that of light and electronics undone backwards: what the detector adds and multiplies
(zero, drift, scale), then what it bends (linearity), then what the monochromator moves (wavelength)
and smears (bandpass). Raw readings stay as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from ..optics.spectra import Array, Spectra
from .tiles import Tile, TileReading

Stage = Literal["zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats"]
STAGES: tuple[Stage, ...] = (
    "zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats",
)  # fmt: skip


@dataclass(frozen=True)
class Optics:
    """What an instrument's profile declares of its monochromator.

    Attributes
    ----------
    band_nm : float or None
        Full width at half height of a triangular band; None where it isn't declared.
    band_corrected : bool
        Whether the instrument undoes its band itself.
    """

    band_nm: float | None = None
    band_corrected: bool = False


@dataclass(frozen=True)
class Made:
    """What was done, or why it was not.

    Attributes
    ----------
    stage : str
    made : bool
    words : str
    data : mapping
        Everything that the stage rests on and found, JSON-able.
    """

    stage: Stage
    made: bool
    words: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Corrected:
    """Corrected readings, and how they came about.

    Attributes
    ----------
    spectra : Spectra
        The rows, labels and wavelengths of the raw readings.
    stages : tuple of Made
        Every stage, in order.
    """

    spectra: Spectra
    stages: tuple[Made, ...]

    def record(self) -> dict[str, Any]:
        """Return what is kept beside the readings, JSON-able."""
        return {"stages": [vars(stage) for stage in self.stages]}


def correct(
    spectra: Spectra,
    at: Array,
    tile_readings: Sequence[TileReading],
    tiles: Mapping[str, Tile],
    optics: Optics | None = None,
    without: Collection[str] = (),
) -> Corrected:
    """Correct a session's raw readings by what the instrument read of its tiles.

    A stage is made where its data are there and it isn't left out; else the record says why not.

    Parameters
    ----------
    spectra : Spectra
        Raw, N readings on W wavelengths.
    at : (N,) array
        When each was read: seconds, or the place in the file.
    tile_readings : sequence of TileReading
        Of the same sitting, on the same wavelengths and clock.
    tiles : mapping of name to Tile
    optics : Optics, optional
    without : collection of str
        Stages to leave out.

    Raises
    ------
    InputError
        For a tile that has no certified values, a white tile read too dark, a trap too bright.
    """
    raise NotImplementedError
