"""The search for recipes: against scipy's solver from many starts, and against a fine sweep."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from scipy.optimize import minimize
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.colour_difference import ciede2000_residual
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.palette import Palette, lab_slopes, to_lab
from tintladder.database.mixing.search import lattice, search

from tests.invented_palette import by_transport, invented_coefficients

PALETTE = Palette(invented_coefficients(8))
PALETTES = (PALETTE, Palette(by_transport(PALETTE.coefficients)))
BOTH = pytest.mark.parametrize("palette", PALETTES, ids=["two-flux", "transport"])


def targets(palette: Palette, count: int, seed: int) -> np.ndarray:
    """Half can be mixed, half may not."""
    rng = np.random.default_rng(seed)
    half = count // 2
    mixed = palette.lab(rng.dirichlet(np.full(len(palette.paints), 0.3), half))
    free = rng.uniform([20, -40, -40], [90, 40, 60], (count - half, 3))
    return np.concatenate([mixed, free])


def best_of_many(palette: Palette, tubes: np.ndarray, target: np.ndarray, seed: int) -> float:
    """Best CIEDE2000 that scipy's SLSQP finds from 12 starts, by the package's slow way."""
    rng, c = np.random.default_rng(seed), palette.coefficients
    few = c.select([c.paints[i] for i in tubes])

    def off(share: np.ndarray) -> float:
        share = np.maximum(share, 0) / np.maximum(share, 0).sum()
        made = palette.strength[tubes]
        by_volume = share / made
        return float(ciede2000(predict(few, by_volume[None] / by_volume.sum()).lab()[0], target))

    size, found = len(tubes), []
    for start in [np.full(size, 1 / size), *rng.dirichlet(np.full(size, 0.5), 11)]:
        found.append(
            minimize(
                off, np.clip(start, 1e-4, 1), method="SLSQP", bounds=[(0, 1)] * size,
                constraints=[{"type": "eq", "fun": lambda x: x.sum() - 1}],
            ).fun
        )  # fmt: skip
    return min(found)


@BOTH
def test_palette_predicts_as_every_user_does(palette):
    rng = np.random.default_rng(1)
    shares = np.concatenate([rng.dirichlet(np.ones(8), 50), rng.dirichlet(np.full(8, 0.1), 50)])
    said = predict(palette.coefficients, shares).reflectance
    np.testing.assert_allclose(palette.reflectance(shares), said, atol=1e-12)
    # By transport the search has a polynomial for the table.
    near = 1e-9 if palette is PALETTE else 3e-3
    np.testing.assert_allclose(palette.lab(shares), lab(said), atol=near)


@BOTH
def test_slopes_are_those_of_small_steps(palette):
    optics, shares = palette.optics[np.float64], np.random.default_rng(2).dirichlet(np.ones(8), 5)
    x, dx = optics.xyz_and_slopes(shares)
    got = lab_slopes(x, dx)
    for p in range(8):
        step = np.zeros(8)
        step[p] = 1e-6
        up, down = (np.array(to_lab(optics.xyz(shares + s))) for s in (step, -step))
        np.testing.assert_allclose(got[:, :, p], (up - down) / 2e-6, rtol=1e-5, atol=1e-4)


def test_ciede2000_as_a_vector_has_its_length():
    rng = np.random.default_rng(3)
    one, other = rng.uniform([0, -90, -90], [100, 90, 90], (2, 5000, 3))
    one[:50, 1:] = 0  # greys have no hue
    other[:50] = one[:50]
    length = np.linalg.norm(ciede2000_residual(one, other), axis=1)
    np.testing.assert_allclose(length, ciede2000(one, other), atol=1e-5)


@pytest.mark.parametrize(("palette", "trials"), [(PALETTES[0], 24), (PALETTES[1], 8)])
def test_every_set_is_solved_to_its_optimum(palette, trials):
    """Against scipy's SLSQP from twelve starts, on random sets and targets."""
    goals = targets(palette, 6, 4)
    found = search(palette, goals)
    rng = np.random.default_rng(5)
    for trial in range(trials):
        solved = found[int(rng.integers(1, 4))]
        t, row = int(rng.integers(len(goals))), int(rng.integers(len(solved.tubes)))
        best = best_of_many(palette, solved.tubes[row], goals[t], trial)
        if best < 20:  # where hues are opposite CIEDE2000 itself jumps
            assert solved.difference[t, row] <= best + 0.05


def test_pairs_against_a_fine_sweep():
    (goal,) = targets(PALETTE, 2, 6)[:1]
    pairs = search(PALETTE, goal, 2)[1]
    counted = np.concatenate([np.linspace(0, 1, 2001), np.geomspace(1e-5, 1e-3, 200)])
    for row, tubes in enumerate(pairs.tubes):
        both = np.concatenate([[counted, 1 - counted], [1 - counted, counted]], axis=1).T
        dense = np.zeros((len(both), 8))
        dense[:, tubes] = PALETTE.to_shares(both, tubes)
        assert pairs.difference[0, row] <= ciede2000(PALETTE.lab(dense), goal).min() + 0.01


def test_differences_are_those_of_the_shares():
    goals = targets(PALETTE, 4, 7)
    for solved in search(PALETTE, goals):
        np.testing.assert_allclose(solved.shares.sum(axis=2), 1)
        assert (solved.shares >= 0).all()
        dense = np.zeros((len(solved.tubes), 8))
        for t, goal in enumerate(goals):
            dense[:] = 0
            np.put_along_axis(dense, solved.tubes, solved.shares[t], axis=1)
            off = ciede2000(PALETTE.lab(dense), goal)
            np.testing.assert_allclose(off, solved.difference[t], atol=1e-4)


def test_more_tubes_never_do_worse():
    goals = targets(PALETTE, 4, 8)
    found = search(PALETTE, goals)
    for fewer, more in pairwise(found):
        place = {tuple(t): i for i, t in enumerate(fewer.tubes)}
        for row, tubes in enumerate(more.tubes):
            for face in combinations(tubes, len(tubes) - 1):
                least = fewer.difference[:, place[face]]
                assert (more.difference[:, row] <= least + 1e-9).all()


def test_a_mix_is_found_again():
    shares = np.random.default_rng(9).dirichlet(np.ones(8), 1)
    shares[0, 4:] = 0
    shares /= shares.sum()
    solved = search(PALETTE, PALETTE.lab(shares))[3]
    row = int(np.flatnonzero((solved.tubes == [0, 1, 2, 3]).all(axis=1))[0])
    assert solved.difference[0, row] < 0.01


def test_wavelengths_that_a_paint_lacks_are_left_out():
    c = invented_coefficients(3)
    c.k[1, :2] = c.s[1, :2] = np.nan
    shares = np.array([[0.5, 0.3, 0.2]])
    expected = lab(predict(c, shares).reflectance)
    np.testing.assert_allclose(Palette(c).lab(shares), expected, atol=1e-9)
    c.k[2, 10:] = np.nan
    with pytest.raises(InputError, match="overlap"):
        Palette(c).lab(shares)


def test_lattice_is_whole():
    assert len(lattice(2)) == 23 and lattice(4).shape[1] == 4
    np.testing.assert_allclose(lattice(3).sum(axis=1), 1)
    assert (lattice(4) > 0).all() and GRID.size == 36
