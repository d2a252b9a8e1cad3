"""K and S, and the ladders they predict, in forms that other programs read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ....calibrate.errors import InputError
from ....calibrate.formats.cgats import format_cgats
from ....calibrate.formats.session import Session
from ....calibrate.optics.coefficients import TWO_FLUX
from ....calibrate.optics.spectra import Array, Spectra
from ....calibrate.optics.transport import TRANSPORT
from ...mixing.model_choice import WORDS
from ..compare import Numbers, opaque_readings
from ..tables.text import figures, lines, words

COLUMNS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("mu_a", "mu_s_prime")}
STEPS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""Parts of white to one of the paint, by weight, from the masstone down."""


@dataclass(frozen=True)
class Ladders:
    """Predicted readings of opaque tint ladders.

    Attributes
    ----------
    names : tuple of N str
        ``NICKNAME masstone``, ``NICKNAME 4:1 WHITE`` (white to colour).
    paints : tuple of N str
    white_parts : (N,) array
        To one part of the paint, by weight.
    wavelengths : (W,) array, nm
    reflectance : (N, W) array
    """

    names: tuple[str, ...]
    paints: tuple[str, ...]
    white_parts: Array
    wavelengths: Array
    reflectance: Array


def whence(numbers: Numbers) -> str:
    """Say whose numbers these are, and of which model."""
    return f"{numbers.name}, by {WORDS[numbers.coefficients.model]}"


def ladders(numbers: Numbers, paints: Sequence[str] | None = None) -> Ladders:
    """Predict the opaque ladder of each paint toward its white; of a white the masstone alone.

    Raises
    ------
    InputError
        For a paint that isn't among the numbers.
    """
    c = numbers.coefficients
    wanted = list(c.paints) if paints is None else list(paints)
    row = {paint: i for i, paint in enumerate(c.paints)}
    for paint in wanted:
        if paint not in row:
            raise InputError(
                None, paint, f"{numbers.name} has no such paint", "give a nickname of it"
            )
    names, of, mine, white, parts = [], [], [], [], []
    for paint in wanted:
        let_down = numbers.whites.get(paint)
        for step in STEPS if let_down in row and let_down != paint else STEPS[:1]:
            names.append(f"{paint} {step:g}:1 {let_down}" if step else f"{paint} masstone")
            of.append(paint)
            mine.append(row[paint])
            white.append(row[let_down] if step and let_down else row[paint])
            parts.append(step)
    a, b, share = np.array(mine, np.intp), np.array(white, np.intp), np.array(parts)
    paint_part, white_part = c.dry_volume[a], share * c.dry_volume[b]
    f = (paint_part / (paint_part + white_part))[:, None]
    seen = opaque_readings(c, a, b, f)
    return Ladders(tuple(names), tuple(of), share, c.wavelengths, seen)


def tidy(numbers: Numbers) -> pd.DataFrame:
    """One table, a row for each paint and wavelength, that says everything a mix needs.

    Columns: paint, wavelength (nm), K, S, uncertainty_K, uncertainty_S, scale (of both), ratio_only
    (only K/S is known), dry_volume (ml that a gram leaves), white, model, and the surface record
    that K and S belong to: geometry, specular, gloss, n, k2, haze, and surface_offset, which the
    paint's own surface reflects more. crowding is how much S grows in a mix (see `Coefficients`).
    By transport mu_a and mu_s_prime stand for K and S, so that nobody takes one for the other.
    """
    c = numbers.coefficients
    absorbs, scatters = COLUMNS[c.model]
    p, w = c.k.shape
    k, s = c.uncertainty
    return pd.DataFrame(
        {
            "paint": np.repeat(np.array(c.paints, dtype=object), w),
            "wavelength": np.tile(c.wavelengths, p),
            absorbs: c.k.ravel(),
            scatters: c.s.ravel(),
            f"uncertainty_{absorbs}": k.ravel(),
            f"uncertainty_{scatters}": s.ravel(),
            "scale": c.scale,
            "ratio_only": c.ratio_only.ravel(),
            "dry_volume": np.repeat(c.dry_volume, w),
            "white": np.repeat(
                np.array([numbers.whites.get(paint, "") for paint in c.paints], dtype=object), w
            ),
            "model": c.model,
            "geometry": c.surface.geometry,
            "specular": c.surface.specular,
            "gloss": c.surface.gloss,
            "n": c.surface.n,
            "k2": c.surface.k2,
            "haze": c.surface.haze,
            "crowding": np.repeat(c.crowding, w),
            "surface_offset": np.repeat(c.surface_offset, w),
        }
    )


def as_csv(numbers: Numbers) -> str:
    """`tidy` as CSV, every figure whole."""
    table = tidy(numbers)
    # Left to itself numpy shortens figures by a setting that other libraries change.
    cells = [
        figures(column.to_numpy()) if column.dtype.kind == "f" else words(column.tolist())
        for _, column in table.items()
    ]
    return ",".join(table.columns) + "\n" + lines(*cells)


def as_cgats(numbers: Numbers, paints: Sequence[str] | None = None) -> str:
    """Predicted ladders as CGATS.17 / ISO 28178 text, reflectance as fractions.

    Raises
    ------
    InputError
        For a paint that isn't among the numbers.
    """
    made, surface = ladders(numbers, paints), numbers.coefficients.surface
    read = ~np.isnan(made.reflectance).any(axis=0)
    session = Session(
        spectra=Spectra.from_values(
            made.wavelengths[read], made.reflectance[:, read], list(made.names)
        ),
        file=numbers.name,
        sha256="",
        format="CGATS.17 text",
        unit="fraction",
        geometry=surface.geometry,
        specular=surface.specular,
        header={"DESCRIPTOR": f"predicted opaque tint ladders, not readings ({whence(numbers)})"},
    )
    return format_cgats(session)


def only(numbers: Numbers, paints: Sequence[str]) -> Numbers:
    """Some of the paints alone, with their whites.

    Raises
    ------
    InputError
        For a paint that isn't among the numbers.
    """
    ladders(numbers, paints)
    kept = [p for p in numbers.coefficients.paints if p in paints]
    whites = {p: numbers.whites[p] for p in kept if p in numbers.whites}
    wanted = [p for p in numbers.coefficients.paints if p in {*kept, *whites.values()}]
    return replace(numbers, coefficients=numbers.coefficients.select(wanted), whites=whites)
