"""Fits a release anew from the readings packed in it, and holds the result against its numbers."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pandas as pd

from ...calibrate.cards.readings import CardReadings, pair
from ...calibrate.errors import InputError
from ...calibrate.fit.problem.result import JointFit
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.spectra import Array
from ..common.made_with import same_code, same_libraries
from ..fits.fitting import recorded_settings, run_fit
from ..fits.scan_fitting import run_scan_fit
from .load import LoadedRelease
from .tables.inputs import card_of, session_of
from .tables.scans import packed_devices

CLOSE = 1e-3
"""By how much of its standard uncertainty a refitted value may differ on another machine."""
NEAR = 1e-2
"""The same where another numpy or scipy counted."""
AKIN = 0.2
"""The same where other code fitted it: each version leaves a fit at a slightly other place."""
_EXACT = 1e-3
"""By how much of itself a value may differ that comes with a fit and has no uncertainty."""

_BITS = 1e-9
"""Means of many values may differ by their last bits."""
_BESIDE = (
    "mix_error", "part_error", "crowding", "surface_error", "surface_offset", "dry_volume",
    "density",
)  # fmt: skip

Outcome = Literal["follows", "differs", "unchecked"]


@dataclass(frozen=True)
class Refit:
    """A fit of a release, fitted anew.

    Attributes
    ----------
    fit : int
    paints : tuple of str
        Those of the release whose numbers it gave.
    largest : float
        Largest change of K, S or their uncertainty, over that uncertainty; NaN where it could not
        be fitted anew.
    same : bool
        Whether every number is the same to the last bit.
    where : str
        The value that changed most.
    why_not : str
        Why it could not be fitted anew; empty where it was.
    code_version : str
        That it was made with.
    made_with : mapping or None
        The same in full (see `tintladder.database.common.made_with`); None where not recorded.
    """

    fit: int
    paints: tuple[str, ...]
    largest: float
    same: bool
    where: str
    why_not: str
    code_version: str
    made_with: Mapping[str, str] | None = None

    @property
    def tolerance(self) -> float:
        """By how much of its uncertainty a value may differ, by what it was made with."""
        if self.by_another:
            return AKIN
        return CLOSE if same_libraries(self.made_with) else NEAR

    @property
    def holds(self) -> bool:
        """Whether the published numbers follow from the packed readings."""
        return self.largest <= self.tolerance

    @property
    def outcome(self) -> Outcome:
        """Whether they follow, differ, or can't be told: not fitted anew, or by other code."""
        if self.holds:
            return "follows"
        return "unchecked" if self.why_not or self.by_another else "differs"

    @property
    def by_another(self) -> bool:
        """Whether other code made it than that which fitted it anew."""
        return not same_code(self.made_with)

    @property
    def line(self) -> str:
        """The outcome in a line."""
        some = ", ".join(self.paints[:4]) + (", ..." if len(self.paints) > 4 else "")
        said = f"fit {self.fit} ({some})"
        if self.why_not:
            return f"{said} can't be fitted anew from this release alone: {self.why_not}"
        made = f" (made with another tintladder, {self.code_version})" if self.by_another else ""
        if self.same:
            return f"{said}: the packed readings give the same numbers, to the last bit"
        if self.holds:
            near = f"within {self.largest:.1g} of u"
            return f"{said}{made}: the packed readings give its numbers, {near}"
        far = f"{self.where} by {self.largest:.2g} of its standard uncertainty"
        if self.by_another:
            return f"{said}{made}: the version here fits its readings otherwise: {far}"
        return f"{said}: the packed readings give other numbers: {far}"


def refit_release(
    release: LoadedRelease, progress: Callable[[str], None] = lambda _: None
) -> list[Refit]:
    """Fit every fit of a release anew, from its tables alone.

    Parameters
    ----------
    release : LoadedRelease
    progress : callable, optional
        Called with what goes on.
    """
    beside = release.by_transport
    return [*_refits(release, progress), *(_refits(beside, progress) if beside else [])]


