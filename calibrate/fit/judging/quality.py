"""How well a fit holds: per patch, per paint, and in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ...cards.card import SUBSTRATES
from ...optics.coefficients import Coefficients
from ...optics.colour import ciede2000, lab
from ...optics.spectra import Array, Flag
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..problem.result import PaintFit
from ..problem.rows import Ints
from ..problem.seen import FLAG_WORDS, surface_darker
from ..solver.slopes import nuisance_variance
from ..solver.solve import Solution
from .beyond_films import beyond_films
from .trust import trust

GOOD_TO_MIX, FIRST_GUESS, LOOK_AT_STEP = "good to mix by", "a first guess", "look at this step"
LOOK_AT_STEP_BEFORE = "paint this step again"
"""What `LOOK_AT_STEP` was called before; releases that are published keep it."""
GOOD, ROUGH = 1.5, 4.0
"""Mean and worst patch up to which a fit is good to mix by, in CIEDE2000 (our rule, no source)."""
SHOWS_GROUND = 5.0
"""CIEDE2000 between a film over black and over white from which it is said to show its ground: more
than anybody overlooks (our choice)."""
LITTLE = 0.1
"""Share of a paint up to which steps tell how it acts in others, but not what it is alone."""


def patch_flags(problem: Problem, findings: Sequence[Finding]) -> list[str]:
    """What is odd about each patch, in words, or nothing.

    Parameters
    ----------
    problem : Problem
    findings : sequence of Finding
        What is set aside.

    Returns
    -------
    list of str
    """
    darker = np.asarray(surface_darker(problem).any(axis=1))
    said = []
    for n, patch in enumerate(problem.patches):
        flags = patch.flags | (Flag.BELOW_SURFACE if darker[n] else 0)
        words = [text for flag, text in FLAG_WORDS.items() if flags & flag] if flags else []
        said.append(", ".join([*words, *(f.flag for f in findings if n in f.rows)]))
    return said


def paint_fits(
    paints: Sequence[str],
    problem: Problem,
    solution: Solution,
    weight: Array,
    found: Coefficients,
) -> dict[str, PaintFit]:
    """Report on each of some paints.

    Parameters
    ----------
    paints : sequence of str
        Nicknames.
    problem : Problem
    solution : Solution
    weight : (N, W) array
        Inverse variance of each reading; 0 for what has no say.
    found : Coefficients

    Returns
    -------
    mapping of nickname to PaintFit
    """
    flags = patch_flags(problem, solution.findings)
    kept, under = trust(problem, solution.findings), beneath(problem, solution)
    return {p: _paint_fit(p, problem, solution, weight, found, flags, kept, under) for p in paints}


def own_rows(problem: Problem, paint: str) -> Ints:
    """Patches that a paint is judged by: its ladder's and its own cards', else all that hold it.

    Parameters
    ----------
    problem : Problem
    paint : str
        Nickname.

    Returns
    -------
    (M,) int array
    """
    holds = np.flatnonzero(problem.fractions[problem.drawdown, problem.paints.index(paint)] > 0)
    patches = [problem.patches[n] for n in holds.tolist()]
    alone = (problem.fractions[problem.drawdown[holds]] > 0).sum(axis=1) == 1
    cards = {patch.card for patch, own in zip(patches, alone, strict=True) if own}
    cards = cards or {patch.card for patch in patches}
    mine = [patch.paint == paint or patch.card in cards for patch in patches]
    return holds[np.array(mine, dtype=bool)]


def _paint_fit(
    paint: str,
    problem: Problem,
    solution: Solution,
    weight: Array,
    found: Coefficients,
    flags: Sequence[str],
    kept: Array,
    under: Sequence[tuple[str, str]],
) -> PaintFit:
    """Report on a paint, with what is odd about each patch, its say, and what is under films."""
    column, rows = problem.paints.index(paint), own_rows(problem, paint)
    cards = {problem.patches[n].card for n in rows.tolist()}
    measured, fitted = problem.measured[rows], solution.fitted[rows]
    fitted = np.where(np.isnan(measured), np.nan, fitted)
    seen = lab(measured, problem.wavelengths)
    difference = ciede2000(lab(fitted, problem.wavelengths), seen)
    patches = [problem.patches[int(n)] for n in rows]
    share, thickness = solution.mixes
    table = pd.DataFrame(
        {
            "card": [p.card for p in patches],
            "patch": [p.label for p in patches],
            "step": [p.step for p in patches],
            "over": [p.over for p in patches],
            "share": share[problem.drawdown[rows], column],
            "thickness_um": thickness[problem.drawdown[rows]] * 1e3,
            "de00": difference,
            "rms": root_mean_square(measured - fitted),
            "weight": kept[rows],
            "flag": [flags[int(n)] for n in rows],
        }
    )
    n_w = problem.wavelengths.size
    sd = np.sqrt(np.where(weight[rows] > 0, 1 / np.maximum(weight[rows], 1e-30), np.nan))
    residuals = pd.DataFrame(
        {
            "card": np.repeat(table["card"].to_numpy(), n_w),
            "patch": np.repeat(table["patch"].to_numpy(), n_w),
            "wavelength": np.tile(problem.wavelengths, rows.size),
            "measured": measured.ravel(),
            "fitted": fitted.ravel(),
            "sigma": sd.ravel(),
        }
    )
    odd = [_advice(f, kept) for f in solution.findings if set(f.rows) & set(rows.tolist())]
    verdict, reasons = judge(table, found, column, odd)
    reasons += (*shown_ground(problem, rows, seen), *(said for c, said in under if c in cards))
    if beyond := beyond_films(problem, column):
        verdict, reasons = FIRST_GUESS, (*beyond, *reasons)
    if not solution.settled:
        verdict = FIRST_GUESS if verdict == GOOD_TO_MIX else verdict
        reasons += ("the fit stopped before it settled",)
    # The white of its ladder first: a black, or another shared paint, is in fewer of its patches.
    held = (problem.fractions[problem.drawdown[rows]] > 0).sum(axis=0)
    beside = [h for h in problem.hubs if h != column and held[h]]
    names = [paint, *(problem.paints[h] for h in sorted(beside, key=lambda h: -held[h]))]
    return PaintFit(paint, found.select(names), table, residuals, verdict, reasons)


def shown_ground(problem: Problem, rows: Ints, seen: Array) -> list[str]:
    """Whether a paint's own films show what they were painted over: they are thin, or it is clear.

    Parameters
    ----------
    problem : Problem
    rows : (M,) int array
        Its patches.
    seen : (M, 3) array
        Their CIELAB as read; NaN where unread.

    Returns
    -------
    list of str
        At most one sentence, of the film that shows it most.
    """
    films = problem.drawdown[rows]
    tells = ((problem.fractions[films] > 0).sum(axis=1) == 1) & ~np.isnan(seen).any(axis=1)
    pairs: dict[int, dict[str, int]] = {}
    for i in np.flatnonzero(tells).tolist():
        pairs.setdefault(int(films[i]), {})[problem.patches[rows[i]].over] = i
    both = [
        (over["black"], over["white"]) for over in pairs.values() if len(over) == len(SUBSTRATES)
    ]
    if not both:
        return []
    black, white = np.array(both).T
    apart = ciede2000(seen[black], seen[white])
    most = int(apart.argmax())
    if apart[most] < SHOWS_GROUND:
        return []
    step = problem.patches[rows[black[most]]].step
    return [
        f"its {step} shows its ground, by CIEDE2000 {apart[most]:.0f} "
        "between black and white: the paint is transparent, or the film is thin"
    ]


def beneath(problem: Problem, solution: Solution) -> list[tuple[str, str]]:
    """What was found under the films of cards, where that was asked for.

    Parameters
    ----------
    problem : Problem
    solution : Solution

    Returns
    -------
    list of (card, words)
    """
    said = []
    for nuisance, value in zip(problem.nuisances, solution.nu, strict=True):
        if nuisance.kind != "substrate" or nuisance.target > 0:
            continue
        patch = problem.patches[int(np.argmax(problem.drawdown == nuisance.drawdowns[0]))]
        off = 100 * nuisance.spread * float(value)
        than = f"{abs(off):.0f} % {'lighter' if off > 0 else 'darker'} than it was read bare"
        said.append((patch.card, f"under its films the {nuisance.over} comes out {than}"))
    return said


def root_mean_square(residual: Array) -> Array:
    """Root mean square of each row's values; NaN where it has none."""
    read = ~np.isnan(residual)
    count = read.sum(axis=1)
    mean = np.where(read, residual, 0.0) ** 2 @ np.ones(residual.shape[1]) / np.maximum(count, 1)
    return np.where(count > 0, np.sqrt(mean), np.nan)


