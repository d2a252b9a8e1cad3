"""Splits a problem into blocks, one for each paint, that meet only in what paints share."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..problem.arrays import Problem
from ..problem.rows import Ints
from .forward import Block, BlockBatch

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
    hubs = np.array(problem.hubs, dtype=np.intp)
    free = np.setdiff1d(np.arange(len(problem.paints)), hubs)
    group = np.arange(len(problem.paints))
    mixes = {d: free[problem.fractions[d, free] > 0] for d in np.unique(problem.drawdown).tolist()}
    for own in mixes.values():
        if own.size > 1:
            group[np.isin(group, group[own])] = group[own].min()
    names = {name: i for i, name in enumerate(np.unique(group[free]).tolist())}
    home = {d: names[int(group[own[0]])] if own.size else -1 for d, own in mixes.items()}
    homes = [{home.get(d, -1) for d in nuisance.drawdowns} for nuisance in problem.nuisances]
    owner = np.array([min(h) if len(h) == 1 else -1 for h in homes], dtype=int)
    shared = np.flatnonzero(owner == -1)
    row_home = np.array([home[d] for d in problem.drawdown.tolist()])
    blocks = []
    for name, i in [*names.items(), (-1, -1)]:
        rows = np.flatnonzero(row_home == i)
        if not rows.size:
            continue
        mine = free[group[free] == name]
        own_scalars = np.flatnonzero(owner == i) if i >= 0 else shared[:0]
        here = np.array([i in homes[m] for m in shared], dtype=bool)
        blocks.append(
            Block(
                problem,
                rows,
                np.concatenate([mine, hubs]),
                int(mine.size),
                np.concatenate([own_scalars, shared[here]]),
                int(own_scalars.size),
            )
        )
    return tuple(blocks), shared


@lru_cache(maxsize=4)
def batches(problem: Problem) -> tuple[BlockBatch, ...]:
    """Blocks of as many paints each, laid side by side."""
    kinds: dict[tuple[int, int], list[Block]] = {}
    for block in clusters(problem)[0]:
        kinds.setdefault((block.own, block.paints.size), []).append(block)
    sets = [
        blocks[i : i + _TOGETHER]
        for blocks in kinds.values()
        for i in range(0, len(blocks), _TOGETHER)
    ]
    return tuple(s[0].alone if len(s) == 1 else BlockBatch(problem, s) for s in sets)
