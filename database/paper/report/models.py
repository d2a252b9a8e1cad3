"""By which model a report shows each paint, and how well each model predicted what it never saw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ....calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ...mixing.model_choice import WORDS, choose
from ...releases.load import LoadedRelease
from ...releases.model_choice import steps_left_out, tried


@dataclass(frozen=True)
class Fared:
    """How one model fared on mixtures, and on steps of ladders, that its fit was not shown.

    Attributes
    ----------
    words : str
        The model.
    patches : int
        Of held-out mixtures that tell.
    mean, p95, worst : float
        CIEDE2000 of them; NaN without any.
    steps : float
        Mean, over paints, of the median CIEDE2000 of their steps, each as all others predict it;
        NaN where that wasn't worked out.
    used : bool
        Whether mixes are calculated by it.
    """

    words: str
    patches: int
    mean: float
    p95: float
    worst: float
    steps: float
    used: bool


def fared(release: LoadedRelease) -> list[Fared]:
    """Say how well each model of a release fared."""
    beside, found = release.by_transport, []
    nearer = tried(release).nearer if beside is not None else ""
    for each in (release, *([] if beside is None else [beside])):
        checks, model = each.tables["checks"], str(each.tables["paints"]["model"].iloc[0])
        off = checks.loc[~(checks["scan_error"] > MOST_SCAN_ERROR), "de00"].to_numpy(float)
        figures = np.nan, np.nan, np.nan
        if off.size:
            figures = float(off.mean()), float(np.percentile(off, 95)), float(off.max())
        steps = list(steps_left_out(each).values())
        typical = float(np.mean(steps)) if steps else np.nan
        found.append(Fared(WORDS[model], off.size, *figures, typical, model == nearer))
    return found


def shown_by(release: LoadedRelease) -> dict[str, LoadedRelease]:
    """Return, for each paint, the release as the model has it that its mixes are calculated by.

    Releases that packed no patches of fits by transport are shown by two fluxes.
    """
    paints = [str(paint) for paint in release.tables["paints"]["paint"]]
    beside = release.by_transport
    if beside is None or beside.tables["patches"].empty:
        return dict.fromkeys(paints, release)
    theirs, trial = beside.tables["paints"], tried(release)
    fits = dict(zip(theirs["paint"], theirs["fit"], strict=True))
    model = release.tables["paints"]["model"].iloc[0]
    return {paint: release if choose([paint], fits, trial) == model else beside for paint in paints}
