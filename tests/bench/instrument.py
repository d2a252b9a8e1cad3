"""How near corrected readings come to the truth, and what each stage of the chain is worth.

The instrument, its tiles and the films are invented (`tests.invented_instrument`).
"""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

import numpy as np
from tintladder.calibrate.instrument.corrections import InstrumentOptics, correct
from tintladder.calibrate.instrument.estimate.outcomes import CHANGING, STAGES

from ..invented_instrument import Faults, sitting
from .harness import benchmark


@cache
def rms(without: Collection[str] = (), noise: float = 0.0) -> float:
    """RMS of corrected reflectance less the truth, over all films and wavelengths."""
    read = sitting(Faults(noise=noise))
    made = correct(
        read.raw, read.at, read.tile_readings, read.tiles, InstrumentOptics(band_nm=10.0), without
    )
    return float(np.sqrt(np.mean((made.spectra.values - read.truth) ** 2)))


@benchmark("instrument.corrections_rms", "reflectance", target=0.002)
def corrections_rms() -> float:
    """Scale 2 %, zero 0.005, bend 1 %, shift 0.5 nm, band 10 nm, drift 0.5 % an hour for 2 h."""
    return rms()


@benchmark("instrument.corrections_rms_noisy", "reflectance")
def corrections_rms_noisy() -> float:
    """The same with noise of 0.0005 on every value, the tiles' too."""
    return rms(noise=0.0005)


@benchmark("instrument.corrections_rms_none", "reflectance")
def corrections_rms_none() -> float:
    """Nothing corrected."""
    return rms(STAGES)


@benchmark("instrument.corrections_least_help", "times", target=1.5, sense="at least")
def least_help() -> float:
    """Residual without the stage that helps least, over the residual with all of them."""
    return min(rms((stage,)) for stage in CHANGING) / rms()


for _stage in CHANGING:
    benchmark(f"instrument.corrections_rms_without_{_stage}", "reflectance")(
        lambda stage=_stage: rms((stage,))  # type: ignore[misc]
    )
