"""Recipes for a colour: every set of tubes searched, the really different ways kept and ranked."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..calibrate.errors import InputError
from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.colour import (
    ciede2000,
    ciede2000_band,
    ciede2000_metric,
    in_words,
)
from ..calibrate.optics.predict import predict
from ..calibrate.optics.spectra import Array
from .colour_words import colour_words, hue_name, hue_turn
from .mixing import why
from .recipe_engine import Solutions, search
from .recipe_lights import special_metamerism
from .recipe_palette import Ints, Palette, lab_slopes
from .recipe_spectrum import misfit
from .recipe_target import Target

VISIBLE = 1.0
"""CIEDE2000 that is hard to see: a nearer match is no better (a rule of thumb, no source)."""
SLIP = 0.10
"""Relative error of each part, by which a recipe's robustness is judged."""
SMALLEST_PART = 0.01
"""Share by weight under which a part is better taken from a tint mixed beforehand."""
# What a recipe costs, in CIEDE2000 (our own rule, no source): a tube more, a slip of 10 %, a part
# too small to measure, and e times the misfit of its spectrum.
_TUBE, _CLUMSY, _TINY, _SPECTRUM = 0.4, 0.15, 1.0, 0.5
_JUDGED = 600
"""Sets that are judged on more than their match."""


@dataclass(frozen=True)
class Recipe:
    """One way to a colour.

    Attributes
    ----------
    parts : dict of nickname to share by weight
        Of tube paint; they sum to 1, the greatest first.
    lab : (3,) array
        Predicted, D50/2°.
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
    scan_made : bool
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
    target : Target
    recipes : tuple of Recipe
        Really different ways, best first.
    searched : int
        Number of sets of tubes.
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
) -> Answer:
    """Search every set of up to `most` tubes for a colour.

    Parameters
    ----------
    coefficients : Coefficients
        Of the tubes that may be used.
    target : Target
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

    Raises
    ------
    InputError
        Where more tubes have to be in the mix than may be, or a sum can't be formed.
    """
    if len(must) > most:
        raise InputError(
            "--with", ", ".join(must), f"{len(must)} tubes for a mix of {most}",
            f"allow more: --tubes {len(must)}",
        )  # fmt: skip
    palette = Palette(coefficients)
    found = search(palette, target.lab[None], most)
    shares = _irreducible(found, len(palette.paints))
    for name in must:
        shares = shares[shares[:, coefficients.index(name)] > 0]
    if not len(shares):
        raise InputError(
            "--with", ", ".join(must), "it only harms: every better mix leaves it out",
            "leave --with out to see them",
        )  # fmt: skip
    judged = judge(palette, shares, target)
    best = int(np.argmin(judged.difference))
    far = judged.difference > max(within or np.inf, judged.difference[best])
    order = np.argsort(np.where(far, np.inf, judged.cost), kind="stable")
    chosen = _different(judged, order, ways)
    made = tuple(_recipe(palette, judged, row, target, names or {}) for row in chosen)
    nearest = float(judged.difference[best])
    missing = ""
    if nearest > VISIBLE:
        missing = lacks(palette.lab(judged.shares[best])[0], target.lab)
    return Answer(target, made, sum(len(s.tubes) for s in found), nearest, missing)


def _irreducible(found: Sequence[Solutions], count: int) -> Array:
    """Mixes in which every paint of the set has a part, as dry-volume fractions (N, P)."""
    mixes = []
    for solved in found:
        rows = np.flatnonzero((solved.shares[0] > 0).all(axis=1))
        dense = np.zeros((rows.size, count))
        np.put_along_axis(dense, solved.tubes[rows], solved.shares[0, rows], axis=1)
        mixes.append(dense)
    return np.concatenate(mixes)


@dataclass(frozen=True)
class Judged:
    """Mixes (N) and all that they are ranked by; see `Recipe`.

    Attributes
    ----------
    shares : (N, P) array
        By dry volume.
    masses : (N, P) array
        By weight.
    difference, clumsy, cost : (N,) array
    lights : dict of light to (N,) array
    """

    shares: Array
    masses: Array
    difference: Array
    clumsy: Array
    lights: dict[str, Array]
    cost: Array


def judge(palette: Palette, shares: Array, target: Target) -> Judged:
    """Judge mixes (N, P) by everything that counts; only the likeliest are kept."""
    off = ciede2000(palette.lab(shares), target.lab)
    tubes = (shares > 0).sum(axis=1)
    masses = shares / palette.coefficients.dry_volume
    masses /= masses.sum(axis=1, keepdims=True)
    smallest = np.where(masses > 0, masses, 1).min(axis=1)
    cost = (
        np.maximum(off, VISIBLE)
        + np.maximum(off - VISIBLE, 0)
        + _TUBE * tubes
        + _TINY * (smallest < SMALLEST_PART)
    )
    rows = np.argsort(cost, kind="stable")[:_JUDGED]
    shares, masses, cost = shares[rows], masses[rows], cost[rows]
    clumsy = clumsiness(palette, shares, target.lab)
    cost = cost + _CLUMSY * clumsy
    lights = {}
    if target.reflectance is not None:
        made = palette.reflectance(shares)
        lights = special_metamerism(made, target.reflectance, palette.coefficients.wavelengths)
        # A mix of the same spectrum holds under every light, and tells what the target is made of.
        cost = cost + _SPECTRUM * np.log(np.maximum(misfit(made, target.reflectance), 0.01))
    return Judged(shares, masses, off[rows], clumsy, lights, cost)


def clumsiness(palette: Palette, shares: Array, near: Array, slip: float = SLIP) -> Array:
    """Root mean square CIEDE2000, to first order, of independent relative errors of each part.

    Parameters
    ----------
    palette : Palette
    shares : (N, P) array
    near : (3,) array
        CIELAB near which differences are judged.
    slip : float
        Standard deviation of each part's relative error.

    Returns
    -------
    (N,) array
    """
    by = slopes_by_part(palette, shares)
    metric = ciede2000_metric(near)[0]
    result: Array = slip * np.sqrt(np.einsum("inp,ij,jnp->n", by, metric, by))
    return result


def slopes_by_part(palette: Palette, shares: Array) -> Array:
    """How CIELAB moves by the relative change of each part, (3, N, P)."""
    counted = np.atleast_2d(shares) * palette.strength
    x, slopes = palette.optics[np.float64].xyz_and_slopes(counted)
    return lab_slopes(x, slopes * counted[:, None, :])


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
    said = predict(few, judged.shares[row, used][None])
    parts = {palette.paints[i]: float(judged.masses[row, i]) for i in used}
    return Recipe(
        parts=parts,
        lab=said.lab()[0],
        reflectance=said.reflectance[0],
        difference=float(judged.difference[row]),
        band=float(ciede2000_band(said.lab(), said.lab_covariance())[0]),
        clumsy=float(judged.clumsy[row]),
        lights={light: float(v[row]) for light, v in judged.lights.items()},
        scan_made=bool(few.scan_made.any()),
        why=why(few, parts, names),
    )


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
    return (
        f"off by CIEDE2000 {recipe.difference:.1f} ({in_words(recipe.difference)}); sure to within "
        f"{recipe.band:.1f} (95 of 100 times)"
    )
