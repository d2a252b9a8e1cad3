"""The virtual paint lab: weighs, mixes, draws down and reads invented paint, with seeded errors.

Every quantity is the lab's own; nothing here uses the two-flux theory that is under test. An
``exact`` reading has no error of mass, thickness or reading; a ``true`` one has the errors of mass
and thickness that really befell the drawdown, and no reading noise (held-out mixtures are judged
against these); a ``noisy`` one has all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from zlib import crc32

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Surface

from . import plan
from .adding_doubling import DEFAULT_POINTS, Films, View, angles, films
from .paints import PAINTS, LabPaint

TRANSFER = 0.6
"""Share of the applicator's gap that stays as wet film, nominal; the fit assumes the same."""
SHARED_SD = EACH_SD = 0.05
"""Relative sd of thickness: shared by a card (one applicator, one session), and per drawdown."""
NOISE = (0.0005, 0.002)
"""Reading noise: sd = offset + slope * R, independent for each reading and wavelength."""
NOMINAL_G, NOMINAL_N = 0.6, 1.5
SMOOTH = ((NOMINAL_N - 1) / (NOMINAL_N + 1)) ** 2
SATIN_HAZE = 0.5
FIRST_SURFACE = (0.021, 0.050)
"""Least and most that underbound, glossy and resinous films of dark oil paint read, shine included
(tests/opendata/oil_paints_2018/README.md)."""
RARE = (0.45, 0.05)
"""How much more strongly black absorbs where it is rare, and the dry share at which that fades."""

# Inside reflectance of the sealed card: a black, and a white without brightener.
BLACK = 0.012 + 0.004 * (GRID - 380) / 350
WHITE_CARD = 0.91 - 0.35 * np.exp(-(GRID - 380) / 28)


@dataclass(frozen=True)
class Variant:
    """How the lab's paint departs from the nominal. All zero is the nominal lab.

    Attributes
    ----------
    g : float
        1: g differs by paint (0.45-0.74) and falls with wavelength; reduced scattering is kept.
    index : float
        1: the film's index differs by paint, 1.46-1.55, averaged by dry volume in a mixture.
    thickness_spread : float
        Relative sd of film thickness within the instrument's aperture.
    haze : float
        Share of the light that the surface scatters as it enters (see `adding_doubling.films`).
    crowding : float
        White's scattering falls by this share times its dry-volume share.
    lobe : float
        The card takes and sends light as cos^lobe instead of alike in all directions: the
        simplest reciprocal card that is not Lambertian.
    pigments_crowd : float
        Every paint's scattering falls by this share times its own dry-volume share.
    underbound : float
        1: each film's outer surface reflects as much as it happens to, `FIRST_SURFACE`; 0: all as
        their index has it. Light from inside is turned back as ever, for it is only the outermost
        binder that thins out.
    partners : float
        1: black absorbs as many times as strongly as the paints around it make it (``LabPaint.
        blackens``), and up to 1.45 times where it is rare, as it is then the better dispersed.
    """

    name: str = "nominal"
    g: float = 0.0
    index: float = 0.0
    thickness_spread: float = 0.0
    haze: float = 0.0
    crowding: float = 0.0
    lobe: float = 0.0
    pigments_crowd: float = 0.0
    underbound: float = 0.0
    partners: float = 0.0


NOMINAL = Variant()
VARIANTS = {
    v.name: v
    for v in (
        NOMINAL,
        Variant("g by paint and wavelength", g=1.0),
        Variant("index 1.46-1.55", index=1.0),
        Variant("thickness spread 10 %", thickness_spread=0.10),
        Variant("surface haze", haze=0.3),
        Variant("white crowds", crowding=0.25),
        Variant("card not Lambertian", lobe=0.2),
    )
}
LIKE_REAL = {
    v.name: v
    for v in (
        Variant("underbound films", underbound=1.0),
        Variant("pigments crowd", pigments_crowd=0.3),
        Variant("black by partner", partners=1.0),
        Variant("all of these", underbound=1.0, pigments_crowd=0.3, partners=1.0, index=1.0),
    )
}
"""As measured oil paints depart from the nominal (tests/opendata/oil_paints_2018). Their figures
stand beside the nominal lab's (tests/bench/real_lab.py), apart from those of `VARIANTS`."""


