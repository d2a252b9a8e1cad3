"""Publishing ten thousand paints, and looking one up."""

from __future__ import annotations

import atexit
import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
import time
import zlib
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import insert
from tintladder.calibrate.fit.judging.quality_figures import LEFT_OUT
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.releases.lookup import load_paint
from tintladder.database.store import schema
from tintladder.database.store.packing import pack_coefficients, pack_table
from tintladder.database.store.store import Store

from ..studio_fixtures import coefficients, joint_fit
from .harness import Timing, benchmark, timed

PAINTS = 10_000
TOGETHER = 10
"""Paints of one fit, as in the demo."""
SHARED, OWN = 16, 8
"""Values that paints of a fit share, and that each has to itself: as the demo's fit has."""
FIGURES = 18
"""Rows of its quality report."""
STEPS = 7
"""Of a ladder, each over black and white and read once, with the two bare substrates."""


def nickname(number: int) -> str:
    return f"P{number:05d}"


def big_studio(folder: Path, paints: int = PAINTS) -> None:
    """A studio of invented paints, each with a card, its readings, and a fit of the demo's shape.

    Written past the store's own doors, which take one card at a time.
    """
    rng = np.random.default_rng(20260305)
    patches = pack_table(joint_fit().paints["KEEL"].patches.loc[[0] * 2 * STEPS])
    residuals = pack_table(_residuals(rng))
    quality = pack_table(_quality(rng))
    with Store.open(folder) as store, store.transaction() as session:
        for start in range(1, paints + 1, TOGETHER):
            ids = range(start, min(start + TOGETHER, paints + 1))
            names = tuple(nickname(i) for i in ids)
            rows = _rows(ids, names, rng)
            fit = (start - 1) // TOGETHER + 1
            rows[schema.Fit] = [_fit(fit, ids, names, rng)]
            rows[schema.PaintFit] = [
                {
                    "fit_id": fit, "paint_id": i, "lot_id": i, "current": True,
                    "beside": [name, names[0]][: 1 + (name != names[0])],
                    "verdict": "good to mix by", "reasons": [], "de00_mean": 0.4, "de00_max": 0.9,
                    "patches": patches, "residuals": residuals, "quality": quality,
                }
                for i, name in zip(ids, names, strict=True)
            ]  # fmt: skip
            for table, of_table in rows.items():
                session.execute(insert(table), of_table)


def _rows(ids: range, names: tuple[str, ...], rng: np.random.Generator) -> dict[Any, Any]:
    patches = [f"{step}/{over}" for step in ("bare", *_steps()) for over in ("black", "white")]
    values = rng.uniform(0.02, 0.9, (len(ids), len(patches), GRID.size))
    zeros = [0] * GRID.size
    pairs = list(zip(ids, names, strict=True))
    return {
        schema.Paint: [
            {"id": i, "nickname": name, "nickname_key": name.casefold(), "name": f"Paint {i}",
             "maker": "invented", "range": "", "pigments": ["PB29"], "binder": "",
             "finish": "ordinary", "note": ""}
            for i, name in pairs
        ],
        schema.Lot: [
            {"id": i, "paint_id": i, "lot": "A1", "on_hand": True, "note": ""} for i in ids
        ],
        schema.Card: [{"id": i, "name": f"card-{name}"} for i, name in pairs],
        schema.CardVersion: [
            {"id": i, "card_id": i, "file": f"card-{name}.toml", "text": name,
             "sha256": _hash(name), "added": "", "purpose": "fit", "balance_g": 0.01,
             "sealed": True, "note": ""}
            for i, name in pairs
        ],
        schema.Drawdown: [
            {"card_version_id": i, "step": step, "paint_id": i, "white_id": ids[0],
             "masses": {name: 2.0, names[0]: 8.0}, "lots": {}, "over": ["black", "white"],
             "opaque": False, "gap_um": 150.0, "surface": "gloss", "coats": 1}
            for i, name in pairs
            for step in _steps()
        ],
        schema.Session: [
            {"id": i, "card_id": i, "file": f"card-{name}.txt", "sha256": _hash(name),
             "format": "CGATS.17 text", "unit": "fraction", "geometry": "45:0",
             "specular": "excluded", "state": "dry", "header": {}, "wavelengths": GRID.tolist(),
             "added": "", "attempt": 1}
            for i, name in pairs
        ],
        schema.Reading: [
            {"session_id": i, "patch": patch, "repeat": 1, "reflectance": row.tolist(),
             "flags": zeros}
            for i, of_card in zip(ids, values, strict=True)
            for patch, row in zip(patches, of_card, strict=True)
        ],
    }  # fmt: skip


