"""Predicted ladders as CxF3 (ISO 17972).

Names of elements and their order are those of the schema as the open library colour-cxf holds it.
The core of CxF3 alone: the part for characterising spot colours has no open schema at hand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....calibrate.formats.cxf_writing import check_writable, document
from ..compare import Numbers
from . import ladders, whence


def as_cxf(numbers: Numbers, created: str, paints: Sequence[str] | None = None) -> bytes:
    """Predicted opaque ladders as CxF3, reflectance as fractions.

    Parameters
    ----------
    created : str
        UTC, ISO 8601.
    paints : sequence of str, optional

    Raises
    ------
    InputError
        For a paint that isn't among the numbers.
    """
    made, surface = ladders(numbers, paints), numbers.coefficients.surface
    read = ~np.isnan(made.reflectance).any(axis=0)
    values = made.reflectance[:, read].round(6)
    return document(
        made.names,
        values,
        check_writable(made.wavelengths[read], values, made.names),
        geometry=(surface.geometry, surface.specular),
        created=created,
        description=f"predicted opaque tint ladders, not readings ({whence(numbers)})",
        comment="predicted, not read",
    )