class LabCard(NamedTuple):
    """A card, its readings as an instrument gives them, and without any error."""

    card: Card
    noisy: CardReadings
    exact: CardReadings


class LabMixtures(NamedTuple):
    """Mixtures that no fit sees.

    Attributes
    ----------
    card : Card
        Purpose "check"; masses as weighed.
    readings : CardReadings
        Noise-free, of what was truly mixed and drawn down.
    thickness : (N,) array, mm
        Nominal: gap, transfer, and volume solids as the labels say.
    black, white : (N, W) array
        The readings over each substrate.
    """

    card: Card
    readings: CardReadings
    thickness: Array
    black: Array
    white: Array


@dataclass(frozen=True)
class Pots:
    """What was truly drawn down on one card.

    Attributes
    ----------
    fractions : (D, P) array
        By dry volume, of the lab's paints in their order.
    thickness : (D,) array, mm
    """

    fractions: Array
    thickness: Array


@dataclass(frozen=True)
class Lab:
    """A lab of one variant.

    Attributes
    ----------
    variant : Variant
    points : int
        Angles of the adding-doubling.
    surface : Surface
        What the instrument is: di:8 (specular included or not) or 45:0.
    paints : mapping of nickname to LabPaint
        The first is the white.
    """

    variant: Variant = NOMINAL
    points: int = DEFAULT_POINTS
    surface: Surface = field(default_factory=lambda: Surface.of("di:8"))
    paints: Mapping[str, LabPaint] = field(
        default_factory=lambda: PAINTS, repr=False, compare=False
    )

    @property
    def tubes(self) -> dict[str, Tube]:
        """What the labels say of every paint."""
        return {name: paint.tube for name, paint in self.paints.items()}

    def ladder_cards(self, seed: int) -> list[LabCard]:
        """Paint and read a card for each paint."""
        cards = plan.ladders()
        noisy = self.read(cards, seed)
        exact = self.read(cards)
        return [LabCard(*row) for row in zip(cards, noisy, exact, strict=True)]

    def random_mixtures(self, count: int, seed: int) -> LabMixtures:
        """Paint and read held-out mixtures."""
        mixtures = plan.random_mixtures(count, seed)
        card = plan.check_card(f"mixtures-{seed}", mixtures, "random mixtures")
        return self.mixtures(card, seed)

    def mixtures(self, card: Card, seed: int) -> LabMixtures:
        """Paint a card of mixtures and read it without noise."""
        (readings,) = self.read([card], seed, noise=False, repeats=1)
        black, white = (
            readings.spectra.values[[i for i, name in enumerate(readings.spectra.labels)
                                     if name.endswith(f"/{over}") and not name.startswith("bare/")]]
            for over in SUBSTRATES
        )  # fmt: skip
        nominal = nominal_thickness(card, self.paints)
        return LabMixtures(card, readings, nominal, black, white)

    def read(
        self, cards: Sequence[Card], seed: int | None = None, noise: bool = True, repeats: int = 2
    ) -> list[CardReadings]:
        """Paint and read cards, all in one batch.

        Parameters
        ----------
        seed : int or None
            None: no error of any kind, and each patch is read once.
        noise : bool
            Whether readings are noisy.
        repeats : int
            How often each patch is read.
        """
        generators = [
            None if seed is None else np.random.default_rng([seed, crc32(card.name.encode())])
            for card in cards
        ]
        pots = [
            paint_card(card, rng, self.paints) for card, rng in zip(cards, generators, strict=True)
        ]
        haze = [
            SATIN_HAZE if d.surface != "gloss" else self.variant.haze
            for card in cards
            for d in card.drawdowns
        ]
        fractions = np.concatenate([p.fractions for p in pots])
        thickness = np.concatenate([p.thickness for p in pots])
        over = self.over_card(fractions, thickness, np.array(haze))
        first = np.array(
            [self._first_surface(card, d.step) for card in cards for d in card.drawdowns]
        )
        over = {name: self._under(values, first) for name, values in over.items()}
        bare = self.bare()
        readings, start = [], 0
        for card, rng in zip(cards, generators, strict=True):
            rows = [bare[s] for s in SUBSTRATES]
            for i, d in enumerate(card.drawdowns, start):
                rows += [over[s][i] for s in d.over]
            start += len(card.drawdowns)
            values, labels = np.array(rows), card.patches
            if rng is not None:
                values = np.repeat(values, repeats, axis=0)
                labels = tuple(label for label in labels for _ in range(repeats))
                if noise:
                    sd = NOISE[0] + NOISE[1] * values
                    values = values + sd * rng.standard_normal(values.shape)
            spectra = Spectra.from_values(GRID, values, labels)
            readings.append(CardReadings(card, spectra, self.surface, f"{card.name}.txt"))
        return readings

    def over_card(self, fractions: Array, thickness: Array, haze: Array) -> dict[str, Array]:
        """Measured reflectance of films over black and over white, (D, W) each.

        Parameters
        ----------
        fractions : (D, P) array
            Dry-volume fractions of the lab's paints.
        thickness : (D,) array, mm
        haze : (D,) array
        """
        v = self.variant
        spread = v.thickness_spread
        # Three points and weights hold the mean over a normal spread to the fifth order.
        nodes = np.array([-1, 0, 1]) * np.sqrt(3) * spread if spread else np.zeros(1)
        weights = np.array([1, 4, 1]) / 6 if spread else np.ones(1)
        parts = [self._films(fractions, thickness * (1 + x), haze) for x in nodes]
        return {
            name: sum(w * part.over(rg) for w, part in zip(weights, parts, strict=True))
            for name, rg in zip(SUBSTRATES, (BLACK, WHITE_CARD), strict=True)
        }

    def _first_surface(self, card: Card, step: str) -> float:
        """What a film's outer surface reflects; its own, whoever reads it."""
        rng = np.random.default_rng([crc32(card.name.encode()), crc32(step.encode())])
        return SMOOTH + self.variant.underbound * (rng.uniform(*FIRST_SURFACE) - SMOOTH)

    def _under(self, values: Array, first: Array) -> Array:
        """Readings of films (D, W) under outer surfaces that reflect so much, (D,)."""
        let_in = ((1 - first) / (1 - SMOOTH))[:, None]
        if self.surface.specular == "excluded" or self.surface.geometry == "45:0":
            return np.asarray(let_in * values)
        return np.asarray(first[:, None] + let_in * (values - SMOOTH))

    def bare(self) -> dict[str, Array]:
        """Measured reflectance of the sealed card, (W,) each."""
        none = np.zeros((1, len(self.paints)))
        over = self.over_card(none, np.zeros(1), np.full(1, self.variant.haze))
        return {name: values[0] for name, values in over.items()}

    def _films(self, fractions: Array, thickness: Array, haze: Array) -> Films:
        v = self.variant
        paints = list(self.paints.values())
        g = np.array([_g(p, v.g) for p in paints])
        scattering = np.array([p.scattering for p in paints]) / (1 - g)
        acting = fractions * _strengths(paints, fractions, v.partners)
        absorb = acting @ np.array([p.absorption for p in paints])
        held = fractions * (1 - v.pigments_crowd * fractions)
        held[:, 0] *= 1 - v.crowding * fractions[:, 0]
        scatter = held @ scattering
        mean_g = np.divide(
            held @ (scattering * g), scatter, out=np.zeros_like(scatter), where=scatter > 0
        )
        extinction = absorb + scatter
        albedo = np.divide(scatter, extinction, out=np.zeros_like(scatter), where=extinction > 0)
        depth = extinction * thickness[:, None]
        index = NOMINAL_N + v.index * (fractions @ np.array([p.n - NOMINAL_N for p in paints]))
        out = np.empty((4, *albedo.shape))
        # One batch for each kind of surface; the index to 0.005.
        kinds = np.stack([np.round(index * 200) / 200, haze], axis=1)
        view: View = "45" if self.surface.geometry == "45:0" else "sphere"
        for kind in np.unique(kinds, axis=0):
            rows = np.flatnonzero((kinds == kind).all(axis=1))
            made = films(
                albedo[rows].ravel(),
                depth[rows].ravel(),
                mean_g[rows].ravel(),
                angles(float(kind[0]), self.points, view),
                specular=self.surface.specular == "included",
                haze=float(kind[1]),
                lobe=v.lobe,
            )
            out[:, rows] = np.reshape(made, (4, rows.size, GRID.size))
        return Films(*out)


