"""Corrections of an instrument's readings: each on or off, each recorded with its data.

The order is that of light and electronics undone backwards: what the detector adds and multiplies
(zero, drift, scale), then what it bends (linearity), then what the monochromator moves (wavelength)
and smears (bandpass). Raw readings stay as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..optics.spectra import Array, Flag, Spectra
from .monochromator import FARTHEST, THERMOCHROMIC, find_shift, undo_band, unshift
from .photometric import Visits, find_bend, gain, unbend, visits
from .repeats import flag_outlying
from .tiles import Tile, TileReading, black_trap, check_reading

Stage = Literal["zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats"]
STAGES: tuple[Stage, ...] = (
    "zero", "drift", "scale", "linearity", "wavelength", "bandpass", "repeats",
)  # fmt: skip


CHANGING = STAGES[:-1]
"""Those that change values; the test of repeats only flags."""


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
class StageOutcome:
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
    stages : tuple of StageOutcome
        Every stage, in order.
    tiles : tuple of Tile
    tile_readings : tuple of TileReading
    at : (N,) array
    optics : InstrumentOptics
    without : tuple of str
        All as `correct` was given them.
    """

    spectra: Spectra
    stages: tuple[StageOutcome, ...]
    tiles: tuple[Tile, ...]
    tile_readings: tuple[TileReading, ...]
    at: Array
    optics: InstrumentOptics
    without: tuple[str, ...]

    def record(self) -> dict[str, Any]:
        """Return what is kept beside the readings, JSON-able: enough to correct them anew."""
        return {
            "stages": [dict(vars(stage)) for stage in self.stages],
            "tiles": [tile.record() for tile in self.tiles],
            "readings": [reading.record() for reading in self.tile_readings],
            "at": _plain(self.at),
            "optics": dict(vars(self.optics)),
            "without": list(self.without),
        }


