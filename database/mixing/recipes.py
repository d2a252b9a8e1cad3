"""Recipes for a colour: every set of tubes searched, the really different ways kept and ranked."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import D50, View, surely_in_words
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.predict import Prediction
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..common.words import colour_words, hue_name, hue_turn
from .film import Film, FilmPalette, bettered, predict_as
from .palette import Ints, Palette
from .prediction import why
from .ranking import SMALLEST_PART, VISIBLE, Judged, judge
from .search import Solutions, search
from .shortlist import ALL_SETS, how_many, shortlist
from .target import Target


@dataclass(frozen=True)
class Recipe:
    """One way to a colour.

    Attributes
    ----------
    parts : dict of nickname to share by weight
        Of tube paint; they sum to 1, the greatest first.
    lab : (3,) array
        Predicted, under the light that it was matched under.
    reflectance : (W,) array
        Predicted.
    difference : float
        CIEDE2000 from the target.
    band : float
        CIEDE2000 that the mix stays within of its prediction with 95 % probability.
    clumsy : float
        Root mean square CIEDE2000 that errors of 10 % in each part bring.
    lights : dict of light to CIEDE2000
        CIE special metamerism index under other lights; empty where the target is only a colour.
    light_bands : dict of light to CIEDE2000
        That the mix stays within of its prediction under each of them, 95 of 100 times.
    why : str
        Why it works, or nothing.
    """

    parts: dict[str, float]
    lab: Array
    reflectance: Array
    difference: float
    band: float
    clumsy: float
    lights: dict[str, float]
    light_bands: dict[str, float]
    scan_made: bool
    why: str

    @property
    def words(self) -> str:
        """The colour in words."""
        return colour_words(self.lab)

    @property
    def too_small(self) -> tuple[str, ...]:
        """Paints of which there is too little to measure."""
        return tuple(p for p, share in self.parts.items() if share < SMALLEST_PART)


@dataclass(frozen=True)
class Answer:
    """What tubes on hand make of a colour.

    Attributes
    ----------
    recipes : tuple of Recipe
        Really different ways, best first.
    searched : int
        Number of sets of tubes.
    passed_over : int
        Number of sets of very many tubes that were not searched; see `shortlist`.
    nearest : float
        CIEDE2000 of the nearest of all mixes.
    missing : str
        Where nothing comes near: what the nearest lacks, in words.
    """

    target: Target
    recipes: tuple[Recipe, ...]
    searched: int
    nearest: float
    missing: str
    passed_over: int = 0

    @property
    def closest(self) -> Recipe:
        """The way that comes nearest, where a simpler one is named first."""
        return min(self.recipes, key=lambda way: way.difference)

    @property
    def gap(self) -> float:
        """How much nearer, CIEDE2000, a set that wasn't searched could be seen to come, at most."""
        return max(self.nearest - VISIBLE, 0.0) if self.passed_over else 0.0

    @property
    def searched_words(self) -> str:
        """How many sets of tubes were searched, and what those can do that weren't."""
        if not self.passed_over:
            return f"Every one of {self.searched} sets of tubes was searched."
        said = f"Of {self.searched + self.passed_over:,} sets of tubes {self.searched:,} were "
        if self.gap == 0:
            return f"{said}searched; no other can come visibly nearer."
        return f"{said}searched; another may come nearer, by CIEDE2000 {self.gap:.1f} at most."

    @property
    def reachable(self) -> bool:
        """Whether some way comes so near that it is hard to see."""
        return self.nearest <= VISIBLE


def recipes(
    coefficients: Coefficients,
    target: Target,
    most: int = 4,
    must: Collection[str] = (),
    ways: int = 5,
    names: Mapping[str, str] | None = None,
    within: float | None = None,
    film: Film | None = None,
    view: View = D50,
) -> Answer:
    """Search every set of up to `most` tubes for a colour.

    Parameters
    ----------
    coefficients : Coefficients
        Of the tubes that may be used.
    most : int
        Tubes in a mix.
    must : collection of str
        Nicknames that have to be in it.
    ways : int
        Recipes to return at most.
    names : mapping of nickname to name, optional
        For the words.
    within : float, optional
        CIEDE2000 that a way must come to, if any does.
    film : Film, optional
        What is painted, where it doesn't hide.
    view : View
        Light and observer that they are matched under.

    Raises
    ------
    InputError
        Where more tubes have to be in the mix than may be, or a sum can't be formed.
    """
    near = None if within is None else [within]
    return recipes_of_many(coefficients, [target], most, must, ways, names, near, film, view)[0]


