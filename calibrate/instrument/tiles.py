"""Reference tiles: what they are certified at, and what an instrument read of them.

A reading of a tile or of the black trap is labelled ``tile/NAME``: ``tile/white``, ``tile/trap``,
greys ``tile/grey-50`` and so on; any other name is a coloured tile's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any, Literal

import numpy as np

from ..errors import CalibrateDo, InputError
from ..formats.session import Session
from ..optics.spectra import Array

Kind = Literal["white", "trap", "grey", "colour"]
PREFIX = "tile/"
TRAP = "trap"
DARKEST = 0.7
"""A white tile that reads less of its certificate than this is another thing, or dirty."""
BRIGHTEST_TRAP = 0.05
"""A trap that reads more than this is none (a good one reads under 0.005; common practice)."""


@dataclass(frozen=True)
class Tile:
    """A reference piece of known reflectance.

    Attributes
    ----------
    wavelengths : (C,) array, nm, increasing
    values : (C,) array
        Certified reflectance, as a fraction, in the geometry of the readings.
    temperature_c : float or None
        At which it was certified. Reds and oranges are thermochromic.
    source : str
        The certificate: a file and its hash.
    uncertainty : float or None
        Standard uncertainty of its level, relative; None where the certificate states none.
    """

    name: str
    wavelengths: Array
    values: Array
    temperature_c: float | None = None
    source: str = ""
    uncertainty: float | None = None

    @property
    def kind(self) -> Kind:
        """What it is for, by its name."""
        return tile_kind(self.name)

    def record(self) -> dict[str, Any]:
        """Return the certificate, JSON-able."""
        return vars(self) | {
            "wavelengths": self.wavelengths.tolist(),
            "values": self.values.tolist(),
        }

    def at(self, wavelengths: Array) -> Array:
        """Certified reflectance at wavelengths, (W,); NaN outside the certificate's range."""
        from scipy.interpolate import CubicSpline

        spline = CubicSpline(self.wavelengths, self.values, extrapolate=False)
        found: Array = spline(wavelengths)
        return found


@dataclass(frozen=True)
class TileReading:
    """One reading of a tile or of the black trap, as read.

    Attributes
    ----------
    values : (W,) array
        On the session's wavelengths, as fractions.
    at : float
        When, on the clock of the session's readings: seconds, or the place in the file.
    temperature_c : float or None
        Of the tile, if it was noted.
    calibrated : bool
        Whether the instrument was calibrated just before, so that what follows goes by this one.
    """

    name: str
    values: Array
    at: float
    temperature_c: float | None = None
    calibrated: bool = False

    def record(self) -> dict[str, Any]:
        """Return the reading, JSON-able."""
        return vars(self) | {"values": self.values.tolist()}

    @property
    def kind(self) -> Kind:
        """What it is a reading of."""
        return tile_kind(self.name)


def tile_means(readings: Sequence[TileReading]) -> dict[str, Array]:
    """Mean reading of each tile, (W,), of those just after a calibration where there are any."""
    found = {}
    for name in dict.fromkeys(reading.name for reading in readings):
        mine = [reading for reading in readings if reading.name == name]
        mine = [reading for reading in mine if reading.calibrated] or mine
        found[name] = np.mean([reading.values for reading in mine], axis=0)
    return found


def tile_kind(name: str) -> Kind:
    """Return what a tile is for, by the beginning of its name."""
    word = name.strip().casefold()
    if word.startswith("white"):
        return "white"
    if word.startswith((TRAP, "black trap")):
        return "trap"
    return "grey" if word.startswith(("grey", "gray")) else "colour"


def black_trap(wavelengths: Array) -> Tile:
    """Return a trap of which nothing comes back, for one without a certificate."""
    return Tile(TRAP, wavelengths, np.zeros(wavelengths.size), source="taken as 0")


def certified_at(tile: Tile, wavelengths: Array, file: str | None = None) -> Array:
    """Certified reflectance at every wavelength, (W,).

    Parameters
    ----------
    tile : Tile
    wavelengths : (W,) array, nm
    file : str, optional
        What an error names.

    Returns
    -------
    (W,) array

    Raises
    ------
    InputError
        Where it isn't certified over their whole range.
    """
    known = tile.at(wavelengths)
    if np.isnan(known).any():
        raise InputError(
            file,
            f"{PREFIX}{tile.name}",
            f"certified from {tile.wavelengths[0]:g} to {tile.wavelengths[-1]:g} nm, but read from "
            f"{wavelengths[0]:g} to {wavelengths[-1]:g} nm",
            "give certified values over the instrument's whole range",
        )
    return known


def check_reading(
    reading: TileReading, wavelengths: Array, tiles: Mapping[str, Tile], file: str | None = None
) -> None:
    """Refuse a reading that can't be of the tile that it is said to be of.

    Parameters
    ----------
    reading : TileReading
    wavelengths : (W,) array, nm
    tiles : mapping of name to Tile
    file : str, optional
        For the message.

    Raises
    ------
    InputError
        For a tile that isn't certified, or not where it was read; a missing value; a white tile
        less than seven tenths of its certificate; a trap of which a twentieth comes back.
    """
    where, tile = f"{PREFIX}{reading.name}", tiles.get(reading.name)
    if tile is None:
        there = f" (certified: {', '.join(sorted(tiles))})" if tiles else ""
        raise InputError(
            file, where, f"this tile has no certified values{there}", CalibrateDo.GIVE_TILES()
        )
    known = certified_at(tile, wavelengths, file)
    if np.isnan(reading.values).any():
        raise InputError(file, where, "a value is missing", "read the tile again")
    level, certified = float(reading.values.mean()), float(known.mean())
    if reading.kind == "white" and not DARKEST <= level / certified <= 1 / DARKEST:
        raise InputError(
            file,
            where,
            f"expected a white tile of some {certified:.2f}, it reads {level:.2f}",
            "clean the tile, see that it was not something else that was read, and read it again",
        )
    if reading.kind == "trap" and level > BRIGHTEST_TRAP:
        raise InputError(
            file,
            where,
            f"expected a black trap, it reads {level:.2f}",
            "see that the port is on the trap and not on a tile, and read it again",
        )


def tiles_of(session: Session, temperature_c: float | None = None) -> Mapping[str, Tile]:
    """Certified tiles from a file of certified values, by name.

    Parameters
    ----------
    session : Session
        Of one row for each tile, named with or without ``tile/``.
    temperature_c : float, optional
        At which they were certified.

    Returns
    -------
    mapping of name to Tile

    Raises
    ------
    InputError
        Where a tile stands in it twice, or a value is missing.
    """
    found: dict[str, Tile] = {}
    source = f"{PurePath(session.file).name} (SHA-256 {session.sha256[:12]})"
    for label, values in zip(session.spectra.labels, session.spectra.values, strict=True):
        name = label.removeprefix(PREFIX)
        if name in found:
            raise InputError(
                session.file, f"sample {label}", "is certified twice", "leave one of them"
            )
        if np.isnan(values).any():
            raise InputError(
                session.file,
                f"sample {label}",
                "a certified value is missing",
                "fill it in from the certificate, or leave the tile out",
            )
        found[name] = Tile(name, session.spectra.wavelengths, values, temperature_c, source)
    return found