def correct(
    spectra: Spectra,
    at: Array,
    tile_readings: Sequence[TileReading],
    tiles: Mapping[str, Tile],
    optics: InstrumentOptics | None = None,
    without: Collection[str] = (),
    file: str | None = None,
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
        A trap that isn't among them is taken to reflect nothing; a white that isn't serves for
        drift alone.
    optics : InstrumentOptics, optional
    without : collection of str
        Stages to leave out.
    file : str, optional
        For the message.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        For a grey or coloured tile that has no certified values, a tile that has none where it was
        read, a white tile read too dark, a trap too bright.
    """
    ever = ~np.isnan(spectra.values).all(axis=0)
    if not ever.all() and ever.any():
        # What was never read of a patch needs no tile either.
        some = replace(
            spectra,
            wavelengths=spectra.wavelengths[ever],
            values=spectra.values[:, ever],
            flags=spectra.flags[:, ever],
        )
        of_some = [replace(reading, values=reading.values[ever]) for reading in tile_readings]
        short = correct(some, at, of_some, tiles, optics, without, file)
        values = np.full_like(spectra.values, np.nan)
        values[:, ever] = short.spectra.values
        odd = np.zeros(spectra.values.shape, dtype=bool)
        odd[:, ever] = (short.spectra.flags & np.uint16(Flag.OUTLYING)) > 0
        whole = spectra.with_values(values).flag(odd, Flag.OUTLYING)
        return replace(short, spectra=whole, tile_readings=tuple(tile_readings))
    whites = sorted({reading.name for reading in tile_readings if reading.kind == "white"})
    if len(whites) > 1:
        raise InputError(
            file,
            None,
            f"several white tiles were read: {', '.join(whites)}",
            "read one white tile; name the others as greys",
        )
    known = dict(tiles)
    for reading in tile_readings:
        if reading.kind == "trap":
            known.setdefault(reading.name, black_trap(spectra.wavelengths))
        if reading.kind != "white" or reading.name in known:
            check_reading(reading, spectra.wavelengths, known, file)
    work = _Work(spectra, at, tile_readings, known, optics or InstrumentOptics())
    steps: dict[Stage, Callable[[], StageOutcome]] = {
        "zero": work.zero,
        "drift": work.drift,
        "scale": work.scale,
        "linearity": work.linearity,
        "wavelength": work.wavelength,
        "bandpass": work.bandpass,
        "repeats": work.repeats,
    }
    made = tuple(
        StageOutcome(stage, False, "left out, as asked") if stage in without else steps[stage]()
        for stage in STAGES
    )
    used = {r.name: known[r.name] for r in tile_readings if r.name in known}
    return Corrected(
        spectra=work.spectra(),
        stages=made,
        tiles=tuple(used.values()),
        tile_readings=tuple(tile_readings),
        at=np.asarray(at, float),
        optics=optics or InstrumentOptics(),
        without=tuple(without),
    )


class _Work:
    """Readings of patches and of tiles, taken through the stages together."""

    def __init__(
        self,
        raw: Spectra,
        at: Array,
        readings: Sequence[TileReading],
        tiles: Mapping[str, Tile],
        optics: InstrumentOptics,
    ) -> None:
        self.raw, self.wl, self.optics, self.tiles = raw, raw.wavelengths, optics, tiles
        self.readings = tuple(readings)
        self.at = np.concatenate([np.asarray(at, float), [r.at for r in readings]])
        # Tiles go through the stages below the patches, as further rows.
        self.values = np.concatenate([raw.values, *(r.values[None] for r in readings)])
        self.flags = np.zeros_like(raw.flags)
        self.white: Array | None = None

    def rows(self, kind: str) -> NDArray[np.intp]:
        """Rows of the tiles of a kind."""
        first = len(self.raw)
        return np.array([first + i for i, r in enumerate(self.readings) if r.kind == kind], int)

    def reading(self, row: int) -> TileReading:
        return self.readings[row - len(self.raw)]

    def certified(self, row: int) -> Tile:
        return self.tiles[self.reading(row).name]

    def visited(self, kind: str) -> Visits:
        """The visits to the tiles of a kind, as the values are now."""
        rows = self.rows(kind)
        now = [replace(self.reading(i), values=self.values[i]) for i in rows]
        return visits(now, self.at[: len(self.raw)])

    def zero(self) -> StageOutcome:
        rows = self.rows("trap")
        if not rows.size:
            return StageOutcome("zero", False, "no black trap was read")
        offset = self.visited("trap").values.mean(axis=0) - self.certified(rows[0]).at(self.wl)
        self.values = self.values - offset
        return StageOutcome(
            "zero",
            True,
            f"{_mean(offset)} taken off, the black trap's reading",
            {"offset": _plain(offset)},
        )

    def drift(self) -> StageOutcome:
        if not self.rows("white").size:
            return StageOutcome("drift", False, "no white tile was read")
        white = self.visited("white")
        if white.at.size < 2:
            return StageOutcome("drift", False, "the white tile was read at one time only")
        of_visit = white.values.mean(axis=1) / white.level.mean()
        self.values = self.values / gain(white, self.at)
        most = 100 * float(np.ptp(of_visit))
        return StageOutcome(
            "drift",
            True,
            f"the white tile moved by {most:.2f} % over {white.at.size} visits: undone in between",
            {"at": _plain(white.at), "gain": _plain(of_visit)},
        )

    def scale(self) -> StageOutcome:
        rows = self.rows("white")
        if not rows.size:
            return StageOutcome("scale", False, "no white tile was read")
        if self.reading(rows[0]).name not in self.tiles:
            return StageOutcome("scale", False, "the white tile has no certified values")
        self.white = self.certified(rows[0]).at(self.wl)
        factor = self.white / self.visited("white").level
        self.values = self.values * factor
        return StageOutcome(
            "scale",
            True,
            f"times {_mean(factor)}, which brings the white tile to its certificate",
            {"factor": _plain(factor)},
        )

    def linearity(self) -> StageOutcome:
        rows = self.rows("grey")
        if not rows.size:
            return StageOutcome("linearity", False, "no grey tile was read")
        if self.white is None:
            return StageOutcome("linearity", False, "it needs the scale corrected first")
        known = np.array([self.certified(i).at(self.wl) for i in rows])
        bend = find_bend(self.values[rows], known, self.white)
        if abs(bend.c) < 2 * bend.uncertainty:
            found = f"{100 * bend.c:+.2f} ± {100 * bend.uncertainty:.2f} %"
            return StageOutcome("linearity", False, f"no bend found ({found})", dict(vars(bend)))
        self.values = unbend(self.values, bend, self.white)
        return StageOutcome(
            "linearity",
            True,
            f"a bend of {100 * bend.c:.2f} % taken out; greys were off by {bend.before:.4f}, now "
            f"by {bend.after:.4f}",
            dict(vars(bend)),
        )

    def wavelength(self) -> StageOutcome:
        rows = self.rows("colour")
        if not rows.size:
            return StageOutcome("wavelength", False, "no coloured tile was read")
        tiles = [self.certified(i) for i in rows]
        shift = find_shift(self.wl, list(self.values[rows]), tiles)
        warmth, moves = self.warmth(rows)
        data = dict(vars(shift))
        unsure = float(np.hypot(shift.uncertainty, moves))
        found = f"{shift.nm:+.2f} ± {unsure:.2f} nm"
        if abs(shift.nm) >= FARTHEST - 1e-6:
            words = f"{found}: no shift, but another tile or a faulty instrument; left as it is"
            return StageOutcome("wavelength", False, words, data)
        if abs(shift.nm) < 2 * unsure:
            return StageOutcome("wavelength", False, f"no shift found ({found}, {warmth})", data)
        self.values = unshift(self.wl, self.values, shift.nm)
        return StageOutcome("wavelength", True, f"a shift of {found} undone, {warmth}", data)

    def warmth(self, rows: NDArray[np.intp]) -> tuple[str, float]:
        """Say how warm the coloured tiles were, and how far that may move their edges, nm."""
        read = [self.reading(i).temperature_c for i in rows]
        known = [self.certified(i).temperature_c for i in rows]
        apart = [
            abs(a - b) for a, b in zip(read, known, strict=True) if a is not None and b is not None
        ]
        if len(apart) < len(rows):
            return "the tile's temperature not noted", 0.0
        return f"the tile within {max(apart):.0f} K of its certificate", THERMOCHROMIC * max(apart)

    def bandpass(self) -> StageOutcome:
        band, steps = self.optics.band_nm, np.diff(self.wl)
        if self.optics.band_corrected:
            return StageOutcome("bandpass", False, "the instrument corrects its band itself")
        if band is None:
            return StageOutcome("bandpass", False, "the instrument's band isn't declared")
        if self.wl.size < 4 or not np.allclose(steps, band, rtol=0.02):
            return StageOutcome(
                "bandpass", False, f"a band of {band:g} nm isn't as wide as the steps"
            )
        before = self.values
        self.values = undo_band(self.values)
        change = float(np.nanmax(np.abs(self.values - before)[: len(self.raw)]))
        return StageOutcome(
            "bandpass",
            True,
            f"a triangular band of {band:g} nm undone, {change:.4f} at most",
            {"band_nm": band, "largest": change},
        )

    def repeats(self) -> StageOutcome:
        tried = flag_outlying(self.spectra())
        self.flags = tried.flags & np.uint16(Flag.OUTLYING)
        odd = self.flags.any(axis=1)
        names = sorted({self.raw.labels[i] for i in np.flatnonzero(odd)})
        if not names:
            return StageOutcome("repeats", True, "every repeat belongs to its patch")
        words = f"flagged, as it doesn't belong to its repeats: a reading of {', '.join(names)}"
        return StageOutcome("repeats", True, words, {"rows": np.flatnonzero(odd).tolist()})

    def spectra(self) -> Spectra:
        """Return the patches as they are now."""
        made = self.raw.with_values(self.values[: len(self.raw)])
        return replace(made, flags=made.flags | self.flags)


def _mean(values: Array) -> str:
    return f"{values.mean():.4f}"


def _plain(values: Array) -> list[float]:
    return [float(value) for value in values]
