"""Finds patches and steps that don't belong, and says which and why.

The likeliest explanation is reported (`tintladder.calibrate.fit.judging.explanations`); what one
leaves odd, the next look finds.
"""

from __future__ import annotations

from collections.abc import Sequence

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..solver.clusters import clusters
from ..solver.normal import Prior
from ..solver.solve import Solution
from .explanations import Inquiry


def find(
    problem: Problem,
    prior: Prior,
    solution: Solution,
    weight: Array,
    held: Sequence[int] = (),
) -> list[Finding]:
    """Look for what doesn't belong: the likeliest among each paint's patches and the whites'.

    A wrong step of one ladder pulls at its white: the white is blamed only where most ladders do.

    Parameters
    ----------
    problem : Problem
    prior : Prior
    solution : Solution
    weight : (N, W) array
        Inverse variance of each reading; 0 for what has no say.
    held : sequence of int
        Places of paints that are given and not judged.

    Returns
    -------
    list of Finding
    """
    blocks = clusters(problem)[0]
    whites = [block for block in blocks if not block.own]
    ladders = [block for block in blocks if block.own]
    of_whites = {int(n) for block in whites for n in block.rows}
    likely = []
    for block in ladders or whites:
        together = [block, *whites] if ladders else [block]
        found = Inquiry(problem, together, prior, solution, weight, held).findings()
        if found:
            likely.append(found)
    blame = sum(bool(of_whites & set(found[0].rows)) for found in likely)
    if ladders and 2 * blame <= len(ladders):
        likely = [[f for f in found if not of_whites & set(f.rows)] for found in likely]
    return list({found[0].rows: found[0] for found in likely if found}.values())