def recipes_of_many(
    coefficients: Coefficients,
    targets: Sequence[Target],
    most: int = 4,
    must: Collection[str] = (),
    ways: int = 5,
    names: Mapping[str, str] | None = None,
    within: Sequence[float] | None = None,
    film: Film | None = None,
    view: View = D50,
) -> list[Answer]:
    """As `recipes`, for many colours in one search; `within` of each."""
    if len(must) > most:
        raise InputError(
            Field("with"), ", ".join(must), f"{len(must)} tubes for a mix of {most}",
            StudioDo.ALLOW_TUBES(count=len(must)),
        )  # fmt: skip
    total = how_many(len(coefficients.paints), most)
    if total > ALL_SETS:
        said: Any = (most, must, ways, names)
        each = [None] * len(targets) if within is None else within
        return [
            _of_very_many(coefficients, target, total, said, near, film, view)
            for target, near in zip(targets, each, strict=True)
        ]
    palette = FilmPalette.of(coefficients, film, view)
    found = search(palette, np.array([t.lab for t in targets]), most)
    searched = sum(len(s.tubes) for s in found)
    answers = []
    for i, target in enumerate(targets):
        near = None if within is None else within[i]
        one = [Solutions(s.tubes, s.shares[i : i + 1], s.difference[i : i + 1]) for s in found]
        if film is None:
            shares = _irreducible(one, len(palette.paints))
        else:
            shares = np.concatenate([bettered(palette, s, target.lab) for s in one])
        for name in must:
            shares = shares[shares[:, coefficients.index(name)] > 0]
        if not len(shares):
            raise InputError(
                Field("with"), ", ".join(must), "it only harms: every better mix leaves it out",
                StudioDo.LEAVE_OUT_MUST(),
            )  # fmt: skip
        answers.append(_answer(palette, shares, target, ways, names or {}, near, searched))
    return answers


def _of_very_many(
    coefficients: Coefficients,
    target: Target,
    total: int,
    said: tuple[int, Collection[str], int, Mapping[str, str] | None],
    within: float | None,
    film: Film | None,
    view: View,
) -> Answer:
    """Search every set of the tubes that can matter, and say how many were passed over."""
    likely = shortlist(Palette(coefficients, view), target.lab, said[0], said[1])
    few = coefficients.select(likely.tubes)
    near = None if within is None else [within]
    found = recipes_of_many(few, [target], *said, near, film, view)[0]
    searched = found.searched + likely.tried
    return replace(found, searched=searched, passed_over=max(total - searched, 0))


def _answer(
    palette: Palette,
    shares: Array,
    target: Target,
    ways: int,
    names: Mapping[str, str],
    within: float | None,
    searched: int,
) -> Answer:
    """Rank the best mixes of all sets, and keep the really different ones."""
    judged = judge(palette, shares, target)
    best = int(np.argmin(judged.difference))
    nearest = float(judged.difference[best])
    far = judged.difference > max(within or np.inf, nearest)
    order = np.argsort(np.where(far, np.inf, judged.cost), kind="stable")
    chosen = _different(judged, order, ways)
    made = tuple(_recipe(palette, judged, row, target, names) for row in chosen)
    missing = ""
    if nearest > VISIBLE:
        missing = lacks(palette.lab(judged.shares[best])[0], target.lab)
    return Answer(target, made, searched, nearest, missing)


