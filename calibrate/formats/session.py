"""A session: one file of readings as it came in, before anything is done to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from ..optics.spectra import Spectra
from ..optics.surface import Geometry, notation


@dataclass(frozen=True)
class Session:
    """Readings of one sitting with one instrument.

    Attributes
    ----------
    spectra : Spectra
        As read, on the file's own wavelengths, as fractions; a repeat is a row with the same label.
    sha256 : str
        Of the file's bytes.
    format : str
        What the file was taken for, such as ``CGATS.17 text``.
    unit : {"fraction", "percent"}
        What the file's numbers were in.
    geometry : {"di:8", "8:di", "45:0"}
    specular : {"included", "excluded"}
    condition : str or None
        Measurement condition of ISO 13655, M0 to M3, if stated.
    state : {"dry", "wet"}
    date : str or None
        ISO 8601.
    device, serial : str or None
        Instrument, and its number.
    calibrated : str or None
        When the instrument was calibrated, ISO 8601, if stated.
    tile : str or None
        On which tile.
    header : mapping
        Every other statement of the file, as written.
    corrected : Spectra or None
        The same readings, corrected by what the instrument read of its tiles.
    corrections : mapping or None
        How, stage by stage, with all that the stages rest on.

    Examples
    --------
    >>> red = Spectra.from_values([400.0, 410.0], [[0.06, 0.07]], ["red"])
    >>> Session(red, "red.txt", "", "CGATS.17 text", "fraction", "di:8", "excluded").notation
    'de:8'
    """

    spectra: Spectra
    file: str
    sha256: str
    format: str
    unit: Literal["fraction", "percent"]
    geometry: Geometry
    specular: Literal["included", "excluded"] = "included"
    condition: str | None = None
    state: Literal["dry", "wet"] = "dry"
    date: str | None = None
    device: str | None = None
    serial: str | None = None
    calibrated: str | None = None
    tile: str | None = None
    header: Mapping[str, str] = field(default_factory=dict)
    corrected: Spectra | None = None
    corrections: Mapping[str, Any] | None = None

    @property
    def trusted(self) -> Spectra:
        """What the rest of the work takes: corrected readings where there are any, else raw."""
        return self.spectra if self.corrected is None else self.corrected

    @property
    def notation(self) -> str:
        """Geometry in the notation of CIE 15, which says de where the specular is excluded."""
        return notation(self.geometry, self.specular)
