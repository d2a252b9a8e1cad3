"""An invented studio for tests: paints, cards, readings and fits made from a seed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.channels import CardChannels
from tintladder.calibrate.fit.problem.result import JointFit, PaintFit
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.optics.coefficients import ABSOLUTE, Coefficients
from tintladder.calibrate.optics.spectra import GRID, Spectra
from tintladder.calibrate.optics.surface import Surface
from tintladder.calibrate.scan.image import Facts
from tintladder.calibrate.scan.reading import ScannedCard

WHEN = "2026-03-05T10:00:00Z"

PAINTS_TOML = """
[[paint]]
nickname = "HULL"
name = "Hull White"
maker = "Slipway Colours (invented)"
range = "Sign acrylic"
pigments = ["PW6"]
  [[paint.lot]]
  lot = "W1"
  size_ml = 250
  price = 14.5
  density = 1.45
  volume_solids = 0.42
  opened = 2026-03-01
  on_hand = true

[[paint]]
nickname = "KEEL"
name = "Keel Blue"
maker = "Slipway Colours (invented)"
pigments = ["PB29"]

[[paint]]
nickname = "KEEL-T"
name = "Keel Blue"
maker = "Tarred Rope Works (invented)"
pigments = ["PB29", "PW6"]

[[paint]]
nickname = "BRASS"
name = "Brass Fitting"
maker = "Slipway Colours (invented)"
finish = "metallic"
"""


def ladder(name: str = "keel-1", paint: str = "KEEL", purpose: str = "fit") -> Card:
    """A card of a white, a masstone and a tint."""
    return Card(
        name=name,
        file=f"{name}.toml",
        purpose=purpose,
        date="2026-03-02",
        note="invented",
        drawdowns=(
            Drawdown("white", "HULL", {"HULL": 10.0}, lots={"HULL": "W1"}, gap_um=150.0),
            Drawdown("masstone", paint, {paint: 10.01}, white="HULL", surface="satin"),
            Drawdown("half", paint, {"HULL": 5.1, paint: 5.0}, white="HULL", over=("black",)),
            Drawdown("tenth", paint, {"HULL": 8.0}, taken_from="half", taken_g=2.0, white="HULL"),
        ),
    )


def scanned(card: Card, seed: int = 1) -> tuple[ScannedCard, Facts]:
    """A scan of every patch with channels drawn at random; no picture is behind it."""
    rng = np.random.default_rng([seed, 0x5CA])
    n = len(card.patches)
    channels = CardChannels(
        card,
        rng.uniform(0.02, 0.9, (n, 3)),
        rng.uniform(1e-6, 1e-4, (n, 3)),
        card.patches,
        Surface.of("45:0", "excluded"),
        f"{card.name}-{seed}.tif",
        0.01,
    )
    sha256 = hashlib.sha256(channels.source.encode()).hexdigest()
    facts = Facts(channels.source, sha256, "TIFF", (10, 10), 16, 300.0, None, None, None)
    evened = SimpleNamespace(
        stray=SimpleNamespace(share=0.03, uncertainty=0.002, typical=False), uneven=0.01
    )
    made: Any = SimpleNamespace(
        channels=channels,
        lab=rng.uniform(0, 90, (n, 3)),
        spread=rng.uniform(0, 0.02, n),
        left_out=rng.uniform(0, 0.1, n),
        found=SimpleNamespace(dpi=300.0),
        evened=evened,
        scale="device",
        references={},
        mended=(),
        flags=((card.patches[0], "drawn at random"),),
    )
    return made, facts


def session(card: Card, seed: int = 1, **changes: object) -> Session:
    """Readings of every patch, the first one twice, one value missing, on a grid of their own."""
    rng = np.random.default_rng(seed)
    labels = [card.patches[0], *card.patches]
    wavelengths = np.arange(360.0, 741.0, 10.0)
    values = rng.uniform(0.05, 0.9, (len(labels), wavelengths.size))
    values[3, 0] = np.nan
    file = f"{card.name}-{seed}.txt"
    said: dict[str, object] = {
        "spectra": Spectra.from_values(wavelengths, values, labels),
        "file": file,
        "sha256": hashlib.sha256(values.tobytes()).hexdigest(),
        "format": "CGATS.17 text",
        "unit": "percent",
        "geometry": "45:0",
        "condition": "M1",
        "date": "2026-03-03",
        "device": "Bench reader (invented)",
        "header": {"ORIGINATOR": "boatyard sign shop (invented)"},
    }
    return Session(**(said | changes))


def coefficients(paints: tuple[str, ...], seed: int = 1, **changes: object) -> Coefficients:
    """K and S with every part of their covariance, and a wavelength that was never read."""
    rng = np.random.default_rng(seed)
    p, w = len(paints), GRID.size
    root = rng.normal(scale=0.02, size=(p, 2, 2, w))
    k, s = rng.gamma(2.0, 3.0, (p, w)), rng.gamma(2.0, 30.0, (p, w))
    local = np.einsum("pijw,pkjw->pikw", root, root)
    local[:, 1, 0] = local[:, 0, 1]
    factors = rng.normal(scale=0.1, size=(3, p, 2, w))
    factors[2] = 0.0
    factors[2, 0] = 0.01
    own = rng.normal(scale=0.1, size=(p, 2, 2, w))
    for array in (k, s, local, factors, own):
        array[..., -1] = np.nan
    said: dict[str, object] = {
        "paints": paints,
        "wavelengths": GRID,
        "k": k,
        "s": s,
        "local": local,
        "own": own,
        "factors": factors,
        "factor_names": ("white", "applicator 150 µm", "dry volume of the first"),
        "scale": ABSOLUTE,
        "surface": Surface.of("45:0"),
        "dry_volume": rng.uniform(0.25, 0.45, p),
        "density": rng.uniform(1.1, 1.5, p),
        "dry_volume_measured": rng.uniform(size=p) < 0.5,
        "ratio_only": rng.uniform(size=(p, w)) < 0.1,
        "scan_made": np.zeros(p, dtype=bool),
        "mix_error": rng.uniform(0.05, 0.2, p),
        "part_error": np.full(p, 0.05),
        "crowding": np.zeros(p),
        "surface_error": np.full(p, 0.001),
        "model_error": rng.uniform(0.002, 0.01, w),
        "surface_offset": np.zeros(p),
    }
    return Coefficients(**(said | changes))


def named_by_fit(coefficients: Coefficients, fit: int) -> Coefficients:
    """The same, its shared factors named by the fit that they come from."""
    names = tuple(f"fit {fit}: {name}" for name in coefficients.factor_names)
    return replace(coefficients, factor_names=names)


def joint_fit(paints: tuple[str, ...] = ("HULL", "KEEL"), seed: int = 1) -> JointFit:
    """A fit that no readings led to, of the shape that a fit has."""
    all_of_them = coefficients(paints, seed)
    patches = pd.DataFrame(
        {
            "card": ["keel-1", "keel-1"],
            "patch": ["masstone/black", "tenth/white"],
            "step": ["masstone", "tenth"],
            "over": ["black", "white"],
            "share": [1.0, 0.1],
            "thickness_um": [61.0, 58.5],
            "de00": [0.1 / 3, 1.25],
            "rms": [0.001, 0.002],
            "weight": [1.0, 0.5],
            "flag": ["", "thinner than the rest"],
        }
    )
    residuals = pd.DataFrame(
        {
            "card": "keel-1",
            "patch": "masstone/black",
            "wavelength": GRID,
            "measured": np.linspace(0.1, 0.3, GRID.size),
            "fitted": np.linspace(0.1, 0.31, GRID.size),
            "sigma": 0.001,
        }
    )
    nuisances = pd.DataFrame(
        {
            "name": ["k2", "film of masstone"],
            "value": [0.596, 61.0],
            "uncertainty": [0.01, 2.0],
            "prior": [0.596, 60.0],
            "prior_sd": [0.05, np.nan],
            "unit": ["", "µm"],
        }
    )
    fits = {
        paint: PaintFit(
            paint=paint,
            coefficients=all_of_them.select(list(dict.fromkeys((paint, paints[0])))),
            patches=patches,
            residuals=residuals,
            verdict="good to mix by",
            reasons=("every step fits",),
        )
        for paint in paints
    }
    return JointFit(fits, all_of_them, nuisances, {"robust": True, "k2_prior": [0.596, 0.05]})


def fill(store):
    """A studio with a fit of two paints and a mixture that it never saw."""
    store.paints.add_file(PAINTS_TOML)
    store.cards.add(ladder(), "the card's own text")
    store.readings.add("keel-1", session(ladder()))
    store.cards.add(ladder("held-out", purpose="check"), "another card")
    store.readings.add("held-out", session(ladder("held-out"), 2))
    fit = store.fits.record(joint_fit(), store.readings.all())
    store.fits.record_checks(
        fit,
        pd.DataFrame({"card": ["held-out"], "step": ["half"], "over": ["black"], "de00": [0.7]}),
    )
    return store
