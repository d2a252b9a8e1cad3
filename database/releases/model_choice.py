"""Which model the paints of a release are spoken of by: as a studio chooses, from its tables."""

from __future__ import annotations

import json
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

from ...calibrate.fit.judging.quality_figures import LEFT_OUT
from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.transport import TRANSPORT
from ..mixing.model_choice import Trial, choose, costs_of, no_such_fit, trial_of
from .load import LoadedRelease


def tried(release: LoadedRelease) -> Trial:
    """How far off each model was where both were tried; see `model_choice.tried`."""
    beside = release.by_transport
    models = {TWO_FLUX: release} | ({} if beside is None else {TRANSPORT: beside})
    mixtures, steps, unsure = {}, {}, dict[Hashable, float]()
    inputs = list[tuple[str, Mapping[str, Any]]]()
    for model, each in models.items():
        checks = each.tables["checks"]
        by_patch = checks.groupby(["card", "patch"])
        mixtures[model] = by_patch["de00"].mean().to_dict()
        unsure |= by_patch["scan_error"].mean().dropna().to_dict()
        steps[model] = steps_left_out(each)
        inputs += [(model, json.loads(said)) for said in each.tables["fits"]["inputs"]]
    return trial_of(mixtures, steps, unsure, costs_of(inputs))


def steps_left_out(release: LoadedRelease) -> dict[Hashable, float]:
    """Median CIEDE2000 of each paint's steps as all its others predict them, where it is said."""
    quality = release.tables["quality"]
    found = quality[quality["quantity"] == LEFT_OUT].groupby("paint")["value"].median()
    return dict(found.items())


def model_of(release: LoadedRelease, paints: Sequence[str]) -> str:
    """Return the model that mixes of some paints of a release are calculated by."""
    beside = release.by_transport
    if beside is None:
        return TWO_FLUX
    theirs = beside.tables["paints"]
    fits = dict(zip(theirs["paint"], theirs["fit"], strict=True))
    return choose(paints, fits, tried(release))


def of_model(
    release: LoadedRelease, paints: Sequence[str], model: str | None = None
) -> LoadedRelease:
    """Return a release as one model has it: that given, or that mixes of these are calculated by.

    Raises
    ------
    InputError
        Where a paint has no fit by the model given.
    """
    model = model or model_of(release, paints)
    if model == TWO_FLUX:
        return release
    beside = release.by_transport
    known = set() if beside is None else set(beside.tables["paints"]["paint"])
    without = [paint for paint in paints if paint not in known]
    if beside is None or without:
        raise no_such_fit(without, model, release.name)
    return beside
