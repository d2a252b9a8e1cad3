"""What drawdowns that nobody painted yet would tell, from the forward model's slopes alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...cards.card import SUBSTRATES, Card, Drawdown
from ...cards.readings import CardReadings
from ...optics.colour import lab, lab_jacobian
from ...optics.colour_difference import ciede2000_metric
from ...optics.spectra import GRID, Array, Spectra
from ...optics.surface import Surface
from ..minimise import smooth_prior
from ..problem.arrays import Problem, build
from ..problem.noise import reading_sd
from ..problem.rows import Ints
from ..problem.settings import FitSettings
from ..problem.tube import Tube
from ..solver.forward import Block
from ..solver.solve import solve
from ..uncertainty.model_errors import first_weight, full_weight

Mask = NDArray[np.bool_]

PLANNED, TARGET = "planned card", "painted later"
"""Cards of the drawdowns to choose from, and of those to be predicted."""
TARGETS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Masstone and tints that are to be predicted well, all counted alike."""
SHADES = (0.005, 0.01, 0.03, 0.1)
"""Black's share by weight of the shades that are to be predicted too, where a black is at hand."""
BLACK_SPREAD = 0.4
"""Standard deviation of how strongly a black acts on this paint, in logs: on measured oil paints
(tests/opendata/oil_paints_2018) 0.6 to 2.5 times as strongly as white tints say, by partner."""
DRIFT = 2.5
"""Drift of log K with each doubling of the mix, in `two_flux_spread`: one part in ten by default,
as between neighbouring tints (root mean square) of the virtual paint lab's error-free ladders."""
REPEATS = 2
"""How often each patch will be read."""


def drift(one: Array, other: Array) -> Array:
    """Covariance of the drift at two levels, in squares of `two_flux_spread`: a random walk's.

    Parameters
    ----------
    one : (N,) array
        Level of the one.
    other : (N,) array
        Level of the other.

    Returns
    -------
    (N,) array
    """
    result: Array = DRIFT**2 * np.minimum(one, other)
    return result


