"""Finds patches and steps that don't belong, and says which and why.

Each paint's patches, with its whites', are solved once more with every mix's absorption loose. Two
cheap looks follow: does a step's strength break the run of its ladder, and would a bubble, a glare
or dirt in one patch explain what is left over? Only where one of them speaks are explanations tried
in earnest, each by solving again: this step or patch set aside, these two exchanged, this one's
black and white exchanged. The likeliest is reported; what one explanation leaves odd, the next look
finds. Thresholds were set on sound and spoilt ladders of the virtual paint lab.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..problem.rows import Ints, Patch
from ..problem.start import starting_values
from ..solver.clusters import clusters
from ..solver.forward import Block
from ..solver.local import LOOSE, Settled, loosened, settle
from ..solver.normal import Prior
from ..solver.solve import Solution
from .trend import ladders

_SURE = 6.0
"""Gain in log likelihood from which a finding is reported: odds of some 400 to one."""
_SUSPECT_PATCH = 40.0
"""Chi-square of a patch's likely faults from which it is looked at."""
_EVEN = 1
"""Place of an even glare among the faults."""
_SURFACE = 0.006
"""How far the surface reflection of a film may lie from the card's (indices from 1.46 to 1.55)."""
_PER_PATCH = 55.0
"""Log likelihood that a patch must be worth to be set aside: as much as a sound masstone is worth,
which two fluxes hold least well."""
_PER_MASSTONE = 110.0
"""The same of one of a masstone, but a white: on real paint a sound one is worth some 50 to a fit,
and a bubble in one 200."""
_PER_STEP = 90.0
"""The same of a step that breaks the run."""
_PER_CHAIN = 3.0
"""Log likelihood that a weighing of a chain must be worth beyond that of one step: where only the
first step and the rest disagree, the one is likelier wrong than the many."""
_TRIED = 4
"""Swaps, and patches, that are tried in a block."""


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
        found = _Inquiry(problem, together, prior, solution, weight, held).findings()
        if found:
            likely.append(found)
    blame = sum(bool(of_whites & set(found[0].rows)) for found in likely)
    if ladders and 2 * blame <= len(ladders):
        likely = [[f for f in found if not of_whites & set(f.rows)] for found in likely]
    return list({found[0].rows: found[0] for found in likely if found}.values())


def trust(problem: Problem, findings: Sequence[Finding]) -> Array:
    """Factor on each patch's weight, (N,): 0 where it is set aside.

    Of a paint that nothing else would speak for, all is kept. So is a masstone whose every patch
    would go, unless it looks swapped: nothing else tells what the paint does alone, and on real
    paint it is the step that a model holds least well.

    Parameters
    ----------
    problem : Problem
    findings : sequence of Finding
        What is set aside.

    Returns
    -------
    (N,) array
    """
    kept = np.ones(len(problem.patches))
    holds = problem.fractions[problem.drawdown] > 0
    alone = holds.sum(axis=1) == 1

    def left(weight: Array) -> set[int]:
        return set(problem.drawdown[alone & (weight > 0)].tolist())

    for finding in findings:
        trial = kept.copy()
        trial[list(finding.rows)] = 0.0
        spoken_for = bool(np.all(holds[trial > 0].any(axis=0) == holds.any(axis=0)))
        if spoken_for and (finding.kind.startswith("swapped") or left(trial) == left(kept)):
            kept = trial
    return kept


def without(problem: Problem, kept: Array) -> Problem:
    """The problem with what is set aside unread.

    Parameters
    ----------
    problem : Problem
    kept : (N,) array
        Factor on the weight of each patch; 0 where set aside.

    Returns
    -------
    Problem
    """
    return replace(problem, measured=np.where(kept[:, None] > 0, problem.measured, np.nan))