def _refits(release: LoadedRelease, progress: Callable[[str], None]) -> list[Refit]:
    """Fit every fit by one model anew."""
    fits, paints = release.tables["fits"].sort_values("fit"), release.tables["paints"]
    found, errors = [], dict[int, Array]()
    for n, row in enumerate(fits.itertuples(), 1):
        fit = int(str(row.fit))
        progress(f"fit {n} of {len(fits)}")
        mine = tuple(paints.loc[paints["fit"] == fit, "paint"])
        said = json.loads(str(row.made_with)) if row.made_with else None
        version = str(row.code_version), said
        try:
            made = _refit(release, row, errors)
        except (InputError, KeyError, TypeError, ValueError, np.linalg.LinAlgError) as error:
            why = " ".join(str(error).split()) or type(error).__name__
            found.append(Refit(fit, mine, np.nan, False, "", why, *version))
            continue
        errors[fit] = made.coefficients.model_error
        published, anew = release.select(mine), made.coefficients.select(mine)
        largest, where = max(_largest(published, anew), _farthest(release, mine, made))
        same = _same(published, anew) and largest < _BITS
        found.append(Refit(fit, mine, largest, same, where, "", *version))
    if found and len(errors) == len(found):
        # A release states the largest of its fits.
        stated = release.select(found[-1].paints).model_error
        off = _apart(stated, np.max(list(errors.values()), axis=0))
        if off > found[-1].largest:
            same = found[-1].same and off < _BITS
            found[-1] = replace(found[-1], largest=off, where="model_error", same=same)
    return found


def _refit(release: LoadedRelease, row: Any, errors: Mapping[int, Array]) -> JointFit:
    inputs = json.loads(row.inputs)
    if adopted := inputs.get("adopted"):
        raise ValueError(f"its readings are packed in {adopted['release']}, adopted here")
    tubes = {said["paint"]: Tube(**said) for said in inputs["tubes"]}
    settings = recorded_settings(json.loads(row.settings))
    known = _known(release, said, errors) if (said := inputs.get("known")) else None
    if by_scan := inputs.get("by_scan"):
        return run_scan_fit(
            packed_devices(release.tables, inputs["scans"], by_scan),
            tubes,
            known,
            *_prior(release, by_scan["prior"]),
            settings,
        )
    return run_fit(packed_readings(release.tables, inputs), tubes, known, settings)


def _prior(
    release: LoadedRelease, prior: Mapping[str, Any] | None
) -> tuple[Coefficients | None, str | None]:
    """Return the measured paints that scanned ones were believed to be like, and their white."""
    if prior is None:
        return None, None
    _check_there(release, prior["fits"])
    return release.select(list(prior["fits"])), prior["white"]


def packed_readings(
    tables: Mapping[str, pd.DataFrame], inputs: Mapping[str, Any]
) -> list[CardReadings]:
    """Card readings of a fit, in its order, from the tables of a release.

    Raises
    ------
    ValueError
        Where the release has a card as it was corrected after the fit.
    """
    cards = tables["cards"].set_index("card")
    of_session = tables["sessions"].set_index("session")["card"]
    found = []
    for item in inputs["sessions"]:
        name = of_session[item["session"]]
        if cards.loc[name, "sha256"] != item["card_sha256"]:
            raise ValueError(f"card {name} was corrected since")
        card = card_of(tables, name)
        if item.get("learnt"):
            card = replace(card, purpose="learn")
        found.append(pair(card, session_of(tables, item["session"])))
    return found