def _strengths(paints: Sequence[LabPaint], fractions: Array, amount: float) -> Array:
    """How many times as strongly each paint absorbs in each film, (D, P): 1 but for a black."""
    black = np.array([p.black for p in paints])
    others = np.where(black, 0.0, fractions)
    shares = others / np.maximum(others.sum(axis=1, keepdims=True), 1e-12)
    by_partner = shares @ np.log([p.blackens for p in paints])
    more, fades = RARE
    rare = np.log1p(more * np.exp(-fractions / fades))
    return np.asarray(np.exp(amount * black * (by_partner[:, None] + rare)))


def _g(paint: LabPaint, amount: float) -> Array:
    slope = 0.08 * (550 - GRID) / 170
    return np.asarray(NOMINAL_G + amount * (paint.g_offset + slope))


def paint_card(
    card: Card, rng: np.random.Generator | None, paints: Mapping[str, LabPaint] = PAINTS
) -> Pots:
    """Weigh, mix and draw down, with the errors of a hand, a balance and an applicator."""

    def weigh(grams: float) -> float:
        return grams if rng is None else grams + plan.BALANCE_G * float(rng.standard_normal())

    names = list(paints)
    by_step: dict[str, Array] = {}
    for d in card.drawdowns:
        grams = np.zeros(len(names))
        if d.taken_from is not None:
            assert d.taken_g is not None
            parent = by_step[d.taken_from]
            grams += weigh(d.taken_g) * parent / parent.sum()
        for paint, mass in d.masses.items():
            grams[names.index(paint)] += weigh(mass)
        by_step[d.step] = grams
    grams = np.array([by_step[d.step] for d in card.drawdowns])
    dry = grams * np.array([p.dry_volume for p in paints.values()])
    wet = grams / np.array([p.density for p in paints.values()])
    gaps = np.array([d.gap_um for d in card.drawdowns], dtype=float)
    thickness = gaps * 1e-3 * TRANSFER * dry.sum(axis=1) / wet.sum(axis=1)
    if rng is not None:
        shared = SHARED_SD * rng.standard_normal()
        thickness = thickness * (1 + shared) * (1 + EACH_SD * rng.standard_normal(gaps.size))
    return Pots(dry / dry.sum(axis=1, keepdims=True), thickness)


def nominal_thickness(card: Card, paints: Mapping[str, LabPaint] = PAINTS) -> Array:
    """Dry thickness that the labels lead one to expect of free mixtures, (D,) mm."""
    result = []
    for d in card.drawdowns:
        tubes = [(paints[name].tube, mass) for name, mass in d.masses.items()]
        dry = sum(mass * tube.dry_volume for tube, mass in tubes)
        wet = sum(mass / tube.wet_density for tube, mass in tubes)
        result.append((d.gap_um or 0.0) * 1e-3 * TRANSFER * dry / wet)
    return np.array(result)
