"""Corrections of an instrument's readings: each on or off, each recorded with its data.

What is wrong is estimated once for all stages (`tintladder.calibrate.instrument.estimate`), and
undone in the order of light and electronics backwards: what the detector adds and multiplies (zero,
drift, scale), then what it bends (linearity), then what the monochromator moves (wavelength) and
smears (bandpass). A stage is made only where the tiles insist on it. Raw readings stay as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..errors import InputError
from ..optics.shared_errors import SharedErrors
from ..optics.spectra import Array, Flag, Spectra
from .estimate.carried import carried
from .estimate.jumps import Jump, moved
from .estimate.monochromator import undo_band
from .estimate.odd_tiles import odd_by_certificate, refuse
from .estimate.outcomes import StageOutcome, outcomes, without_tiles
from .estimate.session import Told, applied, told
from .repeats import flag_outlying, noise_of_repeats
from .tiles import Tile, TileReading, black_trap, check_reading


@dataclass(frozen=True)
class InstrumentOptics:
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
class ReadAgain:
    """A reading of a patch that no longer counts, or a control: it tells of the gain alone.

    Attributes
    ----------
    values : (W,) array
    """

    patch: str
    values: Array
    at: float


@dataclass(frozen=True)
class Corrected:
    """Corrected readings, and how they came about.

    Attributes
    ----------
    spectra : Spectra
        The rows, labels and wavelengths of the raw readings.
    stages : tuple of StageOutcome
        Every stage, in order.
    at : (N,) array
    tiles_are_clean : bool
        All as `correct` was given them.
    errors : SharedErrors or None
        How sure they are; None where no tile was read.
    jumps : tuple of Jump
        Where the gain moved at once.
    """

    spectra: Spectra
    stages: tuple[StageOutcome, ...]
    tiles: tuple[Tile, ...]
    tile_readings: tuple[TileReading, ...]
    at: Array
    optics: InstrumentOptics
    without: tuple[str, ...]
    again: tuple[ReadAgain, ...] = ()
    reading_s: float | None = None
    tiles_are_clean: bool = False
    errors: SharedErrors | None = None
    jumps: tuple[Jump, ...] = ()

    def record(self) -> dict[str, Any]:
        """Return what is kept beside the readings, JSON-able: enough to correct them anew."""
        return {
            "stages": [dict(vars(stage)) for stage in self.stages],
            "tiles": [tile.record() for tile in self.tiles],
            "readings": [reading.record() for reading in self.tile_readings],
            "at": _plain(self.at),
            "optics": dict(vars(self.optics)),
            "without": list(self.without),
            "again": [vars(one) | {"values": _plain(one.values)} for one in self.again],
            "reading_s": self.reading_s,
            "tiles_are_clean": self.tiles_are_clean,
            "errors": None if self.errors is None else self.errors.record(),
        }


def correct(
    spectra: Spectra,
    at: Array,
    tile_readings: Sequence[TileReading],
    tiles: Mapping[str, Tile],
    optics: InstrumentOptics | None = None,
    without: Collection[str] = (),
    file: str | None = None,
    *,
    again: Sequence[ReadAgain] = (),
    reading_s: float | None = None,
    tiles_are_clean: bool = False,
) -> Corrected:
    """Correct a session's raw readings by what the instrument read of its tiles.

    A stage is made where the tiles insist on it and it isn't left out; else the record says why
    not.

    Parameters
    ----------
    spectra : Spectra
        Raw, N readings on W wavelengths.
    at : (N,) array
        When each was read: seconds, or the place in the file.
    tile_readings : sequence of TileReading
        Of the same sitting, on the same wavelengths and clock.
    tiles : mapping of name to Tile
        A trap that isn't among them is taken to reflect nothing; a white that isn't serves for
        drift alone.
    optics : InstrumentOptics, optional
    without : collection of str
        Stages to leave out.
    file : str, optional
        For the message.
    again : sequence of ReadAgain
        Further readings of patches, which tell where the gain jumped.
    reading_s : float, optional
        Seconds that a reading takes, where `at` are places in a file.
    tiles_are_clean : bool
        Whether tiles that are at odds with their certificates were looked at, and are as they are.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        For a grey or coloured tile that has no certified values, a tile that has none where it was
        read, a white tile read too dark, a trap too bright, a tile at odds with its certificate.
    """
    optics = optics or InstrumentOptics()
    ever = np.asarray(~np.isnan(spectra.values).all(axis=0))
    ever |= not ever.any()
    wavelengths = spectra.wavelengths[ever]
    # What was never read of a patch needs no tile either.
    readings = [replace(reading, values=reading.values[ever]) for reading in tile_readings]
    whites = sorted({reading.name for reading in readings if reading.kind == "white"})
    if len(whites) > 1:
        raise InputError(
            file,
            None,
            f"several white tiles were read: {', '.join(whites)}",
            "read one white tile; name the others as greys",
        )
    known = dict(tiles)
    for reading in readings:
        if reading.kind == "trap":
            known.setdefault(reading.name, black_trap(wavelengths))
        if reading.kind != "white" or reading.name in known:
            check_reading(reading, wavelengths, known, file)
    at, raw = np.asarray(at, float), spectra.values[:, ever]
    values, errors, jumps = raw, None, tuple[Jump, ...]()
    if readings:
        found = told(
            wavelengths, at, readings, known, optics.band_nm, optics.band_corrected,
            noise_of_repeats(replace(spectra, wavelengths=wavelengths, values=raw)),
        )  # fmt: skip
        if not tiles_are_clean:
            refuse(odd_by_certificate(found, known), file)
        values, errors, jumps, made = _undone(
            found, raw, at, spectra.labels, known, optics, without,
            [(one.patch, one.at, one.values[ever]) for one in again], reading_s,
        )  # fmt: skip
    else:
        made = without_tiles(optics.band_nm, optics.band_corrected)
        made = [
            replace(s, made=False, words="left out, as asked") if s.stage in without else s
            for s in made
        ]
        if made[-1].made and optics.band_nm:
            values = undo_band(raw, wavelengths, optics.band_nm**2)
    whole = np.full_like(spectra.values, np.nan)
    whole[:, ever] = values
    tried, outcome = _repeats(spectra.with_values(whole), "repeats" in without)
    return Corrected(
        spectra=tried,
        stages=(*made, outcome),
        tiles=tuple({r.name: known[r.name] for r in tile_readings if r.name in known}.values()),
        tile_readings=tuple(tile_readings),
        at=at,
        optics=optics,
        without=tuple(without),
        again=tuple(again),
        reading_s=reading_s,
        tiles_are_clean=tiles_are_clean,
        errors=errors,
        jumps=jumps,
    )


def _undone(
    found: Told,
    raw: Array,
    at: Array,
    labels: Sequence[str],
    tiles: Mapping[str, Tile],
    optics: InstrumentOptics,
    without: Collection[str],
    again: Sequence[tuple[str, float, Array]],
    reading_s: float | None,
) -> tuple[Array, SharedErrors, tuple[Jump, ...], list[StageOutcome]]:
    """Readings without what is wrong, how sure they are, and what became of each stage."""
    share = found.visits.shares(at)
    e = applied(found.estimate, {*without, *(["bandpass"] if optics.band_corrected else [])})
    zero = e.model.zero(e.theta)
    gone = moved(
        e, found.visits, at, labels, raw - zero,
        [(patch, when, values - zero) for patch, when, values in again], reading_s,
    )  # fmt: skip
    values = e.model.undo(e.theta, raw, share, gone.log)
    errors = carried(e, values, share, gone.variance)
    made = outcomes(found, gone, tiles, optics.band_corrected, without, labels)
    return values, errors, gone.jumps, made


def _repeats(spectra: Spectra, left_out: bool) -> tuple[Spectra, StageOutcome]:
    if left_out:
        return spectra, StageOutcome("repeats", False, "left out, as asked")
    tried = flag_outlying(spectra)
    odd = (tried.flags & np.uint16(Flag.OUTLYING)).any(axis=1)
    names = sorted({spectra.labels[i] for i in np.flatnonzero(odd)})
    if not names:
        return tried, StageOutcome("repeats", True, "every repeat belongs to its patch")
    words = f"flagged, as it doesn't belong to its repeats: a reading of {', '.join(names)}"
    data = {"rows": np.flatnonzero(odd).tolist()}
    return tried, StageOutcome("repeats", True, words, data)


def _plain(values: Array) -> list[float]:
    return [float(value) for value in values]
