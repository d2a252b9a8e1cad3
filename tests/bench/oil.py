"""A studio of measured oil paints: fitted as any studio is, judged on films that it never saw.

The films are those of `tests.opendata.oil_paints`. Two trials: the shades (paints let down with
some 1 % of black) are held out with the rest, or fitted. A third leaves out a fifth of all mixes at
a time, for the films held out by the set itself are few.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.tube import Tube, typical_density
from tintladder.calibrate.fit.uncertainty.check import Check, check_mixtures, mixes_on, together
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.cards.intake import take_in
from tintladder.database.store.store import Store

from tests.opendata.oil_paints import (
    BINDER,
    MASSTONE,
    NICKNAMES,
    Film,
    Purpose,
    films,
    write_files,
)

from . import as_studio
from .as_studio import MODELS, Fitted

FACTORS = np.exp(np.linspace(np.log(0.25), np.log(6), 33))
"""Thicknesses tried of each film where one is free, over the nominal."""
FOLDS = 5
INSIDE = 1.96


@dataclass(frozen=True)
class Trial:
    """A studio's fit, and films that it never saw, as check cards that the studio doesn't have."""

    fitted: Fitted
    aside: tuple[CardReadings, ...]


@cache
def all_readings(purpose: Purpose) -> Mapping[str, CardReadings]:
    """Every film, taken in and paired as a studio does, with cards of that purpose."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(folder, create=True)
        take_in(store, write_files(Path(folder), films(), purpose))
        return {r.card.name: r for r in store.readings.all(purpose)}


@cache
def trial(with_shades: bool) -> Trial:
    """Fit the studio. What is held out is in no card of its, so no choice rests on it."""
    roles = {"fit", "shade"} if with_shades else {"fit"}
    return tried(lambda film: film.role in roles, films())


def tried(fitted: Callable[[Film], bool], some: Sequence[Film]) -> Trial:
    """Fit a studio of some films, and hold out the others of them."""
    with tempfile.TemporaryDirectory() as name:
        files = write_files(Path(name), [film for film in some if fitted(film)])
        made = as_studio.fitted(files, Path(name))
    aside = tuple(all_readings("check")[film.sample] for film in some if not fitted(film))
    return Trial(made, aside)


@cache
def nominal(with_shades: bool, model: str) -> Check:
    """Films held out as they come out: nominal thickness, each over its own bare card."""
    each = trial(with_shades)
    return check_mixtures(each.fitted.used[model], each.aside)


@cache
def free(with_shades: bool, model: str) -> Array:
    """CIEDE2000 of the same patches, (N,), with one thickness free for each film."""
    each = trial(with_shades)
    return freed(each.fitted.used[model], each.aside)


def freed(used: Coefficients, aside: Sequence[CardReadings]) -> Array:
    """CIEDE2000 of films, (2 F,), each as thick as its two patches lie nearest; see `FACTORS`."""
    off = []
    for factor in FACTORS:
        cards = [_as_thick(readings, factor, used) for readings in aside]
        off.append(check_mixtures(used, cards).patches["de00"].to_numpy(float))
    of_films = np.array(off).reshape(len(FACTORS), -1, 2)
    best = (of_films**2).sum(axis=2).argmin(axis=0)
    return np.asarray(of_films[best, np.arange(best.size)].ravel())


def _as_thick(readings: CardReadings, factor: float, used: Coefficients) -> CardReadings:
    """The same film as if it had been found so many times as thick as its gap makes it."""
    (mix,) = mixes_on(readings.card, used, FitSettings())
    drawdown = replace(mix.drawdown, thickness_um=1e3 * mix.thickness * factor)
    return replace(readings, card=replace(readings.card, drawdowns=(drawdown,)))


@cache
def across(model: str) -> Check:
    """Every mix, predicted by a fit of all masstones and four fifths of the other mixes.

    The steps of one paint's ladder fall into different fifths.
    """
    mixes = [film for film in films() if film.step != MASSTONE]
    left = {film.sample: fold(film, mixes) for film in mixes}
    fit_cards, check_cards = all_readings("fit"), all_readings("check")
    tubes = {
        p: Tube(p, typical=typical_density([pigment], BINDER)) for p, pigment in NICKNAMES.values()
    }
    checks = []
    for k in range(FOLDS):
        cards = [r for name, r in fit_cards.items() if left.get(name) != k]
        settings = FitSettings(model=MODELS[model])  # type: ignore[arg-type]
        # As a studio fits: what a model gets wrong of mixes shows in steps left out.
        fit = fit_paints(cards, tubes, settings, leave_out=True)
        aside = [check_cards[name] for name, of in left.items() if of == k]
        checks.append(check_mixtures(fit.coefficients, aside))
    return together(checks)


def fold(film: Film, mixes: Sequence[Film]) -> int:
    """Ladders begin in different fifths, so that each has near and far tints, and shades."""
    paints = list(dict.fromkeys(each.paint for each in mixes))
    own = [each.sample for each in mixes if each.paint == film.paint]
    return (2 * paints.index(film.paint) + own.index(film.sample)) % FOLDS


def offsets(check: Check) -> tuple[Array, Array]:
    """Predicted less measured L*, a*, b* of each patch, and their standard uncertainties."""
    table = check.patches
    off = table[["l_predicted", "a_predicted", "b_predicted"]].to_numpy() - table[
        ["l", "a", "b"]
    ].to_numpy(float)
    return off, np.sqrt(np.diagonal(check.prediction.lab_covariance(), axis1=1, axis2=2))


def coverage(check: Check) -> Array:
    """Share of patches inside the 95 % interval of each of L*, a*, b*; (3,)."""
    off, sd = offsets(check)
    return np.asarray((np.abs(off) < INSIDE * sd).mean(axis=0))


def band_ratios(check: Check) -> tuple[float, float]:
    """How wide the bands are beside bands calibrated on other paints, median over patches.

    Returns
    -------
    even : float
        Beside one width for all patches: what holds 95 % of the errors of other paints' films.
    scaled : float
        Beside the bands themselves, widened or narrowed until they hold 95 % of those.
    """
    off, sd = offsets(check)
    owner = np.array([{f.sample: f.paint for f in films()}[c] for c in check.patches["card"]])
    even, scaled = [], []
    for paint in np.unique(owner):
        own, others = owner == paint, owner != paint
        width = np.quantile(np.abs(off[others]), 0.95, axis=0)
        even.append(INSIDE * sd[own] / width)
        scale = np.quantile(np.abs(off[others]) / sd[others], 0.95, axis=0)
        scaled.append(np.broadcast_to(INSIDE / scale, sd[own].shape))
    return float(np.median(np.concatenate(even))), float(np.median(np.concatenate(scaled)))


def set_aside(fit: JointFit) -> pd.DataFrame:
    """Patches that weigh nothing or less than whole: card, step, over, paint; each once."""
    tables = [p.patches[p.patches["weight"] < 1].assign(paint=p.paint) for p in fit.paints.values()]
    table = pd.concat(tables, ignore_index=True)
    return table.drop_duplicates(["card", "patch"])


def accused_steps(fit: JointFit) -> int:
    """Steps of which a patch at least was set aside."""
    return len(set_aside(fit).drop_duplicates(["card", "step"]))


def masstones_aside(fit: JointFit) -> int:
    """Masstones among them."""
    table = set_aside(fit).drop_duplicates(["card", "step"])
    return int((table["step"] == MASSTONE).sum())


def left_out(fit: JointFit) -> Array:
    """CIEDE2000 of each patch of the ladders as the other steps predict it."""
    assert fit.left_out is not None
    return fit.left_out["de00"].to_numpy(float)