def _known(
    release: LoadedRelease, known: Mapping[str, Any], errors: Mapping[int, Array]
) -> Coefficients:
    """Return the K and S that new tubes were fitted against, just as they were then."""
    _check_there(release, known["fits"])
    found = release.select(list(known["fits"]))
    row = {name: i for i, name in enumerate(found.factor_names)}
    factors = np.zeros((len(known["factors"]), *found.factors.shape[1:]))
    for i, name in enumerate(known["factors"]):
        if name in row:
            factors[i] = found.factors[row[name]]
    own = np.zeros((len(found.paints), known["own"], *found.own.shape[2:]))
    groups = min(known["own"], found.own.shape[1])
    own[:, :groups] = found.own[:, :groups]
    learnt = [errors.get(fit, found.model_error) for fit in known["fits"].values()]
    return replace(
        found,
        own=own,
        factors=factors,
        factor_names=tuple(known["factors"]),
        model_error=np.max(learnt, axis=0),
    )


def _check_there(release: LoadedRelease, fitted: Mapping[str, int]) -> None:
    fits = release.tables["paints"].set_index("paint")["fit"]
    for paint, fit in fitted.items():
        if fits.get(paint) != fit:
            raise ValueError(f"it was fitted against {paint} of fit {fit}, which isn't in it")


def _same(one: Coefficients, other: Coefficients) -> bool:
    pairs = ((one.k, other.k), (one.s, other.s), (one.local, other.local))
    return all(np.array_equal(a, b, equal_nan=True) for a, b in pairs)


def _largest(old: Coefficients, new: Coefficients) -> tuple[float, str]:
    """Largest change over the published standard uncertainty, and of what."""
    values = np.stack([old.k, old.s]), np.stack([new.k, new.s])
    unsure = np.stack(old.uncertainty), np.stack(new.uncertainty)
    if not np.array_equal(np.isnan(values[0]), np.isnan(values[1])):
        return np.inf, "which wavelengths were read changed,"
    change = np.fmax(np.abs(values[1] - values[0]), np.abs(unsure[1] - unsure[0]))
    ratio = np.divide(change, unsure[0], out=np.zeros_like(change), where=unsure[0] > 0)
    ratio = np.nan_to_num(ratio)
    q, i, w = np.unravel_index(ratio.argmax(), ratio.shape)
    return float(ratio.max()), f"{old.paints[i]}, {'KS'[q]} at {old.wavelengths[w]:g} nm"


def _farthest(release: LoadedRelease, paints: Sequence[str], made: JointFit) -> tuple[float, str]:
    """Return the same of what comes with K and S, each against `_EXACT` of itself.

    How sure the model is, what a gram leaves, the surface, and how the fit is judged.
    """
    old, new = release.select(paints), made.coefficients.select(paints)
    found = []
    for name in _BESIDE:
        pair = np.atleast_1d(getattr(old, name)), np.atleast_1d(getattr(new, name))
        found.append((_apart(*pair), f"its {name}"))
    surfaces = [np.array([c.surface.n, c.surface.k2, c.surface.haze]) for c in (old, new)]
    found.append((_apart(*surfaces), "its surface"))
    kinds = [(c.scale, c.model, c.surface.geometry, c.surface.specular) for c in (old, new)]
    found.append((0.0 if kinds[0] == kinds[1] else np.inf, "its scale or geometry"))
    said = release.tables["paints"].set_index("paint").loc[list(paints)]
    for paint in paints:
        ours, theirs = made.paints[paint], said.loc[paint]
        figures = [np.array([each.de00_mean, each.de00_max]) for each in (ours, theirs)]
        found.append((_apart(*figures), f"{paint}, how far it lies from its patches,"))
    return max(found)


def _apart(one: Array, other: Array) -> float:
    """How far values differ, as a share of the larger over what is allowed."""
    if not np.array_equal(np.isnan(one), np.isnan(other)):
        return np.inf
    scale = np.fmax(np.abs(one), np.abs(other))
    off = np.divide(np.abs(one - other), scale, out=np.zeros_like(scale), where=scale > 0)
    return float(np.nan_to_num(off).max(initial=0.0)) * CLOSE / _EXACT
