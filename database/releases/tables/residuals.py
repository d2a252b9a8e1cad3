"""What fits leave over, patch by patch, as a table of a release."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from ....calibrate.optics.spectra import GRID, Array
from ...store import schema
from ...store.packing import unpack_columns
from ...store.release_rows import packed_of
from ...store.transactions import OrmSession
from .text import figures, lines, words

_DIGITS = 6
"""Decimals of a residual: a hundredth of what an instrument repeats to."""


def residual_texts(session: OrmSession, current: Mapping[str, schema.PaintFit]) -> Iterator[str]:
    """Residuals of the fits in use as CSV, a paint at a time."""
    for nickname, packed in packed_of(session, current, schema.PaintFit.residuals):
        columns = unpack_columns(packed)
        starts, values = _by_patch(columns)
        if starts.size:
            yield lines(
                words([nickname] * starts.size),
                words(columns["card"][i] for i in starts),
                words(columns["patch"][i] for i in starts),
                figures(values),
                words([current[nickname].model] * starts.size),
            )


def _by_patch(columns: Mapping[str, Any]) -> tuple[Any, Array]:
    """Where each patch begins, (N,), and what is left over of it on the whole grid, (N, W)."""
    nm = np.array(columns["wavelength"], dtype=float)
    left = np.array(columns["measured"], float) - np.array(columns["fitted"], float)
    # The wavelengths of a patch rise; where they don't, the next one begins.
    starts = np.flatnonzero(np.diff(nm, prepend=np.inf) <= 0)
    values = np.full((starts.size, GRID.size), np.nan)
    row = np.searchsorted(starts, np.arange(nm.size), side="right") - 1
    values[row, np.searchsorted(GRID, nm)] = np.round(left, _DIGITS)
    return starts, values
