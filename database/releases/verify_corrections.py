"""Holds a release's corrected readings against its raw ones and what they were corrected by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from ...calibrate.errors import InputError
from ...calibrate.instrument.corrections_record import correct_anew
from .tables.inputs import session_of

_CLOSE = 1e-9
"""Reflectance; what another machine may round otherwise."""


def corrections_follow(tables: Mapping[str, pd.DataFrame]) -> Iterator[str]:
    """Name the sessions whose corrected readings don't follow from the raw ones.

    Parameters
    ----------
    tables : mapping of name to DataFrame
        Of a release, sound by themselves.
    """
    sessions = tables["sessions"]
    if "corrections" not in sessions:
        return
    for number in sessions.loc[sessions["corrections"] != "", "session"]:
        wrong = f"sessions.csv: session {number}: its corrected readings don't follow from the raw"
        try:
            read = session_of(tables, int(number))
            if read.corrected is None or read.corrections is None:
                raise ValueError("they aren't there")
            made = correct_anew(read.spectra, read.corrections)
        except (InputError, KeyError, TypeError, ValueError, IndexError) as error:
            yield f"{wrong} ({' '.join(str(error).split())})"
            continue
        if not np.allclose(
            made.spectra.values, read.corrected.values, rtol=0, atol=_CLOSE, equal_nan=True
        ):
            yield wrong