def _advice(finding: Finding, trusted: Array) -> str:
    """What was done about a finding, and what to do."""
    if finding.kind == "film":
        return f"{finding.words}; draw it again, or measure its film and write that on the card"
    say = trusted[list(finding.rows)]
    done = "it is set aside"
    if say.max() > 0:
        kept = "nothing else tells what the paint does alone, so it is kept, with little say"
        done = kept if say.max() < 1 else "it is kept, for without it too little is left"
    return f"{finding.words}: {done}; check its label, or paint it again"


def _misses(table: pd.DataFrame, kept: NDArray[np.bool_]) -> tuple[str, list[str]]:
    """Judge how far a fit misses the patches that had a say."""
    left = kept.any()
    off = np.where(kept if left else True, table["de00"].to_numpy(), np.nan)
    if np.isnan(off).all():
        return FIRST_GUESS, ["no patch of it could be used: other paints' ladders speak for it"]
    mean, worst = float(np.nanmean(off)), float(np.nanmax(off))
    at = table["patch"].iloc[int(np.nanargmax(off))]
    reasons = [f"on average the fit misses its own patches by CIEDE2000 {mean:.1f}"]
    verdict = GOOD_TO_MIX
    if not left:
        verdict = LOOK_AT_STEP
        reasons.append("every one of them is set aside: other paints' ladders alone speak for it")
    elif worst > ROUGH:
        # Real paint does that: only what a mistake explains better is called one.
        verdict = FIRST_GUESS
        reasons.append(f"{at} lies {worst:.1f} from what its ladder says")
    elif mean > GOOD:
        verdict = FIRST_GUESS
    return verdict, reasons


