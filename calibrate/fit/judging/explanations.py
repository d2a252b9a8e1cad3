"""Explanations of what is odd about one paint's patches, each tried by solving again.

Each paint's patches, with its whites', are solved once more with every mix's absorption loose. Two
cheap looks follow: does a step's strength break the run of its ladder, and would a bubble, a glare
or dirt in one patch explain what is left over? Only where one of them speaks are explanations tried
in earnest: this step or patch set aside, these two exchanged, this one's black and white exchanged,
this film far thinner than it was taken for. Thresholds were set on sound and spoilt
ladders of the virtual paint lab.
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
from ..solver.forward import Block
from ..solver.local import LOOSE, OWN_SURFACE, Settled, loosened, settle
from ..solver.normal import Prior
from .trend import ladders
from .trust import FREE, freed, own_thickness, say_left, without

_SURE = 6.0
"""Gain in log likelihood from which a finding is reported: odds of some 400 to one."""
_SUSPECT_PATCH = 40.0
"""Chi-square of a patch's likely faults from which it is looked at."""
_EVEN = 1
"""Place of an even glare among the faults."""
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
_PER_FILM = 50.0
"""The same of a film that came out thin, which still tells what it is made of."""
_THIN = 0.74
"""Times what was expected up to which a film is called thin. None comes out far thicker: an
applicator leaves no more than its gap."""
_TRIED = 4
"""Swaps, and patches, that are tried in a block."""


class Inquiry:
    """One paint's patches and the whites' under test."""

    def __init__(
        self,
        problem: Problem,
        blocks: Sequence[Block],
        prior: Prior,
        theta: Array,
        weight: Array,
        held: Sequence[int],
    ) -> None:
        self.problem, self.rows, paints = loosened(problem, blocks)
        self.prior = Prior(prior.center[paints], prior.precision[paints])
        self.held = np.flatnonzero(np.isin(paints, held))
        self.weight = weight[self.rows]
        self.trusted = np.flatnonzero((self.weight > 0).any(axis=1))
        self.base = settle(self.problem, self.prior, self.weight, theta[paints])
        self.ladders = ladders(self.problem)
        self.evidence = [ladder.evidence(self.base) for ladder in self.ladders]
        self.well = self._well(self.base, self.evidence)

    def _well(self, settled: Settled, evidence: Sequence[Array]) -> float:
        """Log likelihood of settled patches, all being well with their ladders."""
        return -0.5 * settled.solution.cost + float(sum(e[0] for e in evidence))

    def _gain(self, other: Problem, weight: Array, nu: Array) -> tuple[float, Settled]:
        """What other readings, beliefs or weights gain in log likelihood.

        A grave fault leads a fit so far astray that it may not find back: begin afresh too.
        """
        tries = [settle(other, self.prior, weight, self.base.solution.theta, nu)]
        if self.base.solution.cost > other.measured.size / 2:
            afresh = starting_values(without(other, weight.max(axis=1)))
            afresh[self.held] = self.base.solution.theta[self.held]
            tries.append(settle(other, self.prior, weight, afresh, np.zeros_like(nu)))
        settled = min(tries, key=lambda s: s.solution.cost)
        evidence = [ladder.evidence(settled) for ladder in self.ladders]
        return self._well(settled, evidence) - self.well, settled

    def _rows(self, drawdowns: Sequence[int]) -> tuple[int, ...]:
        """Patches of some drawdowns, not yet set aside."""
        of = self.problem.drawdown
        return tuple(i for i in self.trusted.tolist() if of[i] in drawdowns)

    def findings(self) -> list[Finding]:
        """What doesn't belong, the likeliest first; each by itself would explain what is odd."""
        found = self._off_the_run()
        patches = self._suspect_patches()
        if found or patches.size:
            found += self._films([*patches, *(self._own(row) for f in found for row in f.rows)])
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
            raw = self._gain_without(rows) if i == 0 else gain
            if i == 0:
                gain = max(gain, raw - _PER_STEP)
            names, card = self._names(rows), self._card(rows)
            more = ", and so do the steps taken from it" if len(names) > 1 else ""
            flag = f"breaks the run of its ladder{more}"
            words = f"step {names[0]} of card {card} {flag}"
            where, say = self._where(rows), say_left(raw, len(rows))
            found.append(Finding("wrong step", *where, words, flag, gain, say))
        return found

    def _films(self, patches: Sequence[int]) -> list[Finding]:
        """Films that are far thinner than they were taken for."""
        found = []
        free = own_thickness(self.problem, self.problem.drawdown[list(patches)].tolist())
        for d, m in free.items():
            rows = self._rows([d])
            begin = self.base.solution.nu.copy()
            begin[m] *= self.problem.nuisances[m].spread / FREE
            gain, settled = self._gain(freed(self.problem, [m]), self.weight, begin)
            times = float(np.exp(FREE * settled.solution.nu[m]))
            if times < _THIN:
                flag = "came out thin"
                words = f"step {self._patch(rows[0]).step} of card {self._card(rows)} {flag}: some "
                words += f"{times:.2g} times what its gap, or its measure, makes it"
                where = self._where(rows)
                found.append(Finding("film", *where, words, flag, gain - _PER_FILM))
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
                where, say = self._where((*one, *other)), say_left(gain, len(one))
                found.append(Finding("swapped steps", *where, words, flag, gain, say))
        return found

    def _exchanged(self, one: tuple[int, ...], other: tuple[int, ...], begin: Array) -> float:
        order = np.arange(len(self.problem.measured))
        order[[*one, *other]] = [*other, *one]
        turned = replace(self.problem, measured=self.problem.measured[order])
        return self._gain(turned, self.weight[order], begin)[0]

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
                where, say = self._where(rows), say_left(gain, len(rows))
                found.append(Finding("swapped substrates", *where, words, flag, gain, say))
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
            known += 1 / OWN_SURFACE**2
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
            raw = self._gain_without(rows)
            gain, say = raw - worth * len(rows), say_left(raw, len(rows))
            patch, where = self._patch(rows[0]), self._where(rows)
            if len(rows) == 1:
                words = f"patch {patch.label} of card {patch.card} {flag}"
                found.append(Finding("wrong patch", *where, words, flag, gain, say))
            else:
                words = f"step {patch.step} of card {patch.card} {flag}"
                found.append(Finding("wrong step", *where, words, flag, gain, say))
        return found

    def _gain_without(self, rows: tuple[int, ...]) -> float:
        """What the rest gains in log likelihood without some patches."""
        weight = self.weight.copy()
        weight[list(rows)] = 0.0
        return self._gain(self.problem, weight, self.base.solution.nu)[0]

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

    def _own(self, row: int) -> int:
        """Place here of a patch of the whole problem."""
        return int(np.searchsorted(self.rows, row))

    def _where(self, rows: Sequence[int]) -> tuple[str, tuple[str, ...], tuple[int, ...]]:
        """Card, steps, and patches of the whole problem."""
        return self._card(rows), self._names(rows), tuple(int(self.rows[i]) for i in rows)
