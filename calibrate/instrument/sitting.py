"""A file of readings in which tiles and card patches were read by turns, corrected by its tiles."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from ..errors import Field, InputError
from ..formats.cells import normal, number
from ..formats.read import read_session
from ..formats.session import Session
from ..optics.spectra import Array, Flag
from .corrections import InstrumentOptics, ReadAgain, correct
from .corrections_record import changed_by
from .estimate.odd_tiles import odd_since, refuse
from .estimate.outcomes import STAGES
from .tiles import PREFIX, Tile, TileReading, tile_means, tiles_of

_READING_S = 15.0
"""Seconds that a reading takes where a file doesn't say when each was taken (our own estimate)."""
_TEMPERATURE = ("TEMPERATURE", "TILETEMPERATURE", "TILETEMPERATUREC", "TEMPERATUREC")


@dataclass(frozen=True)
class Correcting:
    """How readings are to be corrected.

    Attributes
    ----------
    certified : Session or None
        Certified values of tiles, one row each.
    optics : InstrumentOptics
        Of the instrument.
    without : tuple of str
        Stages to leave out.
    tiles_are_clean : bool
        Whether tiles at odds with their certificates, or with earlier sittings, were looked at and
        are clean and right: they are gone by.
    earlier : callable
        Given a session: what its instrument read of its tiles in earlier sittings, on the same
        wavelengths, a mapping of tile to values each.
    """

    certified: Session | None = None
    optics: InstrumentOptics = field(default_factory=InstrumentOptics)
    without: tuple[str, ...] = ()
    tiles_are_clean: bool = False
    earlier: Callable[[Session], Sequence[Mapping[str, Array]]] = lambda _: ()

    def __post_init__(self) -> None:
        for stage in self.without:
            if stage not in STAGES:
                raise InputError(
                    None, Field("without"), f"got {stage!r}", f"give one of {', '.join(STAGES)}"
                )

    def __call__(self, session: Session) -> Session:
        """Take the readings of tiles out of a file of readings, and correct the others by them.

        The place in the file stands for the time: readings follow each other evenly. A statement
        ``TEMPERATURE`` of a file is its tiles', in degrees Celsius.

        Parameters
        ----------
        session : Session
            Tiles in it are named ``tile/white``, ``tile/trap`` and so on.

        Returns
        -------
        Session
            Of the patches alone; see `by`.

        Raises
        ------
        InputError
            See `by`.
        """
        labels, degrees = session.spectra.labels, temperature(session)
        is_tile = np.array([label.startswith(PREFIX) for label in labels], dtype=bool)
        readings = [
            TileReading(
                labels[i].removeprefix(PREFIX), session.spectra.values[i], float(i), degrees
            )
            for i in np.flatnonzero(is_tile)
        ]
        patches = np.flatnonzero(~is_tile)
        of_patches = replace(session, spectra=session.spectra.select(patches))
        return self.by(of_patches, patches.astype(float), readings, reading_s=_READING_S)

    def read(self, path: str | Path, **said: str | None) -> Session:
        """Read a file of readings, and correct them by those of tiles in it.

        Parameters
        ----------
        path : str or Path
        said : unit, geometry, specular
            As for `read_session`.

        Returns
        -------
        Session

        Raises
        ------
        InputError
            As `read_session` and `by`.
        """
        return self(read_session(path, **said))

    def by(
        self,
        session: Session,
        at: Array,
        readings: Sequence[TileReading],
        again: Sequence[ReadAgain] = (),
        reading_s: float | None = None,
    ) -> Session:
        """Correct a session by readings of tiles of the same sitting.

        Without any, of an instrument whose band isn't stated, it stays as it is.

        Parameters
        ----------
        session : Session
        at : (N,) array
            When each of its readings was taken, on the clock of the tiles' readings.
        readings : sequence of TileReading
        again : sequence of ReadAgain
            Readings of patches that no longer count, and of controls.
        reading_s : float, optional
            Seconds that a reading takes, where times are places in a file.

        Returns
        -------
        Session
            `corrected`; the raw readings of tiles stand in `corrections`.

        Raises
        ------
        InputError
            As `tintladder.calibrate.instrument.corrections.correct`, where tiles are certified in
            another geometry than the readings', and where one reads otherwise than it used to.
        """
        optics = self.optics
        if not readings and optics.band_nm is None:
            return session
        if session.header.get("BANDPASS_CORRECTED", "").lower() == "true":
            optics = replace(optics, band_corrected=True)
        tiles = self.tiles(session.notation, session.file)
        if not self.tiles_are_clean:
            refuse(odd_since(tile_means(readings), self.earlier(session)), session.file)
        made = correct(
            session.spectra, at, readings, tiles, optics, self.without, session.file,
            again=again, reading_s=reading_s, tiles_are_clean=self.tiles_are_clean,
        )  # fmt: skip
        odd = (made.spectra.flags & np.uint16(Flag.OUTLYING)).astype(bool)
        return replace(
            session,
            spectra=session.spectra.flag(odd, Flag.OUTLYING),
            corrected=made.spectra,
            corrections=made.record(),
        )

    def tiles(self, notation: str, what: str) -> Mapping[str, Tile]:
        """Return the certified tiles, if they go with an instrument.

        Parameters
        ----------
        notation : str
            The instrument's geometry, as `Session.notation`.
        what : str
            What was, or will be, read with it; for the message.

        Returns
        -------
        mapping of name to Tile

        Raises
        ------
        InputError
            Where they are certified in another geometry.
        """
        certified = self.certified
        if certified is None:
            return {}
        if certified.notation != notation:
            raise InputError(
                certified.file,
                None,
                f"its tiles are certified at {certified.notation}, {what} is read at {notation}",
                "take the certificate for the instrument's geometry",
            )
        return tiles_of(certified, temperature(certified))


def corrected_alone(session: Session) -> Session:
    """Return a session of the corrected readings alone, which says so, so that none is made twice.

    One without corrections stays as it is.
    """
    if session.corrected is None or session.corrections is None:
        return session
    made = changed_by(session.corrections)
    said = {"CORRECTED": ", ".join(made)}
    if "bandpass" in made:
        said["BANDPASS_CORRECTED"] = "true"
    return replace(
        session,
        spectra=session.corrected,
        header={**session.header, **said},
        corrected=None,
        corrections=None,
    )


def temperature(session: Session) -> float | None:
    """Return the temperature that a file states, degrees Celsius.

    Raises
    ------
    InputError
        Where it is no number.
    """
    for key, said in session.header.items():
        if normal(key) in _TEMPERATURE:
            value = number(said.lower().removesuffix("c").rstrip(" °"))
            if value is None or np.isnan(value):
                raise InputError(
                    session.file, key, f"expected degrees Celsius, found {said!r}", "correct it"
                )
            return value
    return None
