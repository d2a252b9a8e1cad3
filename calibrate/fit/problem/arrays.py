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

from ...cards.card import Card
from ...cards.readings import CardReadings
from ...cards.weighing import composition
from ...errors import InputError
from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.spectra import GRID, Array
from ...optics.surface import Surface, to_inside
from .brushed import WHITE_SLOPE, Hidden
from .refusals import check_cards
from .rows import Ints, Nuisance, Patch, Rows, Weighing
from .settings import FitSettings
from .tube import Tube


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
    brushed : (D,) bool array
        Films of unknown thickness.
    uneven : (D,) array
        Relative standard deviation of thickness within a patch.
    log_thickness : (D,) array
        Log of the dry thickness in mm without what the mix's solids contribute, or of the measured
        dry thickness; of a brushed film what it is believed to be. Where K and S are relative, the
        S of white is 1 at every wavelength, and thickness follows that; see `white_scatters`.
    solids_count : (D,) bool array
        Whether the dry thickness follows from the mix's volume solids.
    weighing : mapping of place among the nuisances to Weighing
    dry_volume, inverse_density, surface_offset : (P,) array
        The last of known paints; 0 of the others.
    crowding : (P,) array
        As believed beforehand; of known paints as known.
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
    brushed: NDArray[np.bool_]
    uneven: Array
    log_thickness: Array
    solids_count: NDArray[np.bool_]
    weighing: Mapping[int, Weighing]
    dry_volume: Array
    inverse_density: Array
    surface_offset: Array
    crowding: Array
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

    @property
    def white_scatters(self) -> Array:
        """Log of what a white's S is believed to be over wavelength, (W,), 0 in the middle.

        A film's thickness is multiplied by it where K and S are relative to that S.
        """
        absolute = self.scale == ABSOLUTE
        return np.zeros(GRID.size) if absolute else np.asarray(WHITE_SLOPE * np.log(550 / GRID))


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
    hidden: Hidden | None = None,
) -> Problem:
    """Lay out the problem.

    Parameters
    ----------
    readings : sequence of CardReadings
    tubes : mapping of nickname to Tube
    settings : FitSettings
    known : Coefficients, optional
        Paints whose K and S are given; these belong to their own surface record and dry volume.
    hidden : collection of (card, step), optional
        Brushed films that nothing of their substrate is seen through; by default those whose
        readings over black and over white don't differ.

    Returns
    -------
    Problem

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
    scale = known.scale if known else _scale(cards)
    rows = Rows(paints, settings, model, relative=scale != ABSOLUTE, hidden=hidden)
    for each in readings:
        rows.add(each)
    if not rows.patches:
        raise InputError(None, None, "no card has a readable patch", "read the cards first")
    given = known.paints if known else ()
    rows.share(tubes, given)
    problem = Problem(
        paints=paints,
        hubs=_hubs(cards, paints, known),
        fractions=np.array(rows.fractions),
        film=np.array(rows.film),
        brushed=np.array(rows.brushed),
        uneven=np.array(rows.uneven),
        log_thickness=np.array(rows.log_thickness),
        solids_count=np.array(rows.solids_count),
        weighing=rows.weighing,
        dry_volume=np.array([tubes[p].dry_volume for p in paints]),
        inverse_density=np.array([1 / tubes[p].wet_density for p in paints]),
        surface_offset=np.zeros(len(paints)),
        crowding=np.full(len(paints), settings.crowding),
        nuisances=tuple(rows.nuisances),
        patches=tuple(rows.patches),
        drawdown=np.array([p.drawdown for p in rows.patches]),
        measured=np.array(rows.measured),
        variance=np.array(rows.variance),
        bare=np.array(rows.bare),
        bare_variance=np.array(rows.bare_variance),
        surfaces=tuple(rows.surfaces),
        scale=scale,
        wavelengths=GRID,
        model=model,
    )
    return problem if known is None else _as_known(problem, known)


def _as_known(problem: Problem, known: Coefficients) -> Problem:
    """The problem with the known paints' own surface record and dry volume."""
    beside = known.select([p for p in known.paints if p in problem.paints])
    at = [problem.paints.index(p) for p in beside.paints]
    volume, inverse, offset, crowding = np.array(
        [problem.dry_volume, problem.inverse_density, problem.surface_offset, problem.crowding]
    )
    volume[at], inverse[at], offset[at], crowding[at] = (
        beside.dry_volume,
        1 / beside.density,
        beside.surface_offset,
        beside.crowding,
    )
    surfaces = tuple(replace(s, k2=known.surface.k2, n=known.surface.n) for s in problem.surfaces)
    return replace(
        problem,
        dry_volume=volume,
        inverse_density=inverse,
        surface_offset=offset,
        crowding=crowding,
        surfaces=surfaces,
    )


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
    """Inside reflectance of the substrate under each patch, (N, W); negative values stay.

    Parameters
    ----------
    problem : Problem
    k2 : float, optional
        In place of the surface's.

    Returns
    -------
    (N, W) array
    """
    out = np.empty_like(problem.bare)
    for i, surface in enumerate(problem.surfaces):
        # The sealed card is glossy whatever the paint on it: its haze is none.
        card = replace(surface, gloss="gloss", haze=0.0, k2=surface.k2 if k2 is None else k2)
        out[i] = to_inside(problem.bare[i], card)
    return out