class _Inquiry:
    """One paint's patches and the whites' under test."""

    def __init__(
        self,
        problem: Problem,
        blocks: Sequence[Block],
        prior: Prior,
        solution: Solution,
        weight: Array,
        held: Sequence[int],
    ) -> None:
        self.problem, self.rows, paints = loosened(problem, blocks)
        self.prior = Prior(prior.center[paints], prior.precision[paints])
        self.held = np.flatnonzero(np.isin(paints, held))
        self.weight = weight[self.rows]
        self.trusted = np.flatnonzero((self.weight > 0).any(axis=1))
        self.base = settle(self.problem, self.prior, self.weight, solution.theta[paints])
        self.ladders = ladders(self.problem)
        self.evidence = [ladder.evidence(self.base) for ladder in self.ladders]
        self.well = self._well(self.base, self.evidence)

    def _well(self, settled: Settled, evidence: Sequence[Array]) -> float:
        """Log likelihood of settled patches, all being well with their ladders."""
        return -0.5 * settled.solution.cost + float(sum(e[0] for e in evidence))

    def _gain(self, measured: Array, weight: Array, nu: Array) -> float:
        """What other readings or weights gain in log likelihood.

        A grave fault leads a fit so far astray that it may not find back: begin afresh too.
        """
        other = replace(self.problem, measured=measured)
        tries = [settle(other, self.prior, weight, self.base.solution.theta, nu)]
        if self.base.solution.cost > measured.size / 2:
            afresh = starting_values(without(other, weight.max(axis=1)))
            afresh[self.held] = self.base.solution.theta[self.held]
            tries.append(settle(other, self.prior, weight, afresh, np.zeros_like(nu)))
        settled = min(tries, key=lambda s: s.solution.cost)
        evidence = [ladder.evidence(settled) for ladder in self.ladders]
        return self._well(settled, evidence) - self.well

    def _rows(self, drawdowns: Sequence[int]) -> tuple[int, ...]:
        """Patches of some drawdowns, not yet set aside."""
        of = self.problem.drawdown
        return tuple(i for i in self.trusted.tolist() if of[i] in drawdowns)

    def findings(self) -> list[Finding]:
        """What doesn't belong, the likeliest first; each by itself would explain what is odd."""
        found = self._off_the_run()
        patches = self._suspect_patches()
        if found or patches.size:
            found += [*self._swaps(patches), *self._set_aside(patches), *self._turned(patches)]
        return sorted((f for f in found if f.gain > _SURE), key=lambda f: -f.gain)

    def _off_the_run(self) -> list[Finding]:
        """Steps whose strength breaks their ladder's run."""
        off = []
        for ladder, evidence in zip(self.ladders, self.evidence, strict=True):
            for (kind, steps), e in zip(ladder.stories, evidence, strict=True):
                gain = float(e - evidence[0]) - _PER_CHAIN * (len(steps) > 1)
                rows = self._rows([int(ladder.drawdowns[i]) for i in steps])
                if kind == "off" and gain > _SURE and rows:
                    off.append((gain, rows))
        found = []
        for i, (gain, rows) in enumerate(sorted(off, reverse=True)):
            # A wrong fraction is more than another strength: its white is wrong too.
            if i == 0:
                gain = max(gain, self._gain_without(rows) - _PER_STEP)
            names, card = self._names(rows), self._card(rows)
            more = ", and so do the steps taken from it" if len(names) > 1 else ""
            flag = f"breaks the run of its ladder{more}"
            words = f"step {names[0]} of card {card} {flag}"
            found.append(Finding("wrong step", *self._where(rows), words, flag, gain))
        return found

    def _swaps(self, patches: Ints) -> list[Finding]:
        """Pairs of steps that fit better exchanged: the likeliest, and any two suspects."""
        suspects = self.problem.drawdown[patches]
        found = []
        for ladder, evidence in zip(self.ladders, self.evidence, strict=True):
            swaps = [
                (float(e), steps)
                for (kind, steps), e in zip(ladder.stories, evidence, strict=True)
                if kind == "swap"
            ]
            likely = sorted((s for s in swaps if s[0] > evidence[0]), reverse=True)[:_TRIED]
            suspect = np.isin(ladder.drawdowns, suspects)
            both = [s for s in swaps if suspect[list(s[1])].all()]
            for _, steps in dict.fromkeys([*likely, *both]):
                one, other = (self._rows([int(ladder.drawdowns[i])]) for i in steps)
                over = [[self._patch(i).over for i in rows] for rows in (one, other)]
                if not one or over[0] != over[1] or self._card(one) != self._card(other):
                    continue
                # Each slot now holds the other's mix: begin from its strength.
                apart = np.diff(ladder.log_share[list(steps)])[0]
                at = self.base.places(ladder.drawdowns[list(steps)])
                begin = self.base.solution.nu.copy()
                begin[at] = begin[at][::-1] + np.array([apart, -apart]) / LOOSE
                gain = self._exchanged(one, other, begin)
                a, b = self._names(one)[0], self._names(other)[0]
                flag = f"{a} and {b} look swapped"
                words = f"steps {a} and {b} of card {self._card(one)} look swapped"
                where = self._where((*one, *other))
                found.append(Finding("swapped steps", *where, words, flag, gain))
        return found

    def _exchanged(self, one: tuple[int, ...], other: tuple[int, ...], begin: Array) -> float:
        order = np.arange(len(self.problem.measured))
        order[[*one, *other]] = [*other, *one]
        return self._gain(self.problem.measured[order], self.weight[order], begin)

    def _turned(self, patches: Ints) -> list[Finding]:
        """Drawdowns whose patches over black and over white fit better exchanged."""
        found = []
        for d in np.unique(self.problem.drawdown[patches]):
            rows = self._rows([int(d)])
            if len(rows) != 2:
                continue
            dark, light = sorted(rows, key=lambda i: self._patch(i).over)
            if np.nansum(self.problem.measured[light] - self.problem.measured[dark]) < 0:
                flag = "lighter over black than over white: the two look swapped"
                words = f"step {self._patch(dark).step} of card {self._card(rows)} is {flag}"
                gain = self._exchanged((dark,), (light,), self.base.solution.nu)
                where = self._where(rows)
                found.append(Finding("swapped substrates", *where, words, flag, gain))
        return found

    def _suspect_patches(self) -> Ints:
        """Patches that a likely fault would explain, the likeliest first.

        Likely faults are a share of bare substrate, an even glare, and dirt in proportion to the
        reading. Each patch's residual is put to all of them at once, with what the fit would give
        way. An even shift of both patches of a drawdown is no fault: its surface may be another.
        """
        chi2 = np.zeros(len(self.problem.patches))
        for (block, _, _), covariance in zip(
            self.base.solution.blocks, self.base.covariances, strict=True
        ):
            weight, measured = self.weight[block.rows], self.problem.measured[block.rows]
            faults = np.stack(
                [self.problem.bare[block.rows] - measured, np.ones_like(measured), measured], axis=1
            )
            faults = np.where(np.isnan(faults), 0.0, faults)
            weighed = faults * weight[:, None]
            felt = self.base.felt(block, weighed)
            residual = np.where(weight > 0, measured - self.base.solution.fitted[block.rows], 0.0)
            score = np.einsum("nfw,nw->nf", weighed, residual)
            raw = weighed @ faults.transpose(0, 2, 1)
            told = raw - felt @ covariance @ felt.transpose(0, 2, 1)
            both = (block.at[:, None] == block.at).astype(float)
            shift = both @ felt[:, _EVEN]
            across = raw[:, :, _EVEN] - np.einsum("nfx,nx->nf", felt, shift @ covariance)
            known = both @ raw[:, _EVEN, _EVEN] - ((shift @ covariance) * shift).sum(axis=1)
            known += 1 / _SURFACE**2
            score -= across * (both @ score[:, _EVEN] / known)[:, None]
            told -= across[:, :, None] * across[:, None] / known[:, None, None]
            size = np.einsum("nff->n", told)[:, None, None]
            told += (1e-6 * size + 1e-12) * np.eye(faults.shape[1])
            solved = np.linalg.solve(told, score[..., None])[..., 0]
            chi2[block.rows] = (score * solved).sum(axis=1)
        likely = np.argsort(-chi2)[:_TRIED]
        likely = likely[chi2[likely] > _SUSPECT_PATCH]
        if not likely.size:
            return likely
        # A wrong masstone may bend the fit so that others look worse than it does.
        masstones = [d for ladder in self.ladders for d in ladder.drawdowns[ladder.masstone]]
        also = np.array(self._rows(masstones), dtype=np.intp)
        return np.concatenate([likely, np.setdiff1d(also, likely)])

    def _set_aside(self, patches: Ints) -> list[Finding]:
        """Single patches, and both of a drawdown, that the rest fits better without."""
        flag = "doesn't fit its ladder"
        found = []
        tries = [(int(i),) for i in patches]
        both = [self._rows([int(d)]) for d in np.unique(self.problem.drawdown[patches])]
        for rows in (*tries, *(rows for rows in both if len(rows) > 1)):
            worth = _PER_MASSTONE if self._masstone(rows[0]) else _PER_PATCH
            gain = self._gain_without(rows) - worth * len(rows)
            patch, where = self._patch(rows[0]), self._where(rows)
            if len(rows) == 1:
                words = f"patch {patch.label} of card {patch.card} {flag}"
                found.append(Finding("wrong patch", *where, words, flag, gain))
            else:
                words = f"step {patch.step} of card {patch.card} {flag}"
                found.append(Finding("wrong step", *where, words, flag, gain))
        return found

    def _gain_without(self, rows: tuple[int, ...]) -> float:
        """What the rest gains in log likelihood without some patches."""
        weight = self.weight.copy()
        weight[list(rows)] = 0.0
        return self._gain(self.problem.measured, weight, self.base.solution.nu)

    def _masstone(self, row: int) -> bool:
        """Whether a patch is of a paint alone that isn't what others are let down with."""
        holds = np.flatnonzero(self.problem.fractions[self.problem.drawdown[row]])
        return holds.size == 1 and holds[0] not in self.problem.hubs

    def _patch(self, row: int) -> Patch:
        return self.problem.patches[row]

    def _card(self, rows: Sequence[int]) -> str:
        return str(self._patch(rows[0]).card)

    def _names(self, rows: Sequence[int]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self._patch(i).step for i in rows))

    def _where(self, rows: Sequence[int]) -> tuple[str, tuple[str, ...], tuple[int, ...]]:
        """Card, steps, and patches of the whole problem."""
        return self._card(rows), self._names(rows), tuple(int(self.rows[i]) for i in rows)