def recipe_as_given(
    palette: Palette,
    parts: Mapping[str, float],
    target: Target,
    names: Mapping[str, str] | None = None,
) -> Recipe:
    """Judge a mix by weight as it stands: one that was kept, or thought up."""
    dense = np.array([[parts.get(p, 0.0) for p in palette.paints]])
    dry = dense * palette.coefficients.dry_volume
    judged = judge(palette, dry / dry.sum(), target)
    return _recipe(palette, judged, 0, target, names or {})


def _irreducible(found: Sequence[Solutions], count: int) -> Array:
    """Mixes in which every paint of the set has a part, as dry-volume fractions (N, P)."""
    mixes = []
    for solved in found:
        rows = np.flatnonzero((solved.shares[0] > 0).all(axis=1))
        dense = np.zeros((rows.size, count))
        np.put_along_axis(dense, solved.tubes[rows], solved.shares[0, rows], axis=1)
        mixes.append(dense)
    return np.concatenate(mixes)


def _different(judged: Judged, order: Ints, ways: int) -> list[int]:
    """Choose the best, then each next that isn't one already chosen with a tube swapped in."""
    chosen: list[int] = []
    for row in order:
        mine = judged.shares[row] > 0
        # A tube more, or the same tubes for most of the heap, is the same way.
        if all(
            (mine != (judged.shares[c] > 0)).sum() >= 2
            and np.minimum(judged.masses[row], judged.masses[c]).sum() < 0.95
            and not (mine >= (judged.shares[c] > 0)).all()
            for c in chosen
        ):
            chosen.append(int(row))
        if len(chosen) == ways:
            break
    best = judged.difference[chosen[0]]
    return [c for c in chosen if judged.difference[c] <= max(best, VISIBLE) + 3 * VISIBLE]


def _recipe(
    palette: Palette, judged: Judged, row: int, target: Target, names: Mapping[str, str]
) -> Recipe:
    used = np.flatnonzero(judged.shares[row])
    used = used[np.argsort(-judged.masses[row, used], kind="stable")]
    few = palette.coefficients.select([palette.paints[i] for i in used])
    said = predict_as(palette, few, judged.shares[row, used][None])
    parts = {palette.paints[i]: float(judged.masses[row, i]) for i in used}
    lab = said.lab(palette.view)
    return Recipe(
        parts=parts,
        lab=lab[0],
        reflectance=said.reflectance[0],
        difference=float(judged.difference[row]),
        band=_band(said, palette.view),
        clumsy=float(judged.clumsy[row]),
        lights={light: float(v[row]) for light, v in judged.lights.items()},
        light_bands={
            light: _band(said, View(light, palette.view.observer)) for light in judged.lights
        },
        scan_made=bool(few.scan_made.any()),
        why=why(few, parts, names),
    )


def _band(said: Prediction, view: View) -> float:
    """CIEDE2000 that a mix stays within of its prediction, 95 of 100 times."""
    return float(ciede2000_band(said.lab(view), said.lab_covariance(view))[0])


def lacks(nearest: Array, wanted: Array) -> str:
    """Say what one colour (3,) would need to become another."""
    words = []
    if abs(wanted[0] - nearest[0]) > 2:
        words.append("lighter" if wanted[0] > nearest[0] else "darker")
    one, other = np.hypot(*nearest[1:]), np.hypot(*wanted[1:])
    if abs(other - one) > 2:
        words.append("cleaner" if other > one else "greyer")
    if min(one, other) > 5:
        h1, h2 = (float(np.degrees(np.arctan2(c[2], c[1])) % 360) for c in (nearest, wanted))
        if abs(hue_turn(h1, h2)) > 4:
            words.append(f"further toward {hue_name((h2 + np.sign(hue_turn(h1, h2)) * 30) % 360)}")
    return "it would have to be " + " and ".join(words or ["a little nearer"])


def match_words(recipe: Recipe) -> str:
    """Say how near a recipe comes and how sure that is."""
    return near_words(recipe.difference, recipe.band)


def near_words(off: float, band: float) -> str:
    """Say how near a mix comes and how sure that is, both CIEDE2000."""
    return (
        f"off by CIEDE2000 {off:.1f} ({surely_in_words(off, band)}); sure to within {band:.1f} "
        "(95 of 100 times)"
    )
