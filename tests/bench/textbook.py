"""The textbook's ways, on the same readings: how much further they miss held-out mixtures.

Both opaque ways take a step's reflectance as the mean of black and white, and predict the same over
either: that is what painting by eye until it covers amounts to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.kubelka_munk import k_over_s, opaque_reflectance
from tintladder.calibrate.optics.spectra import Array

from tests.heldout import Model, differences

from .fit import heldout
from .harness import benchmark
from .per_wavelength import by_loop
from .worlds import world

Way = Callable[[Sequence[CardReadings], Mapping[str, Tube]], Model]
ONE_TINT = 4.0
"""White to colour of the one tint: the step nearest to it."""
FLOOR = 1e-4
"""K/S of a paint and S relative to white are kept above this."""


def _steps(readings: CardReadings) -> tuple[Array, Array]:
    """Mass fraction of the card's own paint in each step (D,), and K/S read of it (D, W)."""
    made = composition(readings.card)
    paint = readings.card.drawdowns[0].paint
    assert paint is not None
    rows = [
        np.concatenate([readings.rows(f"{d.step}/{over}") for over in d.over])
        for d in readings.card.drawdowns
    ]
    read = np.array([readings.spectra.values[r].mean(axis=0) for r in rows])
    return made.fractions[:, made.paints.index(paint)], k_over_s(read)


def _opaque_model(k: Mapping[str, Array], s: Mapping[str, Array]) -> Model:
    """K and S relative to white, by mass fraction."""

    def model(masses: Sequence[Mapping[str, float]], thickness: Array, bare: Array) -> Array:
        made = []
        for mix in masses:
            whole = sum(mix.values())
            made.append(
                opaque_reflectance(
                    sum(m / whole * k[p] for p, m in mix.items()),
                    sum(m / whole * s[p] for p, m in mix.items()),
                )
            )
        return np.array(made)

    return model


def single_constant(readings: Sequence[CardReadings], tubes: Mapping[str, Tube]) -> Model:
    """K/S of a mix is white's plus each paint's share times its own unit K/S (Duncan 1940).

    White alone is taken to scatter; the unit K/S is the least-squares slope over the tints. A mix
    without white is taken for the mean of its masstones' K/S, the most that the way allows.
    """
    tint_k, masstone_k = {}, {}
    white, base = _white(readings)
    for r in readings:
        paint = r.card.drawdowns[0].paint
        assert paint is not None
        share, ratio = _steps(r)
        masstone_k[paint] = base if paint == white else ratio[0]
        if paint == white:
            tint_k[paint] = base
            continue
        # Per part of white, for white scatters alone; the masstone has none of it.
        tint = share < 1
        parts = (share / np.where(tint, 1 - share, 1.0))[tint, None]
        slope = (parts * (ratio[tint] - base)).sum(axis=0) / (parts**2).sum()
        tint_k[paint] = np.maximum(slope, FLOOR)
    one = np.ones(base.size)
    in_white = _opaque_model(tint_k, {p: one * (p == white) for p in tint_k})
    alone = _opaque_model(masstone_k, {p: one for p in masstone_k})

    def model(masses: Sequence[Mapping[str, float]], thickness: Array, bare: Array) -> Array:
        with_white = np.array([white in mix for mix in masses])
        out = np.empty((len(masses), base.size))
        for rows, way in ((with_white, in_white), (~with_white, alone)):
            here = [mix for mix, row in zip(masses, rows, strict=True) if row]
            if here:
                out[rows] = way(here, thickness[rows], bare)
        return out

    return model


def two_constant(readings: Sequence[CardReadings], tubes: Mapping[str, Tube]) -> Model:
    """K and S relative to white from masstone and one tint, surface uncorrected."""
    k, s = {}, {}
    white, base = _white(readings)
    for r in readings:
        paint = r.card.drawdowns[0].paint
        assert paint is not None
        if paint == white:
            k[paint], s[paint] = base, np.ones(base.size)
            continue
        share, ratio = _steps(r)
        tint = int(np.argmin(np.abs((1 - share) / share - ONE_TINT)))
        c, a, b = share[tint], ratio[0], ratio[tint]
        # (c A S + (1 - c) K_w) / (c S + 1 - c) = B, white's S being 1.
        with np.errstate(divide="ignore", invalid="ignore"):
            solved = (1 - c) * (b - base) / (c * (a - b))
        s[paint] = np.where(np.isfinite(solved), np.clip(solved, FLOOR, 1e3), FLOOR)
        k[paint] = a * s[paint]
    return _opaque_model(k, s)


def _white(readings: Sequence[CardReadings]) -> tuple[str, Array]:
    """White's nickname, and its K/S from its thickest drawdown."""
    white = next(d.white for r in readings for d in r.card.drawdowns if d.white)
    card = next(r for r in readings if r.card.drawdowns[0].paint == white)
    thickest = int(np.argmax([d.gap_um or 0.0 for d in card.card.drawdowns]))
    return white, _steps(card)[1][thickest]


WAYS: dict[str, Way] = {
    "single_constant": single_constant,
    "two_constant_one_tint": two_constant,
    "per_wavelength_loop": by_loop,
}


def ratio(way: Way, noisy: bool) -> float:
    """Mean CIEDE2000 of a textbook way over ours, on the same mixtures."""
    theirs = [differences(way(w.cards, w.tubes), w.mixtures) for w in world("nominal", noisy)]
    return float(np.concatenate(theirs).mean() / heldout("nominal", noisy).mean)


for _name, _way in WAYS.items():
    for _noisy in (True, False):
        benchmark(
            f"fit.textbook_{_name}_{'noisy' if _noisy else 'exact'}",
            "its mean CIEDE2000 over ours",
            target=1.0,
            sense="at least",
        )(lambda way=_way, noisy=_noisy: ratio(way, noisy))
