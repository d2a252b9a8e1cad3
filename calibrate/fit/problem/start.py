"""Where a fit begins."""

from __future__ import annotations

import numpy as np

from ...optics.coefficients import ABSOLUTE
from ...optics.kubelka_munk import k_over_s, k_s_over_black_and_white
from ...optics.spectra import Array
from ...optics.surface import to_inside
from ...optics.transport import OF_TWO_FLUXES, TRANSPORT
from .arrays import Problem, substrate_inside

_SHOWS = 1e-3
"""Difference over white and over black from which on a film is taken to show its substrate: where
it is nothing but noise, so would be what follows from it."""
_LOWEST_LOG, _HIGHEST_LOG = np.log(1e-4), np.log(1e4)


def starting_values(problem: Problem) -> Array:
    """Log K and log S to begin from, (P, 2, W).

    The whites come first: their own drawdown over black and white solved in closed form. A paint's
    own drawdown gives its K and S the same way; where it hides the substrate, K/S of the opaque
    film with a typical S.
    """
    n_w = problem.wavelengths.size
    rg = substrate_inside(problem)
    inside = np.array(
        [to_inside(m, s) for m, s in zip(problem.measured, problem.surfaces, strict=True)]
    )
    inside = np.clip(np.where(np.isnan(inside), 0.3, inside), 2e-3, 0.97)
    absolute = problem.scale == ABSOLUTE
    typical_s = 20.0 if absolute else 0.3
    out = np.empty((len(problem.paints), 2, n_w))
    for i in range(len(problem.paints)):
        # The drawdown with the most of this paint speaks first for it.
        share = problem.fractions[problem.drawdown, i]
        best = problem.drawdown[int(np.argmax(share))]
        rows = {problem.patches[n].over: n for n in np.flatnonzero(problem.drawdown == best)}
        s = np.full(n_w, typical_s)
        k = s * k_over_s(inside[next(iter(rows.values()))])
        if problem.film[best] and len(rows) == 2:
            b, w = rows["black"], rows["white"]
            solids = problem.fractions[best] @ problem.dry_volume
            solids /= problem.fractions[best] @ problem.inverse_density
            x = np.exp(problem.log_thickness[best]) * (
                solids if problem.solids_count[best] else 1.0
            )
            dark, light = np.clip(rg[b], 1e-4, 1), np.clip(rg[w], 1e-4, 1)
            k_two, s_two = k_s_over_black_and_white(
                inside[b], inside[w], dark, light, np.full(n_w, x)
            )
            good = (k_two > 0) & (inside[w] - inside[b] > _SHOWS)
            k, s = np.where(good, k_two, k), np.where(good, s_two, s)
        out[i, 0], out[i, 1] = np.log(k), np.log(s)
    out = np.where(np.isfinite(out), out, np.log(typical_s))
    if problem.model == TRANSPORT:
        out += np.log(OF_TWO_FLUXES)[:, None]
    if not absolute:
        out[problem.paints.index(problem.scale.removeprefix("relative to ")), 1] = 0.0
    result: Array = np.clip(out, _LOWEST_LOG, _HIGHEST_LOG)
    return result
