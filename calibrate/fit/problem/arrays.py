"""From cards and readings to the arrays of a least-squares problem.

Unknown are log K and log S of every paint at every wavelength, and the nuisance values: what the
cards and the lab bench leave open. Every nuisance value is scaled to a prior of mean 0 and standard
deviation 1.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...cards.card import BARE, Card, Drawdown
from ...cards.readings import CardReadings
from ...cards.weighing import composition
from ...errors import InputError
from ...optics.coefficients import ABSOLUTE, Coefficients, dry_volume_spread
from ...optics.spectra import GRID, Array, Flag
from ...optics.surface import Surface, haze_prior, to_inside
from .own_surface import showing_surface
from .patch_means import bare_means, patch_mean
from .refusals import check_cards
from .settings import FitSettings
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
    kind : {"thickness", "weighing", "dry volume", "two fluxes", "k2", "haze", "surface",
            "substrate"}
    spread : float
        Prior standard deviation, in the nuisance's own unit.
    unit : str
    drawdowns : tuple of int
        The drawdowns it touches.
    target : int
        The weighing's column, the paint's, or the place among `SHAPES`, where the kind needs one;
        else -1.
    over : str
        The substrate, where it is of one.
    """

    name: str
    kind: str
    spread: float
    unit: str
    drawdowns: tuple[int, ...]
    target: int = -1
    over: str = ""


@dataclass(frozen=True)
class Patch:
    """One patch: a drawdown over one substrate, all its repeats averaged."""

    card: str
    label: str
    step: str
    over: str
    drawdown: int
    repeats: int
    flags: int


@dataclass(frozen=True, eq=False)
class Problem:
    """The arrays of a fit; D drawdowns, N patches, P paints, W wavelengths, M nuisance values.

    Attributes
    ----------
    paints : tuple of P str
    hubs : tuple of int
        Paints that others are mixed with everywhere: the whites, and any other shared paint.
    fractions : (D, P) array
        Mass fractions as weighed.
    film : (D,) bool array
        False for an opaque drawdown.
    log_thickness : (D,) array
        Log of the dry thickness in mm without what the mix's solids contribute, or of the measured
        dry thickness.
    solids_count : (D,) bool array
        Whether the dry thickness follows from the mix's volume solids.
    weighing : list of (D, P) array
        For each nuisance of kind weighing, in order: change of the mass fractions at one standard
        deviation.
    dry_volume, inverse_density, surface_offset : (P,) array
        The last of known paints; 0 of the others.
    nuisances : tuple of M Nuisance
    patches : tuple of N Patch
    drawdown : (N,) int array
    measured, variance : (N, W) array
        Mean of the repeats, NaN where unread, and its variance from reading noise alone.
    bare, bare_variance : (N, W) array
        Reading of the bare substrate under each patch.
    surfaces : tuple of N Surface
    scale : str
    wavelengths : (W,) array, nm
    model : str
        That of the coefficients to be fitted.
    """

    paints: tuple[str, ...]
    hubs: tuple[int, ...]
    fractions: Array
    film: NDArray[np.bool_]
    log_thickness: Array
    solids_count: NDArray[np.bool_]
    weighing: Mapping[int, Array]
    dry_volume: Array
    inverse_density: Array
    surface_offset: Array
    nuisances: tuple[Nuisance, ...]
    patches: tuple[Patch, ...]
    drawdown: Ints
    measured: Array
    variance: Array
    bare: Array
    bare_variance: Array
    surfaces: tuple[Surface, ...]
    scale: str
    wavelengths: Array
    model: str


def _hubs(
    cards: Sequence[Card], paints: Sequence[str], known: Coefficients | None
) -> tuple[int, ...]:
    """Known paints, the whites that ladders name, and any paint mixed with three or more others."""
    whites = {d.white for c in cards for d in c.drawdowns if d.white}
    partners: dict[str, set[str]] = defaultdict(set)
    for card in cards:
        made = composition(card)
        for row in made.fractions > 0:
            others = [
                p for p, used in zip(made.paints, row, strict=True) if used and p not in whites
            ]
            for p in others:
                partners[p].update(q for q in others if q != p)
    shared = {p for p, others in partners.items() if len(others) >= 3}
    shared |= whites | set(known.paints if known else ())
    return tuple(i for i, p in enumerate(paints) if p in shared)


