"""The session that is made of a guided sitting: its readings that count, corrected by its tiles."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from ..formats.session import Session
from ..optics.spectra import Flag, Spectra
from .corrections import ReadAgain
from .instrument import Identity
from .profile import Profile
from .progress import VOID, Progress, RawReading
from .sitting import Correcting
from .tiles import PREFIX, TileReading

FORMAT = "measured, reading by reading"
"""What a session made of a sitting was taken for."""


def session_of_sitting(
    card: str,
    started: str,
    profile: Profile,
    progress: Progress,
    identity: Identity,
    wet: bool = False,
    correcting: Correcting | None = None,
) -> Session:
    """Return the readings of a sitting that count, in the order in which they were taken.

    Parameters
    ----------
    card : str
    started : str
        UTC, ISO 8601.
    profile : Profile
        Of the instrument.
    progress : Progress
        In which a patch was read.
    identity : Identity
        Who the instrument said it is.
    wet : bool
        Whether the paint was wet.
    correcting : Correcting, optional
        How the readings are corrected; without it, by the tiles that need no certificate.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        As `tintladder.calibrate.instrument.sitting.Correcting.by`.
    """
    counting = {id(r) for place in progress.places() for r in progress.counting(place)}
    rows = [r for r in progress.readings if id(r) in counting]
    file = f"{card}, measured {started}"
    doubted = {r.place: r.said["doubt"] for r in rows if "doubt" in r.said}
    header = {
        "PROFILE": profile.name,
        "REPEATS": str(progress.repeats),
        "APERTURE_MM": f"{profile.aperture_mm:g}" if profile.aperture_mm else "",
        "SKIPPED": ", ".join(sorted(progress.skipped)),
        "READ_AGAIN": ", ".join(dict.fromkeys(r.place for r in progress.read_again())),
    } | {f"DOUBT {place}": words for place, words in doubted.items()}
    header |= {f"SUFFERS {r.place}": r.said["suffers"] for r in rows if "suffers" in r.said}
    spectra = Spectra.from_values(
        profile.wavelengths, np.array([r.values for r in rows]), [r.place for r in rows]
    )
    beyond = [np.isin(profile.wavelengths, r.said.get("full_scale", ())) for r in rows]
    read = Session(
        spectra=spectra.flag(np.array(beyond), Flag.CLIPPED),
        file=file,
        sha256=_digest(card, started, rows),
        format=FORMAT,
        unit=profile.unit,
        geometry=profile.geometry,
        specular=profile.specular,
        condition=profile.condition,
        state="wet" if wet else "dry",
        date=rows[-1].taken[:10],
        device=instrument_name(profile, identity),
        header={key: said for key, said in header.items() if said},
    )
    ever = ~np.isnan(read.spectra.values).all(axis=0)
    of_tiles = [
        r
        for r in progress.readings
        if r.is_tile and VOID not in r.said and not np.isnan(r.values[ever]).any()
    ]
    readings = [
        TileReading(
            r.place.removeprefix(PREFIX), r.values, _clock(r),
            calibrated=bool(r.said.get("calibrated")),
        )
        for r in of_tiles
    ]  # fmt: skip
    again = [
        ReadAgain(r.place, r.values, _clock(r)) for r in progress.read_again() if VOID not in r.said
    ]
    at = np.array([_clock(r) for r in rows])
    return (correcting or Correcting(None, profile.optics)).by(read, at, readings, again)


def _clock(reading: RawReading) -> float:
    return datetime.fromisoformat(reading.taken).timestamp()


def _digest(card: str, started: str, rows: Sequence[RawReading]) -> str:
    said = [[r.place, r.round, r.repeat, r.taken, r.values.tolist()] for r in rows]
    text = json.dumps([card, started, said])
    return hashlib.sha256(text.encode()).hexdigest()


def instrument_name(profile: Profile, identity: Identity) -> str:
    """Return what an instrument is called: by itself, or else by its profile."""
    return identity.name or profile.title
