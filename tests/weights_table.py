"""Makes the table of `calibrate/optics/colour.py`: ``python -m tests.weights_table``."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from tintladder.calibrate.optics import colour as ours
from tintladder.calibrate.optics.spectra import Array

PATH = Path(ours.__file__).with_name(ours.WEIGHTS_TABLE)
_OBSERVERS = {2: "cie_2_1931", 10: "cie_10_1964"}


def weights(illuminant: str, observer: int) -> Array:
    """Weights at 10 nm, (W, 3), Y = 1 for the perfect diffuser: ASTM E2022 by colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of optional packages that nothing here needs
        import colour

        shape = colour.SpectralShape(360, 780, 1)
        found = colour.colorimetry.tristimulus_weighting_factors_ASTME2022(
            colour.MSDS_CMFS[_OBSERVERS[observer]].copy().align(shape),
            colour.SDS_ILLUMINANTS[illuminant].copy().align(shape),
            colour.SpectralShape(360, 780, 10),
        )
    w = np.asarray(found, dtype=float)
    result: Array = w / w[:, 1].sum()
    return result


def table() -> str:
    """The file's text: a row a wavelength, three columns a light and observer."""
    views = [(light, angle) for light in ours.ILLUMINANTS for angle in ours.OBSERVERS]
    head = [f"{light}/{angle} {axis}" for light, angle in views for axis in "XYZ"]
    rows = np.hstack([weights(*view) for view in views]).tolist()
    lines = [",".join(["wavelength", *head])]
    for wavelength, row in zip(ours.WEIGHTS_GRID, rows, strict=True):
        lines.append(",".join([f"{wavelength:g}", *(repr(value) for value in row)]))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PATH.write_text(table(), encoding="ascii")