@dataclass(frozen=True)
class Scene:
    """Information about Z unknowns: log K, log S, and the nuisance values that drawdowns share.

    Beside the errors that a fit allows for, which are independent from mix to mix, stands what
    two fluxes get wrong of a mix and of its neighbours alike: it drifts as white is added (see
    `drift`). The fit doesn't know it, but a ladder can be laid out against it. So it is with a
    black: how strongly it acts on this paint is unsure by `BLACK_SPREAD`, alike in every shade, and
    a shade that was painted shows it. The black itself is known, so it has no unknowns here.

    Attributes
    ----------
    base : (Z, Z) array
        Priors and what was read already.
    each : (C, Z, Z) array
        Of each planned drawdown, its own nuisance values integrated out.
    target : (T, 3, Z) array
        Slope of each target's colour, scaled so that its square is the square of CIEDE2000.
    pull, base_pull : (C, Z), (B, Z) array
        What an error of one `two_flux_spread` in a drawdown adds to the fit's right-hand side.
    target_pull : (T, 3) array
        What it does to a target's own colour.
    level, base_level, target_level : (C,), (B,), (T,) array
        Doublings of the paint by what it is mixed with; 0 is the masstone.
    black_pull, target_black_pull : (C, Z), (T, 3) array
        The same of one `BLACK_SPREAD`.
    base_black_pull : (Z,) array
        Of all that was read already.
    paint : slice
        The paint's log K and log S.
    """

    base: Array
    each: Array
    target: Array
    pull: Array
    base_pull: Array
    target_pull: Array
    level: Array
    base_level: Array
    target_level: Array
    black_pull: Array
    base_black_pull: Array
    target_black_pull: Array
    paint: slice

    def information(self, chosen: Sequence[int]) -> Array:
        """Information with the chosen drawdowns, (Z, Z)."""
        result: Array = self.base + self.each[list(chosen)].sum(axis=0)
        return result

    def square(self, sets: Ints) -> Array:
        """Expected square of CIEDE2000 of each target, (S, T), with each of S sets of n drawdowns.

        Parameters
        ----------
        sets : (S, n) int array
            Planned drawdowns, each at most once in a set.
        """
        member = np.zeros((len(sets), len(self.each)))
        np.put_along_axis(member, sets, 1.0, axis=1)
        information = self.base + np.tensordot(member, self.each, 1)
        pull, level = self.pull[sets], self.level[sets]
        size, n_t = len(sets), len(self.target)
        flat = self.target.reshape(-1, self.base.shape[0])
        response = np.linalg.solve(information, np.broadcast_to(flat.T, (size, *flat.T.shape)))
        noise = np.einsum("szf,fz->sf", response, flat).reshape(size, n_t, 3).sum(axis=2)
        pull = np.concatenate(
            [np.broadcast_to(self.base_pull, (size, *self.base_pull.shape)), pull], 1
        )
        moved = (pull @ response).transpose(0, 2, 1).reshape(size, n_t, 3, -1)
        drawn = np.concatenate(
            [np.broadcast_to(self.base_level, (size, self.base_level.size)), level], axis=1
        )
        among = drift(drawn[:, None, :], drawn[:, :, None])[:, None]
        across = drift(drawn[:, None, :], self.target_level[None, :, None])
        strayed = ((moved @ among) * moved).sum(axis=(2, 3))
        strayed -= 2 * np.einsum("stin,stn,ti->st", moved, across, self.target_pull, optimize=True)
        strayed += drift(self.target_level, self.target_level) * (self.target_pull**2).sum(axis=1)
        blacker = (self.base_black_pull + self.black_pull[sets].sum(axis=1))[:, None] @ response
        seen = blacker.reshape(size, n_t, 3) - self.target_black_pull
        strayed += (seen**2).sum(axis=2)
        result: Array = noise + strayed
        return result

    def covariance(self, chosen: Sequence[int]) -> Array:
        """Covariance of the paint's log K, then log S, as a fit would report it, (2 W, 2 W)."""
        whole = np.asarray(np.linalg.inv(self.information(chosen)), dtype=float)
        return whole[self.paint, self.paint]


@dataclass(frozen=True)
class Expected:
    """How well a paint would be known.

    Attributes
    ----------
    de00 : float
        Root mean square CIEDE2000 (D50/2 deg) by which masstone and tints would be mispredicted,
        and shades where a black is at hand.
    by_target : tuple of (float, float)
        White to colour, and the same for that mix alone.
    shades : float
        The same for all shades alone; NaN without a black.
    k, s : float
        Relative standard uncertainty of K and of S as the fit would report it, root mean square
        over wavelengths.
    bits : float
        Log determinant of the covariance of log K and log S, halved: it falls by one with each
        halving of one uncertainty.
    """

    de00: float
    by_target: tuple[tuple[float, float], ...]
    shades: float
    k: float
    s: float
    bits: float


def expected(scenes: Sequence[Scene], chosen: Sequence[int]) -> Expected:
    """How well the paint would be known with some of the planned drawdowns, over all scenes.

    Parameters
    ----------
    scenes : sequence of Scene
        Guesses of what the paint may be.
    chosen : sequence of int
        Places of the planned drawdowns.

    Returns
    -------
    Expected
    """
    sets = np.array([chosen], dtype=int)
    square = np.mean([s.square(sets)[0] for s in scenes], axis=0)
    covariance = [s.covariance(chosen) for s in scenes]
    relative = np.mean([np.diag(c).reshape(2, -1).mean(axis=1) for c in covariance], axis=0)
    bits = np.mean([np.linalg.slogdet(c)[1] for c in covariance]) / (2 * np.log(2))
    tints = square[: len(SUBSTRATES) * len(TARGETS)].reshape(len(TARGETS), -1)
    shades = square[tints.size :]
    by_ratio = np.sqrt(tints.mean(axis=1))
    return Expected(
        float(np.sqrt(square.mean())),
        tuple((ratio, float(d)) for ratio, d in zip(TARGETS, by_ratio, strict=True)),
        float(np.sqrt(shades.mean())) if shades.size else np.nan,
        float(np.sqrt(relative[0])),
        float(np.sqrt(relative[1])),
        float(bits),
    )


