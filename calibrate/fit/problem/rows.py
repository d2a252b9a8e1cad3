"""Row by row what the cards hold: drawdowns, their patches, and what each leaves open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...cards.card import BARE, Card, Drawdown
from ...cards.readings import CardReadings
from ...cards.weighing import Composition, composition
from ...errors import InputError
from ...optics.coefficients import dry_volume_spread
from ...optics.spectra import GRID, Array, Flag
from ...optics.surface import Surface, haze_prior
from .brushed import LEANS, Hidden, brushed_out, log_coat
from .noise import bare_means, patch_mean, repeats_apart
from .own_surface import showing_surface
from .settings import UNEVEN_UNSURE, FitSettings
from .tube import Tube

Ints = NDArray[np.intp]

_ACROSS = np.linspace(-1.0, 1.0, GRID.size)
SHAPES = {
    "level": (np.ones_like(_ACROSS), 1.0),
    "slope": (_ACROSS, 0.5),
    "bend": ((3 * _ACROSS**2 - 1) / 2, 0.5),
}
"""How what lies under a film may differ from the bare substrate over wavelength, relative to it
(Legendre polynomials), and how much of the spread each has (our choice)."""
_WRONG = {"two-flux": "two fluxes", "transport": "transport"}
"""What to call that which each model gets wrong of a mix; its kind is "two fluxes" in both."""


@dataclass(frozen=True)
class Nuisance:
    """A value fitted beside K and S.

    Attributes
    ----------
    name : str
    kind : {"thickness", "weighing", "dry volume", "two fluxes", "crowding", "k2", "haze",
            "surface", "own surface", "substrate", "half", "uneven", "white's scattering"}
    spread : float
        Prior standard deviation, in the nuisance's own unit.
    unit : str
    drawdowns : tuple of int
        The drawdowns it touches.
    target : int
        The weighing's column, the paint's, or the place among `SHAPES` or
        `tintladder.calibrate.fit.problem.brushed.LEANS`, where the kind needs one; else -1.
    over : str
        The substrate, where it is of one; empty: of all.
    """

    name: str
    kind: str
    spread: float
    unit: str
    drawdowns: tuple[int, ...]
    target: int = -1
    over: str = ""

    @cached_property
    def touched(self) -> frozenset[int]:
        """The drawdowns, for asking of each block which of its own are among them."""
        return frozenset(self.drawdowns)


@dataclass(frozen=True)
class Patch:
    """One patch: a drawdown over one substrate, all its repeats averaged.

    `paint` is that whose ladder the drawdown belongs to; empty where its card names none.
    `apart` is how far the levels of its repeats differ, a relative standard deviation.
    """

    card: str
    label: str
    step: str
    over: str
    drawdown: int
    repeats: int
    flags: int
    paint: str = ""
    apart: float = 0.0


class Weighing(NamedTuple):
    """What one weighing changes at one standard deviation.

    Attributes
    ----------
    paints : (A,) int array
        Columns of the problem.
    change : (D, A) array
        Of their mass fractions, in each drawdown that the nuisance value touches.
    """

    paints: Ints
    change: Array

    def of(self, paints: Ints) -> Array:
        """The change in some columns of the problem, (D, P); 0 in those that it isn't of."""
        result: Array = self.change @ (self.paints[:, None] == paints)
        return result


