"""Files that a user of the invented boatyard would have: paints, a card, and its readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from .studio_fixtures import PAINTS_TOML

CARD_TOML = """
card = "keel-1"
date = 2026-03-02
paint = "KEEL"
white = "HULL"
gap_um = 150

[[drawdown]]
step = "masstone"
masses = {KEEL = 10.0}

[[drawdown]]
step = "half"
masses = {KEEL = 5.0, HULL = 5.1}
"""


def readings_text(patches: tuple[str, ...], seed: int = 1) -> str:
    """CGATS.17 text as an exporter writes it, in percent; the second patch's first value is odd."""
    rng = np.random.default_rng(seed)
    wavelengths = range(400, 701, 10)
    names = "\t".join(["SAMPLE_NAME", *(f"SPECTRAL_NM{w}" for w in wavelengths)])
    rows = []
    for i, patch in enumerate(patches):
        values = [f"{value:.3f}" for value in rng.uniform(5, 90, len(wavelengths))]
        if i == 1:
            values[0] = "-0.500"
        rows.append("\t".join([f'"{patch}"', *values]))
    return "\n".join(
        [
            "CGATS.17",
            'ORIGINATOR "boatyard sign shop (invented)"',
            'MEASUREMENT_GEOMETRY "45:0"',
            'KEYWORD "REFLECTANCE_UNIT"',
            'REFLECTANCE_UNIT "percent"',
            f"NUMBER_OF_FIELDS {len(wavelengths) + 1}",
            "BEGIN_DATA_FORMAT",
            names,
            "END_DATA_FORMAT",
            f"NUMBER_OF_SETS {len(rows)}",
            "BEGIN_DATA",
            *rows,
            "END_DATA",
            "",
        ]
    )


PATCHES = tuple(
    f"{step}/{over}" for step in ("bare", "masstone", "half") for over in ("black", "white")
)


def write_all(folder: Path) -> tuple[Path, Path, Path]:
    """Write paints.toml, keel-1.toml and keel-1.txt."""
    files = folder / "paints.toml", folder / "keel-1.toml", folder / "keel-1.txt"
    for path, text in zip(files, (PAINTS_TOML, CARD_TOML, readings_text(PATCHES)), strict=True):
        path.write_text(text)
    return files
