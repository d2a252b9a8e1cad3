"""Light that lies on most of a patch is told by the even white that it adds."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.cards.box import Box
from tintladder.calibrate.scan.sample import Sample, Site, clean
from tintladder.calibrate.scan.shine import light_on

WHITE = np.array([0.8, 0.82, 0.78])
FILM = np.array([0.05, 0.12, 0.3])


def sample(cells):
    """An invented patch of 18 by 54 cells, with the grain of a picture."""
    grain = np.random.default_rng(3).normal(0, 0.002, cells.shape)
    cells = cells + grain
    kept = clean(cells, np.full(cells.shape, 0.002))
    return Sample(Site("1:1/black", Box(0, 0, 30, 12)), np.zeros((18, 54, 2)), cells, kept,
                  np.zeros(3), np.zeros(3))  # fmt: skip


def lit(more, columns):
    cells = np.tile(FILM, (18, 54, 1))
    cells[:, :columns] += more
    return sample(cells)


@pytest.mark.parametrize("share", [0.06, 0.2, 0.6])
def test_light_on_most_of_a_patch_is_told_with_how_much_it_is(share):
    found = light_on(lit(share * WHITE, 47), lambda v: v, WHITE)
    assert found == pytest.approx(share, rel=0.1)


def test_light_on_what_was_left_out_is_nothing_to_tell():
    assert light_on(lit(0.3 * WHITE, 6), lambda v: v, WHITE) == 0.0


def test_a_patch_that_is_even_and_dust_are_nothing():
    assert light_on(lit(0.0, 54), lambda v: v, WHITE) == 0.0
    cells = np.tile(FILM, (18, 54, 1))
    cells[3:6, 3:6] = 0.01
    assert light_on(sample(cells), lambda v: v, WHITE) == 0.0


def test_a_part_of_another_colour_is_no_light():
    """A thin place over white: more of one channel than of another."""
    assert light_on(lit(np.array([0.3, 0.2, 0.05]), 47), lambda v: v, WHITE) == 0.0