def judge(
    table: pd.DataFrame, found: Coefficients, column: int, odd: Sequence[str] = ()
) -> tuple[str, tuple[str, ...]]:
    """Say in words how far a fit can be trusted, and why.

    Parameters
    ----------
    table : DataFrame
        Of the paint's patches.
    found : Coefficients
    column : int
        Of the paint in the coefficients.
    odd : sequence of str
        What is odd beside, in words.

    Returns
    -------
    verdict : str
    reasons : tuple of str
    """
    kept = table["weight"].to_numpy() == 1
    verdict, reasons = _misses(table, kept)
    if odd:
        verdict = LOOK_AT_STEP
        reasons += odd
    hidden = int(found.ratio_only[column].sum())
    if hidden:
        verdict = FIRST_GUESS if verdict == GOOD_TO_MIX else verdict
        reasons.append(
            f"at {hidden} wavelengths the film hid its substrate: only K/S is known there"
        )
    most = float(table["share"].max())
    if most < LITTLE:
        verdict = FIRST_GUESS if verdict == GOOD_TO_MIX else verdict
        reasons.append(
            f"no step read holds more than {100 * most:.2g} % of it: paint a ladder of its own"
        )
    if not found.dry_volume_measured[column]:
        reasons.append("its dry volume per gram is assumed, not measured")
    if found.scale != "absolute":
        reasons.append(f"K and S are {found.scale}: good for opaque mixes, not for glazes")
    for flag in sorted({f for f in table["flag"].to_numpy()[kept] if f}):
        reasons.append(f"flagged patches: {flag}")
    return verdict, tuple(reasons)


def nuisance_table(problem: Problem, solution: Solution) -> pd.DataFrame:
    """Each nuisance value with its uncertainty and prior.

    Parameters
    ----------
    problem : Problem
    solution : Solution

    Returns
    -------
    DataFrame
        A row each.
    """
    sd = np.sqrt(nuisance_variance(solution))
    spread = np.array([n.spread for n in problem.nuisances])
    return pd.DataFrame(
        {
            "name": [n.name for n in problem.nuisances],
            "kind": [n.kind for n in problem.nuisances],
            "value": solution.nu * spread,
            "uncertainty": sd * spread,
            "prior": 0.0,
            "prior_sd": spread,
            "unit": [n.unit for n in problem.nuisances],
        }
    )