class Rows:
    """The rows of a problem as cards are added to it, and the nuisance values they need.

    Parameters
    ----------
    paints : sequence of str
        In the order of the problem's columns.
    settings : FitSettings
    model : str
    relative : bool
        Whether K and S are relative to a white's S.
    hidden : collection of (card, step) or None
        See `tintladder.calibrate.fit.problem.arrays.build`.

    Attributes
    ----------
    fractions, film, brushed, uneven, log_thickness, solids_count
        Of each drawdown: as `Problem` has them.
    patches, measured, variance, bare, bare_variance, surfaces
        Of each patch that was read.
    nuisances : list of Nuisance
    weighing : dict of place among the nuisances to Weighing
    read : list of int
        Drawdowns of which a patch was read.
    """

    def __init__(
        self,
        paints: Sequence[str],
        settings: FitSettings,
        model: str,
        relative: bool = False,
        hidden: Hidden | None = None,
    ) -> None:
        self._paints = tuple(paints)
        self._column = {paint: i for i, paint in enumerate(paints)}
        self._settings, self._model = settings, model
        self._relative_to_white, self._hidden = relative, hidden
        self.fractions: list[Array] = []
        self.film: list[bool] = []
        self.brushed: list[bool] = []
        self.uneven: list[float] = []
        self.log_thickness: list[float] = []
        self.solids_count: list[bool] = []
        self.nuisances: list[Nuisance] = []
        self.weighing: dict[int, Weighing] = {}
        self.read: list[int] = []
        self.patches: list[Patch] = []
        self.measured: list[Array] = []
        self.variance: list[Array] = []
        self.bare: list[Array] = []
        self.bare_variance: list[Array] = []
        self.surfaces: list[Surface] = []
        self._thickness = defaultdict[tuple[str, str, float], list[int]](list)
        self._brushed = defaultdict[str, list[int]](list)
        self._hazes = defaultdict[tuple[str, str], list[int]](list)
        self._beneath = defaultdict[tuple[str, str], list[int]](list)

    def add(self, readings: CardReadings) -> None:
        """Add a card: its drawdowns, their patches, and what belongs to this card alone."""
        card, first = readings.card, len(self.fractions)
        made = composition(card)
        to = np.array([self._column[p] for p in made.paints])
        substrates = bare_means(readings, self._settings)
        for d, mixed in zip(card.drawdowns, made.fractions, strict=True):
            index = len(self.fractions)
            row = np.zeros(len(self._paints))
            row[to] = mixed
            self.fractions.append(row)
            self._place(d, brushed_out(readings, d, substrates, self._settings, self._hidden))
            over = [o for o in d.over if readings.rows(f"{d.step}/{o}").size]
            if over:
                self.read.append(index)
                self._open_of(card, d, index)
                # Where a card's haze is fitted, it stands for how its films' surfaces lie.
                if self._settings.surface_room and not _surface(readings, d).haze_is_free:
                    name = f"{card.name} {d.step}: own surface"
                    self._add(name, "own surface", self._settings.surface_room, [index])
                for each in over:
                    self._patch(readings, d, each, index, substrates)
        self._weighings(card, made, to, first)

    def _place(self, d: Drawdown, brushed: bool) -> None:
        """Note how thick a drawdown is meant to be."""
        transferred = self._settings.transfer * (d.gap_um or 0.0)
        wet = 1.0 if d.opaque else (d.thickness_um or transferred)
        self.film.append(brushed or not d.opaque)
        self.brushed.append(brushed)
        self.uneven.append(self._settings.uneven_spread if brushed else 0.0)
        coat = log_coat(self._settings, self._relative_to_white)
        self.log_thickness.append(coat if brushed else float(np.log(wet * 1e-3)))
        self.solids_count.append(d.thickness_um is None and not brushed)

    def _open_of(self, card: Card, d: Drawdown, index: int) -> None:
        """Note what one drawdown leaves open: the model's error in its mix, and its thickness."""
        s, place = self._settings, f"{card.name} {d.step}"
        self._relative(f"{place}: {_WRONG[self._model]}", "two fluxes", s.two_flux_spread, [index])
        if self.brushed[index]:
            self._relative(f"{place}: thickness", "thickness", s.coat_spread, [index])
            self._relative(f"{place}: over black", "half", s.half_spread, [index])
            self._brushed[card.name].append(index)
            return
        if d.opaque:
            return
        measured = d.thickness_um is not None
        spread = s.measured_spread if measured else s.drawdown_spread
        self._relative(f"{place}: thickness", "thickness", spread, [index])
        if not measured:
            gap = float(d.gap_um or 0.0)
            self._thickness["card", card.name, gap].append(index)
            self._thickness["gap", "", gap].append(index)

    def _patch(
        self,
        readings: CardReadings,
        d: Drawdown,
        over: str,
        index: int,
        substrates: Mapping[str, tuple[Array, Array, int, int]],
    ) -> None:
        card, label = readings.card, f"{d.step}/{over}"
        mean, variance, repeats, flags = patch_mean(readings, label, self._settings)
        apart = repeats_apart(readings, label)
        film = self.film[index]
        if film and over not in substrates:
            raise InputError(
                readings.source,
                f"{BARE}/{over}",
                f"card {card.name} was drawn over {over}, but its bare {over} was not read",
                f"read the bare {over} of the card as '{BARE}/{over}'",
            )
        bare, bare_variance = mean, 0 * variance
        if over in substrates:
            bare, bare_variance, _, odd = substrates[over]
            flags |= odd & Flag.FLUORESCENT
        surface = _surface(readings, d)
        if film and (self._settings.fit_substrate or not card.sealed):
            self._beneath[card.name, over].append(index)
        if surface.haze_is_free:
            self._hazes[card.name, d.surface].append(len(self.patches))
        mine = d.paint or ""
        patch = Patch(card.name, label, d.step, over, index, repeats, flags, mine, apart)
        self.patches.append(patch)
        self.measured.append(mean)
        self.variance.append(variance)
        self.bare.append(bare)
        self.bare_variance.append(bare_variance)
        self.surfaces.append(surface)

    def _weighings(self, card: Card, made: Composition, to: Ints, first: int) -> None:
        """Note each weighing of a card: what it changes in the drawdowns that were read."""
        # Only the last card's are among so many of the last.
        read = {index for index in self.read[-len(card.drawdowns) :] if index >= first}
        for j, name in enumerate(made.weighings):
            change = made.by_weighing[:, j] * card.balance_g
            touched = np.flatnonzero(np.abs(change).max(axis=1) > 1e-7)
            hit = tuple(int(first + t) for t in touched if first + t in read)
            if hit:
                self.weighing[len(self.nuisances)] = Weighing(to, change[[h - first for h in hit]])
                self.nuisances.append(
                    Nuisance(f"{card.name} {name}", "weighing", card.balance_g, "g", hit, j)
                )

    def share(self, tubes: Mapping[str, Tube], given: Sequence[str]) -> None:
        """Add what drawdowns and cards share, once all cards are there.

        Parameters
        ----------
        tubes : mapping of nickname to Tube
        given : sequence of str
            Paints whose K and S are known.
        """
        self._share_thickness()
        self._share_dry_volumes(tubes)
        if self._settings.fit_k2:
            self._add("k2", "k2", self._settings.k2_spread, self.read)
        for (card, gloss), patches in self._hazes.items():
            hit = sorted({self.patches[n].drawdown for n in patches})
            spread = haze_prior(gloss)[1]  # type: ignore[arg-type]
            self._add(f"{card} {gloss}: haze", "haze", spread, hit)
        if self._settings.crowding and self._settings.crowding_spread and not given:
            self._share_crowding()
        if self._settings.surface_spread:
            self._share_surfaces(given)
        self._share_substrates()

    def _share_thickness(self) -> None:
        s = self._settings
        for (what, card, gap), group in self._thickness.items():
            if what == "card":
                name, spread = f"{card} gap {gap:g} µm: thickness", s.session_spread
            else:
                name, spread = f"gap {gap:g} µm: transfer", s.transfer_spread
            self._relative(name, "thickness", spread, group)
        for card, group in self._brushed.items():
            self._relative(f"{card} brushed: thickness", "thickness", s.coat_spread, group)
            self._relative(f"{card} brushed: unevenness", "uneven", UNEVEN_UNSURE, group)
        every = [x for group in self._brushed.values() for x in group]
        if every and self._relative_to_white:
            for j, (shape, (_, spread)) in enumerate(LEANS.items()):
                name = f"scattering of white: {shape}"
                self._relative(name, "white's scattering", spread, every, j)

    def _share_dry_volumes(self, tubes: Mapping[str, Tube]) -> None:
        """A dry volume per gram shows only where the dry thickness of a mix was measured.

        Elsewhere it cancels between share and thickness.
        """
        table = np.array(self.fractions)
        telling = (table > 0).sum(axis=1) > 1
        telling &= np.array(self.film) & ~np.array(self.solids_count) & ~np.array(self.brushed)
        read = np.array(self.read, dtype=np.intp)
        read = read[telling[read]]
        holds = table[read] > 0
        for i, paint in enumerate(self._paints):
            rows = read[holds[:, i]].tolist()
            if rows:
                spread = dry_volume_spread(tubes[paint].dry_volume_measured)
                self._relative(f"{paint}: dry volume", "dry volume", spread, rows, i)

    def _share_crowding(self) -> None:
        """Only where paints are mixed does it show."""
        mixed = (np.array(self.fractions) > 0).sum(axis=1) > 1
        if hit := [d for d in self.read if mixed[d]]:
            self._relative("crowding", "crowding", self._settings.crowding_spread, hit)

    def _share_surfaces(self, given: Sequence[str]) -> None:
        table = np.array(self.fractions)
        each = table[[patch.drawdown for patch in self.patches]]
        free = [paint not in given for paint in self._paints]
        read = np.array(self.read, dtype=np.intp)
        for i in showing_surface(each, np.array(self.measured), self.surfaces, free):
            hit = read[table[read, i] > 0].tolist()
            spread = self._settings.surface_spread
            self._add(f"{self._paints[i]}: surface", "surface", spread, hit, i)

    def _share_substrates(self) -> None:
        """Paint soaks into an unsealed card: what was read bare isn't what lies beneath."""
        for (card, over), films in self._beneath.items():
            for j, (shape, (_, part)) in enumerate(SHAPES.items()):
                name = f"{card} under films on {over}: {shape}"
                spread = part * self._settings.unsealed_spread
                self.nuisances.append(
                    Nuisance(name, "substrate", spread, "relative", tuple(films), j, over)
                )

    def _relative(
        self, name: str, kind: str, spread: float, rows: Sequence[int], target: int = -1
    ) -> None:
        self.nuisances.append(Nuisance(name, kind, spread, "relative", tuple(rows), target))

    def _add(
        self, name: str, kind: str, spread: float, rows: Sequence[int], target: int = -1
    ) -> None:
        self.nuisances.append(Nuisance(name, kind, spread, "", tuple(rows), target))


def _surface(readings: CardReadings, d: Drawdown) -> Surface:
    """The surface record that a drawdown begins with."""
    return replace(readings.surface, gloss=d.surface, haze=haze_prior(d.surface)[0])