def build(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    known: Coefficients | None = None,
) -> Problem:
    """Lay out the problem; ``known`` holds paints whose K and S are given.

    Raises
    ------
    InputError
        For a paint that no tube is known of or that the theory can't hold for, a drawdown without
        thickness, a card without readings of its bare substrates, or a paint that can't be fitted.
    """
    readings = [r for r in readings if r.card.purpose != "check"]
    cards = [r.card for r in readings]
    if not cards:
        raise InputError(
            None, None, "there is no card to fit", "read a card and its readings first"
        )
    check_cards(cards, tubes)
    model = known.model if known else settings.model
    paints = tuple(dict.fromkeys(p for card in cards for p in card.paints))
    column = {p: i for i, p in enumerate(paints)}
    n_paints = len(paints)

    fractions: list[Array] = []
    film: list[bool] = []
    log_x: list[float] = []
    solids: list[bool] = []
    nuisances: list[Nuisance] = []
    weighing: dict[int, Array] = {}
    thickness: dict[tuple[str, str, float], list[int]] = defaultdict(list)
    patches: list[Patch] = []
    measured, variance, bare, bare_variance = ([] for _ in range(4))
    surfaces: list[Surface] = []
    hazes: dict[tuple[str, str], list[int]] = defaultdict(list)
    beneath: dict[tuple[str, str], list[int]] = defaultdict(list)
    with_read_patches: list[tuple[Card, Drawdown, int]] = []

    for r in readings:
        card = r.card
        made = composition(card)
        to = np.array([column[p] for p in made.paints])
        substrates = bare_means(r, settings)
        first = len(fractions)
        for i, d in enumerate(card.drawdowns):
            index = first + i
            row = np.zeros(n_paints)
            row[to] = made.fractions[i]
            fractions.append(row)
            film.append(not d.opaque)
            measured_x = d.thickness_um is not None
            wet = 1.0 if d.opaque else (d.thickness_um or settings.transfer * (d.gap_um or 0.0))
            log_x.append(float(np.log(wet * 1e-3)))
            solids.append(not measured_x)
            read_over = [o for o in d.over if r.rows(f"{d.step}/{o}").size]
            if not read_over:
                continue
            with_read_patches.append((card, d, index))
            name = f"{card.name} {d.step}: {_WRONG[model]}"
            nuisances.append(
                Nuisance(name, "two fluxes", settings.two_flux_spread, "relative", (index,))
            )
            if not d.opaque:
                spread = settings.measured_spread if measured_x else settings.drawdown_spread
                name = f"{card.name} {d.step}: thickness"
                nuisances.append(Nuisance(name, "thickness", spread, "relative", (index,)))
                if not measured_x:
                    gap = float(d.gap_um or 0.0)
                    thickness[("card", card.name, gap)].append(index)
                    thickness[("gap", "", gap)].append(index)
            surface = replace(r.surface, gloss=d.surface, haze=haze_prior(d.surface)[0])
            for over in read_over:
                label = f"{d.step}/{over}"
                mean, var, repeats, flags = patch_mean(r, label, settings)
                if not d.opaque and over not in substrates:
                    raise InputError(
                        r.source,
                        f"{BARE}/{over}",
                        f"card {card.name} was drawn over {over}, but its bare {over} was not read",
                        f"read the bare {over} of the card as '{BARE}/{over}'",
                    )
                rg, rg_var = (mean, 0 * var)
                if over in substrates:
                    rg, rg_var, _, odd = substrates[over]
                    flags |= odd & Flag.FLUORESCENT
                if not d.opaque and (settings.fit_substrate or not card.sealed):
                    beneath[(card.name, over)].append(index)
                if surface.haze_is_free:
                    hazes[(card.name, d.surface)].append(len(patches))
                patches.append(Patch(card.name, label, d.step, over, index, repeats, flags))
                measured.append(mean)
                variance.append(var)
                bare.append(rg)
                bare_variance.append(rg_var)
                surfaces.append(surface)
        for j, name in enumerate(made.weighings):
            change = np.zeros((len(card.drawdowns), n_paints))
            change[:, to] = made.by_weighing[:, j] * card.balance_g
            touched = np.flatnonzero(np.abs(change).max(axis=1) > 1e-7)
            read = {index for c, _, index in with_read_patches if c is card}
            hit = tuple(int(first + t) for t in touched if first + t in read)
            if hit:
                weighing[len(nuisances)] = change[[h - first for h in hit]]
                nuisances.append(
                    Nuisance(f"{card.name} {name}", "weighing", card.balance_g, "g", hit, j)
                )
    if not patches:
        raise InputError(None, None, "no card has a readable patch", "read the cards first")
    for (what, card_name, gap), group in thickness.items():
        spread = settings.session_spread if what == "card" else settings.transfer_spread
        name = (
            f"{card_name} gap {gap:g} µm: thickness"
            if what == "card"
            else (f"gap {gap:g} µm: transfer")
        )
        nuisances.append(Nuisance(name, "thickness", spread, "relative", tuple(group)))
    table = np.array(fractions)
    read_rows = np.array([index for _, _, index in with_read_patches])
    for i, paint in enumerate(paints):
        # A dry volume per gram shows only where the dry thickness of a mix was measured: elsewhere
        # it cancels between share and thickness.
        mixed = (table > 0).sum(axis=1) > 1
        rows = tuple(
            int(x) for x in read_rows if table[x, i] > 0 and mixed[x] and film[x] and not solids[x]
        )
        tube = tubes[paint]
        if rows:
            spread = dry_volume_spread(tube.dry_volume_measured)
            nuisances.append(
                Nuisance(f"{paint}: dry volume", "dry volume", spread, "relative", rows, i)
            )
    if settings.fit_k2:
        every = tuple(int(x) for x in read_rows)
        nuisances.append(Nuisance("k2", "k2", settings.k2_spread, "", every))
    for (card_name, gloss), rows_of in hazes.items():
        hit = tuple(sorted({patches[n].drawdown for n in rows_of}))
        spread = haze_prior(gloss)[1]  # type: ignore[arg-type]
        nuisances.append(Nuisance(f"{card_name} {gloss}: haze", "haze", spread, "", hit))
    given = set(known.paints if known else ())
    if settings.surface_spread:
        each = table[[p.drawdown for p in patches]]
        free = [p not in given for p in paints]
        for i in showing_surface(each, np.array(measured), surfaces, free):
            hit = tuple(int(x) for x in read_rows if table[x, i] > 0)
            name, spread = f"{paints[i]}: surface", settings.surface_spread
            nuisances.append(Nuisance(name, "surface", spread, "", hit, i))
    for (card_name, over), films in beneath.items():
        # Paint soaks into a card that wasn't sealed: what was read bare isn't what lies beneath.
        for j, (shape, (_, part)) in enumerate(SHAPES.items()):
            name, spread = f"{card_name} under films on {over}: {shape}", part
            spread *= settings.unsealed_spread
            nuisances.append(Nuisance(name, "substrate", spread, "relative", tuple(films), j, over))

    problem = Problem(
        paints=paints,
        hubs=_hubs(cards, paints, known),
        fractions=table,
        film=np.array(film),
        log_thickness=np.array(log_x),
        solids_count=np.array(solids),
        weighing=weighing,
        dry_volume=np.array([tubes[p].dry_volume for p in paints]),
        inverse_density=np.array([1 / tubes[p].wet_density for p in paints]),
        surface_offset=np.array(
            [known.surface_offset[known.index(p)] if known and p in given else 0.0 for p in paints]
        ),
        nuisances=tuple(nuisances),
        patches=tuple(patches),
        drawdown=np.array([p.drawdown for p in patches]),
        measured=np.array(measured),
        variance=np.array(variance),
        bare=np.array(bare),
        bare_variance=np.array(bare_variance),
        surfaces=tuple(surfaces),
        scale=known.scale if known else _scale(cards),
        wavelengths=GRID,
        model=model,
    )
    return problem


def _scale(cards: Sequence[Card]) -> str:
    """Absolute where any drawdown has a thickness, else relative to the first ladder's white."""
    drawdowns = [d for card in cards for d in card.drawdowns]
    if any(not d.opaque for d in drawdowns):
        return ABSOLUTE
    white = next((d.white for d in drawdowns if d.white), None)
    if white is None:
        card = cards[0]
        raise InputError(
            card.file,
            None,
            "expected a ladder in white: an opaque masstone alone gives K/S, not K and S",
            "add tints in white and name the white, or draw it down thin over black and white",
        )
    return f"relative to {white}"


def substrate_inside(problem: Problem, k2: float | None = None) -> Array:
    """Inside reflectance of the substrate under each patch, (N, W); negative values stay."""
    out = np.empty_like(problem.bare)
    for i, surface in enumerate(problem.surfaces):
        # The sealed card is glossy whatever the paint on it: its haze is none.
        card = replace(surface, gloss="gloss", haze=0.0, k2=surface.k2 if k2 is None else k2)
        out[i] = to_inside(problem.bare[i], card)
    return out