def _residuals(rng: np.random.Generator) -> pd.DataFrame:
    patches = [f"{step}/{over}" for step in _steps() for over in ("black", "white")]
    return pd.DataFrame(
        {
            "card": "keel-1",
            "patch": np.repeat(patches, GRID.size),
            "wavelength": np.tile(GRID, len(patches)),
            "measured": rng.uniform(0.02, 0.9, len(patches) * GRID.size),
            "fitted": rng.uniform(0.02, 0.9, len(patches) * GRID.size),
            "sigma": 0.001,
        }
    )


def _quality(rng: np.random.Generator) -> pd.DataFrame:
    """As many figures and words as the demo's paints have."""
    numbers = dict.fromkeys(("value", "uncertainty", "low", "high", "parts"))
    said = dict.fromkeys(("unit", "criterion", "step", "against", "white"), "invented")
    return pd.DataFrame(
        {"paint": "", "quantity": LEFT_OUT}
        | {name: rng.uniform(0.1, 2.0, FIGURES) for name in numbers}
        | said
        | {"conditions": "D65/10°, " * 4, "words": "in a sentence of some length " * 4}
    )


def _steps() -> list[str]:
    # The first two are those that the fixture's table of patches names.
    return ["masstone", "tenth", *(f"step-{i}" for i in range(STEPS - 2))]


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _fit(fit: int, ids: range, names: tuple[str, ...], rng: np.random.Generator) -> dict[str, Any]:
    found = coefficients(names, fit, factor_names=tuple(f"shared {i}" for i in range(SHARED)))
    found = replace(
        found,
        own=rng.normal(scale=0.1, size=(len(names), OWN, 2, GRID.size)),
        factors=rng.normal(scale=0.1, size=(SHARED, len(names), 2, GRID.size)),
        model_error=np.full(GRID.size, 0.005),
    )
    packed = pack_coefficients(found)
    sessions = [
        {"session": i, "sha256": _hash(name), "card_version": i, "card_sha256": _hash(name)}
        for i, name in zip(ids, names, strict=True)
    ]
    return {
        "id": fit, "created": "2026-03-05T10:00:00Z", "code_version": "0.1.0", "settings": {},
        "inputs": {"sessions": sessions, "tubes": [], "known": None}, "coefficients": packed,
        "coefficients_sha256": hashlib.sha256(packed).hexdigest(),
        "nuisances": pack_table(joint_fit().nuisances),
    }  # fmt: skip


_PUBLISH = """
import json, resource, sys, time
from tintladder.database.releases.publish import publish
from tintladder.database.releases.lookup import load_paint
from tintladder.database.store.store import Store
with Store.open(sys.argv[1]) as store:
    start = time.perf_counter()
    made = publish(store)
    seconds = time.perf_counter() - start
# In kB where Linux says it.
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
print(json.dumps({"seconds": seconds, "gigabytes": peak, "folder": str(made.folder)}))
"""


@cache
def _published() -> dict[str, Any]:
    """Make the big studio and publish it, in a process of its own."""
    folder = Path(tempfile.mkdtemp(prefix="tintladder-bench-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    big_studio(folder)
    done = subprocess.run(
        [sys.executable, "-c", _PUBLISH, folder], check=True, capture_output=True, text=True
    )
    said: dict[str, Any] = json.loads(done.stdout)
    return said


def _bare_figures() -> float:
    """Seconds that writing and compressing as many figures takes with json and zlib alone."""
    rng, start = np.random.default_rng(1), time.perf_counter()
    for _ in range(PAINTS // TOGETHER):
        figures = rng.normal(scale=0.1, size=(TOGETHER * (SHARED + OWN + 3) * 2, GRID.size))
        zlib.compress(json.dumps(figures.tolist()).encode(), 1)
    return time.perf_counter() - start


@benchmark(
    "database.publish_seconds",
    "s",
    target=30.0,
    baseline="as many figures written and compressed with json and zlib alone",
    # Those take 15 s on the machine where the target of 30 s was held against it.
    ratio_target=0.5,
)
def publish_seconds() -> Timing:
    """Time the publishing of 10,000 paints in 1,000 fits, read 16 patches each."""
    return Timing(float(_published()["seconds"]), _bare_figures())


@benchmark("database.publish_gigabytes", "GB", target=1.0)
def publish_gigabytes() -> float:
    """Peak memory of that process."""
    return float(_published()["gigabytes"])


@benchmark(
    "database.load_paint_seconds",
    "s",
    target=0.1,
    baseline="pandas reading the release's table of shared values",
    # Which takes some 0.01 s.
    ratio_target=0.1,
)
def load_paint_seconds() -> Timing:
    """Time the look-up of one paint of those 10,000."""
    folder = Path(_published()["folder"])
    middle = nickname(PAINTS // 2)
    return timed(
        lambda: load_paint(folder, middle), lambda: pd.read_csv(folder / "shared.csv"), repeats=9
    )
