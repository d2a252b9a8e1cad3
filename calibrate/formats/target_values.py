"""Reads the known values of a reference target: CGATS text with spectra, XYZ or CIELAB.

The data files of targets after ISO 12641-1 are CGATS: ``SAMPLE_ID`` and ``XYZ_X`` to ``XYZ_Z`` or
``LAB_L`` to ``LAB_B``, under D50 and 2 degrees.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..optics.colour import D50, weights, xyz
from ..optics.spectra import GRID, Array, to_grid
from .cgats import _Parser, _spectral, looks_like_cgats
from .read import read_session

_TRISTIMULUS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_LAB = ("LAB_L", "LAB_A", "LAB_B")
_NAMES = ("SAMPLE_ID", "SAMPLE_NAME", "SAMPLEID", "SAMPLE_LOC")


@dataclass(frozen=True)
class TargetValues:
    """Known values of a target's patches.

    Attributes
    ----------
    labels : tuple of N str
    tristimulus : (N, 3) array
        D50 and 2 degrees, Y = 1 for the perfect diffuser.
    spectra : (N, W) array or None
        On the inside grid.
    """

    labels: tuple[str, ...]
    tristimulus: Array
    spectra: Array | None
    file: str
    sha256: str


def plain_label(label: str) -> str:
    """A patch's name without leading zeros and case: ``a01`` is ``A1``."""
    found = re.fullmatch(r"([A-Za-z]+)0*([0-9]+)", label.strip())
    return f"{found[1].upper()}{found[2]}" if found else label.strip()


def read_target_values(path: str | Path) -> TargetValues:
    """Read known values.

    Raises
    ------
    InputError
        As `tintladder.calibrate.formats.read.read_session`, and where neither spectra, XYZ nor
        CIELAB stand in the file.
    """
    file, path = str(path), Path(path)
    text = path.read_text(encoding="utf-8-sig", errors="replace") if path.is_file() else ""
    if looks_like_cgats(text):
        parser = _Parser(text, file)
        section = parser.section()
        if not _spectral(section, file)[0]:
            return _colours(section.fields, section.rows, file, text, parser)
    session = read_session(path)
    spectra = to_grid(session.spectra)
    labels = tuple(plain_label(label) for label in spectra.labels)
    unique = tuple(dict.fromkeys(labels))
    rows = [[i for i, label in enumerate(labels) if label == name] for name in unique]
    values = np.array([spectra.values[r].mean(axis=0) for r in rows])
    if np.isnan(values).any():
        # Sensitivities need whole spectra; a short range still has a colour.
        return TargetValues(unique, xyz(values), None, file, session.sha256)
    return TargetValues(unique, xyz(values), values, file, session.sha256)


def _colours(
    fields: list[str],
    rows: list[tuple[int, list[str]]],
    file: str,
    text: str,
    parser: _Parser,
) -> TargetValues:
    upper = [name.upper() for name in fields]
    name = next((n for n in _NAMES if n in upper), None)
    kind = next((k for k in (_TRISTIMULUS, _LAB) if set(k) <= set(upper)), None)
    if name is None or kind is None:
        raise InputError(
            file,
            "data format",
            "expected SAMPLE_ID with spectra, XYZ_X to XYZ_Z or LAB_L to LAB_B",
            "take the data file that came with the target",
        )
    at = [upper.index(k) for k in kind]
    labels, values = [], []
    for number, row in rows:
        labels.append(plain_label(row[upper.index(name)]))
        try:
            values.append([float(row[i]) for i in at])
        except ValueError:
            raise InputError(
                file, f"line {number}", f"expected numbers in {', '.join(kind)}", "correct it"
            ) from None
    table = np.array(values)
    white = weights(GRID, D50)[1]
    if kind == _LAB:
        fy = (table[:, 0] + 16) / 116
        f = np.stack([fy + table[:, 1] / 500, fy, fy - table[:, 2] / 200], axis=1)
        tristimulus = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * white
    else:
        tristimulus = table / 100
    if not np.all(np.isfinite(tristimulus)) or tristimulus[:, 1].max() > 1.3:
        raise InputError(
            file, None, "its values are no reflecting target's", "check the file and its units"
        )
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    return TargetValues(tuple(labels), tristimulus, None, file, sha256)
