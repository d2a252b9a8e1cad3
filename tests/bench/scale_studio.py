"""Studios of many paints with fits, releases and cards, made without fitting every paint.

Ten paints are fitted by both models. The others take a fit of one of these each, with curves and a
name of their own, so that whatever works on fits has as many as it would have.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.quality_report import QualityReport, quality_report
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.coefficients import TWO_FLUX, Coefficients
from tintladder.calibrate.optics.transport import OF_TWO_FLUXES, TRANSPORT
from tintladder.database.store.store import Store

from .scale_paints import WHITE, curves, nickname, readings, studio, tube

FITTED = 10
MODELS = (TWO_FLUX, TRANSPORT)


def fitted_studio(folder: Path, paints: int) -> None:
    """Make a studio of so many paints, each with a card, its readings and a fit by each model."""
    studio(folder, paints)
    with Store.open(folder) as store:
        keep_fits(store, paints)


def keep_fits(store: Store, paints: int, times: float = 1.0) -> None:
    """Keep a joint fit of all paints by each model, K multiplied by `times`."""
    inputs = store.readings.all()
    for model in MODELS:
        fit, quality = _many(model, paints, times)
        store.fits.record(fit, inputs, quality=quality)


@cache
def ten(model: str) -> tuple[JointFit, Mapping[str, QualityReport]]:
    """The joint fit of the first paints, and what is said of each."""
    read = readings(range(FITTED))
    tubes = {nickname(i): tube(i) for i in range(FITTED)}
    fit = fit_paints(read, tubes, FitSettings(model=model), leave_out=True)  # type: ignore[arg-type]
    reference = fit.paints[nickname(1)]
    said = {
        paint: quality_report(
            each, read, left_out=fit.left_out, reference=None if paint == WHITE else reference
        )
        for paint, each in fit.paints.items()
    }
    return fit, said


def _many(model: str, paints: int, times: float) -> tuple[JointFit, dict[str, QualityReport]]:
    fit, said = ten(model)
    like = [nickname(i if i < FITTED else 1 + i % (FITTED - 1)) for i in range(paints)]
    names = [nickname(i) for i in range(paints)]
    found = _as_others(fit.coefficients.select(like), names, times)
    made, quality = {}, {}
    for name, model_of in zip(names, like, strict=True):
        each = fit.paints[model_of]
        patches, residuals = (_renamed(t, name) for t in (each.patches, each.residuals))
        beside = list(dict.fromkeys([name, WHITE]))
        made[name] = replace(
            each, paint=name, coefficients=found.select(beside), patches=patches,
            residuals=residuals,
        )  # fmt: skip
        report = said[model_of]
        quality[name] = replace(
            report, paint=name, patches=_renamed(report.patches, name), residuals=residuals
        )
    return replace(fit, paints=made, coefficients=found), quality


def _as_others(found: Coefficients, names: Sequence[str], times: float) -> Coefficients:
    """The same uncertainty, relative, of the curves that paints of these names have."""
    scale = np.ones(2) if found.model == TWO_FLUX else np.asarray(OF_TWO_FLUXES)
    both = np.stack([found.k, found.s], axis=1)
    wanted = np.array([curves(i) for i in range(len(names))]) * scale[:, None]
    wanted[:, 0] *= times
    q = wanted / both
    changed: dict[str, Any] = {
        "k": wanted[:, 0],
        "s": wanted[:, 1],
        "local": found.local * q[:, :, None] * q[:, None],
        "own": found.own * q[:, None],
        "factors": found.factors * q[None],
    }
    return replace(found, paints=tuple(names), **changed)


def _renamed(table: pd.DataFrame, name: str) -> pd.DataFrame:
    return table.assign(card=f"card-{name}")
