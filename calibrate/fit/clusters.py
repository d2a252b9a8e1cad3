"""Splits a problem into blocks, one for each paint, that meet only in what paints share."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .forward import Batch, Block
from .problem import Ints, Problem

_TOGETHER = 8
"""Blocks laid side by side at most: more would leave the processor's cache."""


@lru_cache(maxsize=4)
def clusters(problem: Problem) -> tuple[tuple[Block, ...], Ints]:
    """Split the patches into blocks that meet only in hubs and shared nuisance values.

    Returns
    -------
    blocks : tuple of Block
        The last has the patches that hold hubs alone, if there are any.
    shared : int array
        Nuisance values that belong to the border.
    """
    n = len(problem.paints)
    hubs = np.array(problem.hubs, dtype=np.intp)
    free = np.setdiff1d(np.arange(n), hubs)
    group = np.arange(n)
    used = problem.fractions > 0

    for row in used[np.unique(problem.drawdown)]:
        own = np.intersect1d(np.flatnonzero(row), free)
        if own.size > 1:
            group[np.isin(group, group[own])] = group[own].min()
    names = [int(g) for g in np.unique(group[free])] if free.size else []
    home = np.full(problem.fractions.shape[0], -1)
    for d in np.unique(problem.drawdown):
        own = np.intersect1d(np.flatnonzero(used[d]), free)
        if own.size:
            home[d] = names.index(int(group[own[0]]))
    owner = np.array(
        [
            homes.pop() if len(homes := {int(home[d]) for d in nuisance.drawdowns}) == 1 else -1
            for nuisance in problem.nuisances
        ],
        dtype=int,
    )
    shared = np.flatnonzero(owner == -1)
    touches = np.zeros((len(problem.nuisances), home.size), dtype=bool)
    for m, nuisance in enumerate(problem.nuisances):
        touches[m, list(nuisance.drawdowns)] = True
    blocks = []
    row_home = home[problem.drawdown]
    for i in [*range(len(names)), -1]:
        rows = np.flatnonzero(row_home == i)
        if not rows.size:
            continue
        mine = np.flatnonzero(group == names[i]) if i >= 0 else np.array([], dtype=int)
        mine = np.intersect1d(mine, free)
        own_scalars = np.flatnonzero(owner == i) if i >= 0 else np.array([], dtype=int)
        here = touches[shared][:, np.unique(problem.drawdown[rows])].any(axis=1)
        blocks.append(
            Block(
                problem,
                rows,
                np.concatenate([mine, hubs]).astype(np.intp),
                int(mine.size),
                np.concatenate([own_scalars, shared[here]]).astype(np.intp),
                int(own_scalars.size),
            )
        )
    return tuple(blocks), shared


@lru_cache(maxsize=4)
def batches(problem: Problem) -> tuple[Batch, ...]:
    """Blocks of as many paints each, laid side by side."""
    kinds: dict[tuple[int, int], list[Block]] = {}
    for block in clusters(problem)[0]:
        kinds.setdefault((block.own, block.paints.size), []).append(block)
    return tuple(
        Batch(problem, blocks[i : i + _TOGETHER])
        for blocks in kinds.values()
        for i in range(0, len(blocks), _TOGETHER)
    )
