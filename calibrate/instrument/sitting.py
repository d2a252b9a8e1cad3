"""A file of readings in which tiles and card patches were read by turns, corrected by its tiles."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from ..errors import InputError
from ..formats.cells import normal, number
from ..formats.session import Session
from ..optics.spectra import Flag
from .corrections import STAGES, Optics, correct
from .tiles import PREFIX, Tile, TileReading

_TEMPERATURE = ("TEMPERATURE", "TILETEMPERATURE", "TILETEMPERATUREC", "TEMPERATUREC")


def has_tiles(session: Session) -> bool:
    """Whether tiles were read in a session."""
    return any(label.startswith(PREFIX) for label in session.spectra.labels)


def correct_session(
    session: Session,
    tiles: Mapping[str, Tile],
    optics: Optics | None = None,
    without: Collection[str] = (),
) -> Session:
    """Take the readings of tiles out of a session, and correct the others by them.

    The place in the file stands for the time: readings follow each other evenly. A statement
    ``TEMPERATURE`` of the file is the tiles', in degrees Celsius.

    Parameters
    ----------
    session : Session
        Tiles in it are named ``tile/white``, ``tile/trap`` and so on.
    tiles : mapping of name to Tile
    optics : Optics, optional
    without : collection of str
        Stages to leave out.

    Returns
    -------
    Session
        Of the patches alone, `corrected`; the raw readings of the tiles stand in `corrections`.

    Raises
    ------
    InputError
        As `tintladder.calibrate.instrument.corrections.correct`, and for a stage there isn't.
    """
    for stage in without:
        if stage not in STAGES:
            raise InputError(
                None, "--without", f"got {stage!r}", f"give one of {', '.join(STAGES)}"
            )
    labels, degrees = session.spectra.labels, temperature(session)
    is_tile = np.array([label.startswith(PREFIX) for label in labels])
    patches = session.spectra.select(np.flatnonzero(~is_tile))
    readings = [
        TileReading(labels[i].removeprefix(PREFIX), session.spectra.values[i], float(i), degrees)
        for i in np.flatnonzero(is_tile)
    ]
    at = np.flatnonzero(~is_tile).astype(float)
    made = correct(patches, at, readings, tiles, optics, without, session.file)
    odd = (made.spectra.flags & np.uint16(Flag.OUTLYING)).astype(bool)
    return replace(
        session,
        spectra=patches.flag(odd, Flag.OUTLYING),
        corrected=made.spectra,
        corrections=made.record(),
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
