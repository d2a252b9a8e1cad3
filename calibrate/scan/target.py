"""Reads the picture of a reference target: patches in a plain grid, placed by its corners."""

from __future__ import annotations

import re
from collections.abc import Sequence

import cv2
import numpy as np

from ..cards.box import Box
from ..cards.layout import Layout
from ..errors import CalibrateDo, Field, InputError
from ..formats.target_values import TargetValues, plain_label
from ..optics.spectra import Array
from .characterise import Characterised, characterise
from .curve import Curve
from .find import Found, project
from .image import Picture
from .sample import MOST_CLIPPED, Sample, Site, sample_all
from .settings import Settings
from .stray import surround

_UNIT = 10.0
"""Side of a patch in the units in which a grid is laid out."""
_INNER = 0.25
"""Of a patch's side, left out at each edge beside what sampling leaves out."""


def grid_found(
    corners: Array, columns: int, rows: int, file: str
) -> tuple[Found, tuple[Site, ...]]:
    """Place a grid of patches, named A1 from the upper left; letters for rows.

    Parameters
    ----------
    corners : (4, 2) array
        Outer corners of the grid in px: upper left, upper right, lower right, lower left.
    columns, rows : int
    file : str

    Returns
    -------
    found : Found
    sites : tuple of Site

    Raises
    ------
    InputError
        Where the corners make no four-sided figure in that order, or rows run out of letters.
    """
    turned = cv2.contourArea(np.asarray(corners, dtype=np.float32), oriented=True)
    if turned <= 0 or not cv2.isContourConvex(np.round(corners).astype(np.int32)):
        raise InputError(
            file,
            Field("corners"),
            "expected upper left, upper right, lower right, lower left of the target's patches",
            "give them in px, in that order",
        )
    if not (1 <= rows <= 26 and 1 <= columns <= 99):
        raise InputError(file, Field("grid"), "expected columns x rows such as 22x12", "correct it")
    page = (columns * _UNIT, rows * _UNIT)
    ends = np.array([(0, 0), (page[0], 0), page, (0, page[1])], dtype=np.float32)
    to_px = cv2.getPerspectiveTransform(ends, np.asarray(corners, dtype=np.float32))
    per_unit = np.linalg.norm(corners[1] - corners[0]) / page[0]
    layout = Layout("target", "target", 0, page, "drawdown", 0, 1, (), (), (), ())
    found = Found(layout, np.asarray(to_px, dtype=float), (), float(per_unit * 25.4), 0.0)
    side = _UNIT * (1 - 2 * _INNER)
    sites = tuple(
        Site(
            f"{chr(65 + r)}{c + 1}",
            Box((c + _INNER) * _UNIT, (r + _INNER) * _UNIT, side, side),
        )
        for r in range(rows)
        for c in range(columns)
    )
    return found, sites


def strip_sites(found: Found, corners: Array, known: TargetValues, file: str) -> tuple[Site, ...]:
    """Patches of the grey strip of a target after ISO 12641-1, which lies along its grid.

    Parameters
    ----------
    found : Found
        The grid.
    corners : (4, 2) array
        Outer corners of the strip in px: upper left, upper right, lower right, lower left.
    known : TargetValues
        That name its patches GS0, GS1 and on, the lightest first.
    file : str

    Returns
    -------
    tuple of Site

    Raises
    ------
    InputError
        Where they name none, or the corners don't lie along the grid.
    """
    count = sum(re.fullmatch(r"GS\d+", label) is not None for label in known.labels)
    if not count:
        raise InputError(
            known.file, "GS0", "it names no patch of a grey strip", CalibrateDo.LEAVE_OUT_STRIP()
        )
    ends = project(np.asarray(np.linalg.inv(found.to_px), dtype=float), corners)
    (x0, y0), (x1, y1) = ends.min(axis=0), ends.max(axis=0)
    along = np.abs(ends - np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])).max()
    if along > _UNIT or (x1 - x0) < count * (y1 - y0) / 4:
        raise InputError(
            file,
            Field("strip"),
            "expected upper left, upper right, lower right, lower left of a strip along the grid",
            "give them in px, in that order",
        )
    wide, high, inner = (x1 - x0) / count, y1 - y0, 1 - 2 * _INNER
    return tuple(
        Site(
            f"GS{i}",
            Box(x0 + (i + _INNER) * wide, y0 + _INNER * high, inner * wide, inner * high),
        )
        for i in range(count)
    )


def read_target(
    name: str, picture: Picture, found: Found, sites: Sequence[Site], known: TargetValues
) -> tuple[Characterised, tuple[Sample, ...]]:
    """Characterise a device from the picture of a target, or of a card whose patches were measured.

    Parameters
    ----------
    name : str
        Of the device.
    picture : Picture
    found : Found
    sites : sequence of Site
    known : TargetValues

    Returns
    -------
    characterised : Characterised
    samples : tuple of Sample

    Raises
    ------
    InputError
        Where the target's values name too few of its patches; else as
        `tintladder.calibrate.scan.characterise.characterise`.
    """
    rows = {label: i for i, label in enumerate(known.labels)}
    used = [site for site in sites if plain_label(site.label) in rows]
    if len(used) < len(sites) / 4:
        raise InputError(
            known.file,
            None,
            f"it names {len(used)} of the {len(sites)} patches in {picture.facts.file}",
            "check which target this is, and its grid",
        )
    every = sample_all(picture, found, tuple(used))
    # A strong colour may empty a channel: nothing is learnt from it.
    samples = tuple(s for s in every if s.low.max() < MOST_CLIPPED)
    used = [s.site for s in samples]
    at = [rows[plain_label(site.label)] for site in used]
    half = np.array(found.layout.page_mm) / 2
    middle = np.array([s.centres[s.kept].mean(axis=0) for s in samples])

    def around(curve: Curve) -> Array:
        return surround(picture, found, samples, curve)

    device = characterise(
        name,
        Settings.of(picture.facts),
        np.array([s.cells[s.kept].mean(axis=0) for s in samples]),
        known.tristimulus[at],
        None if known.spectra is None else known.spectra[at],
        (middle - half) / half,
        around,
        picture.facts.file,
    )
    return device, samples
