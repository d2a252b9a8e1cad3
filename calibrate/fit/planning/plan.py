"""What a ladder is planned with, and what drawdowns of it would tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ...cards.card import BARE, SUBSTRATES, Drawdown
from ...cards.measure import scale_of
from ...cards.readings import CardReadings
from ...cards.shade import Shade, weigh_shades
from ...cards.weighing_out import Step, weigh_out
from ...optics.spectra import Array
from ...optics.surface import Gloss, Surface
from ..problem.settings import FitSettings
from .guess import Guess, filled
from .information import (
    PLANNED,
    SHADES,
    TARGET,
    TARGETS,
    Expected,
    Scene,
    expected,
    scene,
    unpainted,
)

_BARE = {"black": 0.045, "white": 0.85}
"""What a sealed card reads, specular included, as long as none was read; invented."""


@dataclass(frozen=True)
class LadderPlan:
    """What a ladder is planned with: the paint, its white, the tools, the cards painted already.

    With a black, shades of the paint are to be predicted too.
    """

    paint: Guess
    white: Guess
    known: tuple[CardReadings, ...] = ()
    gap_um: float | None = 300.0
    balance_g: float = 0.01
    gloss: Gloss = "gloss"
    settings: FitSettings = field(default_factory=FitSettings)
    nuisances: Mapping[str, float] = field(default_factory=dict)
    black: Guess | None = None

    def weigh(self, steps: Sequence[Step]) -> tuple[Drawdown, ...]:
        """Weigh steps out as one ladder."""
        names = self.paint.tube.paint, self.white.tube.paint
        made = weigh_out(*names, steps, self.balance_g)
        return tuple(replace(d, surface=self.gloss) for d in made)

    def apart(self, steps: Sequence[Step]) -> list[Drawdown]:
        """Weigh each step out fresh, however much it takes: about as surely as by dilution."""
        return [
            replace(self.weigh([step])[0], step=f"{i} {step.name}") for i, step in enumerate(steps)
        ]

    def shade(self, share: float) -> tuple[Drawdown, ...]:
        """Weigh a shade out, after the black let down for it.

        Raises
        ------
        InputError
            Where the balance is too coarse for so little black.
        """
        assert self.black is not None
        step = {self.paint.tube.paint: Step(0.0, gap_um=self.gap_um)}
        shade = Shade(self.black.tube.paint, share)
        scale = scale_of(self.balance_g)
        made = weigh_shades(step, self.white.tube.paint, shade, scale, {})
        return tuple(replace(d, surface=self.gloss) for d in made)

    def scenes(self, drawdowns: Sequence[Drawdown]) -> list[Scene]:
        """What drawdowns would tell, for each paint that this one may turn out to be."""
        paint, white = self.paint.tube, self.white.tube
        surface = self.known[0].surface if self.known else Surface.of("di:8")
        bare = {over: self._bare(over) for over in SUBSTRATES}
        later = self.apart([Step(ratio, gap_um=self.gap_um) for ratio in TARGETS])
        black = None
        if self.black is not None:
            black = self.black.tube.paint
            later += [
                replace(later[0], step=f"{share}", masses={paint.paint: 1 - share, black: share})
                for share in SHADES
            ]
        cards = [
            *self.known,
            unpainted(PLANNED, drawdowns, bare, self.balance_g, surface),
            unpainted(TARGET, later, bare, self.balance_g, surface),
        ]
        tubes = {paint.paint: paint, white.paint: white}
        others = {white.paint: (self.white.k[0], self.white.s[0])}
        if self.black is not None:
            tubes[self.black.tube.paint] = self.black.tube
            others[self.black.tube.paint] = self.black.k[0], self.black.s[0]
        return [
            scene(
                cards,
                tubes,
                {paint.paint: (k, s), **others},
                self.settings,
                paint.paint,
                self.nuisances,
                black,
            )
            for k, s in zip(self.paint.k, self.paint.s, strict=True)
        ]

    def _bare(self, over: str) -> Array:
        read = [r.read(f"{BARE}/{over}") for r in self.known]
        read = [spectra for spectra in read if len(spectra)]
        if not read:
            return np.full(self.paint.k.shape[1], _BARE[over])
        return filled(np.concatenate(read).mean(axis=0))

    def expect(self, drawdowns: Sequence[Drawdown]) -> Expected:
        """How well the paint would be known after a card, dilution chains as weighed."""
        scenes = self.scenes(drawdowns)
        return expected(scenes, range(len(scenes[0].each)))