def unpainted(
    name: str,
    drawdowns: Sequence[Drawdown],
    bare: Mapping[str, Array],
    balance_g: float,
    surface: Surface,
) -> CardReadings:
    """A card that nobody painted yet; its readings only hold the place of those to come.

    Parameters
    ----------
    name : str
    drawdowns : sequence of Drawdown
    bare : mapping of substrate to (W,) array
        Its reflectance.
    balance_g : float
        Last digit of the balance, g.
    surface : Surface

    Returns
    -------
    CardReadings
    """
    card = Card(name, f"{name}.toml", tuple(drawdowns), balance_g=balance_g)
    values = np.full((len(card.patches), GRID.size), 0.5)
    for i, over in enumerate(SUBSTRATES):
        values[i] = bare[over]
    spectra = Spectra.from_values(
        GRID,
        np.repeat(values, REPEATS, axis=0),
        [label for label in card.patches for _ in range(REPEATS)],
    )
    return CardReadings(card, spectra, surface, card.file)


def scene(
    cards: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    guess: Mapping[str, tuple[Array, Array]],
    settings: FitSettings,
    paint: str,
    nuisances: Mapping[str, float],
    black: str | None = None,
) -> Scene:
    """Work out what every drawdown of the cards tells, at guessed K and S.

    Parameters
    ----------
    cards : sequence of CardReadings
        Those named `PLANNED` and `TARGET` are still to be painted, the rest was read.
    tubes : mapping of nickname to Tube
    guess : mapping of nickname to (K, S)
    settings : FitSettings
    paint : str
    nuisances : mapping of name to value
        Nuisance values in prior standard deviations; 0 where unnamed.
    black : str, optional
        What shades are let down with; its K and S are taken as they are guessed.

    Returns
    -------
    Scene
    """
    problem = build(cards, tubes, settings)
    theta = np.log(np.array([guess[p] for p in problem.paints]))
    nu = np.array([nuisances.get(n.name, 0.0) for n in problem.nuisances])
    n_p, n_w = len(problem.paints), theta.shape[2]
    spectral_size = 2 * n_p * n_w
    every = np.arange(len(problem.patches))
    block = Block(problem, every, np.arange(n_p), 0, np.arange(nu.size), 0)
    fitted, spectral, scalar, _ = block.predict(theta[:, 0], theta[:, 1], nu)
    prior = smooth_prior(problem, theta, settings)
    here = solve(problem, theta, prior, first_weight(problem, settings), nu=nu, most=0)
    card = np.array([p.card for p in problem.patches])
    problem = _as_predicted(problem, np.isin(card, (PLANNED, TARGET)), fitted, settings)
    root = np.sqrt(full_weight(problem, here, settings))

    slopes = np.zeros((every.size, n_w, spectral_size + nu.size))
    index = np.arange(n_w)
    by_spectrum = slopes[..., :spectral_size].reshape(every.size, n_w, 2 * n_p, n_w)
    by_spectrum[:, index, :, index] = spectral.reshape(every.size, 2 * n_p, n_w).transpose(2, 0, 1)
    slopes[..., spectral_size:] = scalar.transpose(0, 2, 1)

    home = dict(zip(problem.drawdown.tolist(), card.tolist(), strict=True))
    on = [{home[d] for d in n.drawdowns} for n in problem.nuisances]
    single = np.array([len(n.drawdowns) == 1 for n in problem.nuisances])
    own = np.array([c == {PLANNED} for c in on]) & single
    kept = np.array([c != {TARGET} for c in on]) & ~own
    free = [p for p in range(n_p) if problem.paints[p] != black]
    spectra_of = np.arange(spectral_size).reshape(n_p, -1)
    z = np.concatenate([spectra_of[free].ravel(), spectral_size + np.flatnonzero(kept)])
    two_flux = {
        n.drawdowns[0]: spectral_size + m
        for m, n in enumerate(problem.nuisances)
        if n.kind == "two fluxes"
    }
    held = problem.fractions[:, problem.paints.index(paint)]
    # White alone has no drift: it is the paint's own absorption that drifts.
    level = -np.log2(np.where(held > 0, held, 1.0))

    base = np.eye(z.size)
    for j, p in enumerate(free):
        at = slice(2 * j * n_w, 2 * (j + 1) * n_w)
        base[at, at] = prior.precision[p]
    absorbs = spectra_of[problem.paints.index(black), :n_w] if black else spectra_of[0, :0]

    def weighted(drawdown: int) -> Array:
        rows = np.flatnonzero(problem.drawdown == drawdown)
        flat: Array = (slopes[rows] * root[rows][..., None]).reshape(-1, slopes.shape[2])
        return flat

    base_pull, each, pull, black_pull = [], [], [], []
    base_black_pull = np.zeros(z.size)
    known = _drawdowns(problem, ~np.isin(card, (PLANNED, TARGET)))
    planned = _drawdowns(problem, card == PLANNED)
    for d in known:
        a = weighted(d)
        base += a[:, z].T @ a[:, z]
        base_pull.append(a[:, z].T @ a[:, two_flux[d]])
        base_black_pull += BLACK_SPREAD * a[:, z].T @ a[:, absorbs].sum(axis=1)
    for d in planned:
        mine = [
            spectral_size + m for m in np.flatnonzero(own) if problem.nuisances[m].drawdowns[0] == d
        ]
        a = weighted(d)
        cross = a[:, z].T @ a[:, mine]
        reach = np.linalg.solve(np.eye(len(mine)) + a[:, mine].T @ a[:, mine], cross.T)
        each.append(a[:, z].T @ a[:, z] - cross @ reach)
        told = (a[:, z] - a[:, mine] @ reach).T
        pull.append(told @ a[:, two_flux[d]])
        black_pull.append(BLACK_SPREAD * told @ a[:, absorbs].sum(axis=1))

    rows = np.flatnonzero(card == TARGET)
    half = np.linalg.cholesky(ciede2000_metric(lab(fitted[rows])) + 1e-12 * np.eye(3))
    seen = np.einsum("ncj,ncw->njw", half, lab_jacobian(fitted[rows]))
    bent = np.stack([slopes[r, :, two_flux[int(problem.drawdown[r])]] for r in rows])
    blacker = BLACK_SPREAD * slopes[rows][..., absorbs].sum(axis=2)
    i = free.index(problem.paints.index(paint))
    return Scene(
        base=base,
        each=np.array(each),
        target=seen @ slopes[rows][..., z],
        pull=np.array(pull),
        base_pull=np.array(base_pull).reshape(len(known), z.size),
        target_pull=np.einsum("njw,nw->nj", seen, bent),
        level=level[planned],
        base_level=level[known],
        target_level=level[problem.drawdown[rows]],
        black_pull=np.array(black_pull),
        base_black_pull=base_black_pull,
        target_black_pull=np.einsum("njw,nw->nj", seen, blacker),
        paint=slice(2 * i * n_w, 2 * (i + 1) * n_w),
    )


def _drawdowns(problem: Problem, rows: Mask) -> list[int]:
    """Drawdowns of those rows, each once, in the order of the cards."""
    return list(dict.fromkeys(problem.drawdown[rows].tolist()))


def _as_predicted(problem: Problem, ahead: Mask, fitted: Array, settings: FitSettings) -> Problem:
    """Let the patches ahead be read just as predicted, with the noise of such a reading."""
    variance = reading_sd(fitted, settings) ** 2 / REPEATS
    return replace(
        problem,
        measured=np.where(ahead[:, None], fitted, problem.measured),
        variance=np.where(ahead[:, None], variance, problem.variance),
    )
