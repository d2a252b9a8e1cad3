"""Accuracy and speed of the joint fit."""

from __future__ import annotations

from functools import cache

import numpy as np
from tintladder.calibrate.cards.card_file import read_card
from tintladder.calibrate.cards.readings import CardReadings, pair
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.optics.spectra import Array

from tests import synthetic
from tests.heldout import Figures, by_coefficients, differences, figures
from tests.lab.boatyard import SEED
from tests.lab.drawdown import Lab
from tests.opendata.watercolor import Unavailable

from .harness import Skipped, Timing, benchmark, timed
from .opendata import watercolor_ladders, watercolor_with_mixtures
from .per_wavelength import fit_by_loop
from .worlds import MEASUREMENTS, World, world


@cache
def heldout(name: str, noisy: bool) -> Figures:
    """Score the joint fit on every seed of a variant of the lab."""
    return figures(np.concatenate([score(w) for w in world(name, noisy)]))


def score(each: World) -> Array:
    """CIEDE2000 of each held-out mixture of one seed."""
    fit = fit_paints(each.cards, each.tubes)
    return differences(by_coefficients(fit.coefficients), each.mixtures)


@benchmark("fit.heldout_mean_de00", "CIEDE2000", target=1.3)
def heldout_mean() -> float:
    """200 random mixtures over 10 seeds of the nominal lab, demo noise."""
    return heldout("nominal", True).mean


@benchmark("fit.heldout_p95_de00", "CIEDE2000", target=2.6)
def heldout_p95() -> float:
    return heldout("nominal", True).p95


@benchmark("fit.heldout_worst_de00", "CIEDE2000")
def heldout_worst() -> float:
    return heldout("nominal", True).worst


@benchmark("fit.heldout_exact_mean_de00", "CIEDE2000", target=1.0)
def heldout_exact() -> float:
    """The same, had no reading, mass or thickness any error."""
    return heldout("nominal", False).mean


@benchmark("fit.heldout_noise_ratio", "noisy mean over exact mean", target=1.15)
def heldout_noise_ratio() -> float:
    return heldout("nominal", True).mean / heldout("nominal", False).mean


@benchmark("fit.recovery_worst", "relative error of K or S, model-made exact readings", target=1e-3)
def recovery() -> float:
    """The two-flux model's own readings, without error: the fit must give K and S back."""
    sure = FitSettings(two_flux_spread=1e-6, model_spread=0.0, noise=(1e-6, 1e-6))
    c = fit_paints(synthetic.ladders(), synthetic.TUBES, sure).coefficients
    k, s = (np.array([synthetic.KS[p][i] for p in c.paints]) for i in (0, 1))
    return float(max(np.abs(c.k / k - 1).max(), np.abs(c.s / s - 1).max()))


@cache
def demo_readings() -> tuple[CardReadings, ...]:
    """The demo's ten ladders, read from its files."""
    found = []
    for path in sorted((MEASUREMENTS / "cards").glob("*.toml")):
        card = read_card(path)
        if card.purpose == "fit":
            found.append(pair(card, read_session(MEASUREMENTS / "readings" / f"{path.stem}.txt")))
    return tuple(found)


@benchmark(
    "fit.joint_seconds",
    "s",
    target=1.0,
    baseline="scipy's least_squares, as it comes, in a loop over wavelengths and paints",
    ratio_target=20.0,
)
def joint_seconds() -> Timing:
    """The demo's ten paints."""
    tubes, readings = Lab().tubes, demo_readings()
    assert len({p for r in readings for p in r.card.paints}) == 10, f"not the demo of seed {SEED}"
    return timed(
        lambda: fit_paints(readings, tubes), lambda: fit_by_loop(readings, tubes), repeats=3
    )


@benchmark(
    "fit.opendata_ladders_share", "share under 5 (CIELAB 1976)", target=0.39, sense="at least"
)
def opendata_ladders() -> float:
    """156 measured watercolor mixtures, every pigment fitted from its own washes."""
    try:
        return float(watercolor_ladders()["share_under_5"])  # type: ignore[arg-type]
    except Unavailable as reason:
        raise Skipped(str(reason)) from None


@benchmark(
    "fit.opendata_mixtures_share", "share under 5 (CIELAB 1976)", target=0.80, sense="at least"
)
def opendata_mixtures() -> float:
    """The same, with the published training mixtures in the fit."""
    try:
        return float(watercolor_with_mixtures()["share_under_5"])  # type: ignore[arg-type]
    except Unavailable as reason:
        raise Skipped(str(reason)) from None
