"""Coefficients of several fits as one: what they share, what they don't, and what never mixes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import CalibrateDo, InputError
from tintladder.calibrate.fit.uncertainty.propagate import covariance_of
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.surface import Surface
from tintladder.calibrate.optics.transport import TRANSPORT

from .invented_palette import invented_coefficients

W = 36


def part(names: tuple[str, ...], factors: dict[str, float], own: int = 1, seed: int = 0):
    """Paints each of whose K and S move by so much with each shared factor."""
    made = invented_coefficients(len(names), seed)
    shape = (len(names), 2, W)
    return replace(
        made,
        paints=names,
        local=np.broadcast_to(0.01 * np.eye(2)[:, :, None], (len(names), 2, 2, W)).copy(),
        own=np.full((len(names), own, 2, W), 0.5),
        factors=np.array([np.full(shape, size) for size in factors.values()]),
        factor_names=tuple(factors),
        mix_error=np.full(len(names), 0.02 + 0.01 * seed),
    )


LEFT = part(("KEEL", "HULL"), {"fit 1: white": 2.0, "fit 1: gap": 0.1}, own=3)
RIGHT = part(("BUOY",), {"fit 2: gap": 0.3, "fit 1: white": -1.0}, seed=1)


def test_every_paint_keeps_all_that_is_its_own():
    both = Coefficients.concat([LEFT, RIGHT])
    assert both.paints == ("KEEL", "HULL", "BUOY")
    for one in (LEFT, RIGHT):
        again = both.select(one.paints)
        for name in ("k", "s", "local", "dry_volume", "density", "mix_error", "surface_offset"):
            np.testing.assert_array_equal(getattr(again, name), getattr(one, name), name)
        np.testing.assert_allclose(again.covariance, one.covariance)
    assert both.own.shape == (3, 3, 2, W) and not both.own[2, 1:].any()


def test_a_factor_that_both_name_is_one_and_others_are_apart():
    both = Coefficients.concat([LEFT, RIGHT])
    assert both.factor_names == ("fit 1: white", "fit 1: gap", "fit 2: gap")
    slopes = np.zeros((2, 3, 2, W))
    slopes[0, 0, 0, 5] = slopes[1, 2, 0, 5] = 1.0  # K of KEEL and of BUOY at one wavelength
    found = covariance_of(both, slopes)
    # Only the white is common: 2.0 times -1.0.
    assert found[0, 1] == pytest.approx(-2.0)
    assert found[0, 0] == pytest.approx(0.01 + 3 * 0.25 + 4.0 + 0.01)
    assert found[1, 1] == pytest.approx(0.01 + 0.25 + 0.09 + 1.0)
    apart = Coefficients.concat([LEFT, replace(RIGHT, factor_names=("fit 2: gap", "fit 2: white"))])
    assert covariance_of(apart, slopes)[0, 1] == 0


def test_the_larger_model_error_holds_for_all():
    low, high = np.linspace(0, 0.02, W), np.linspace(0.02, 0, W)
    both = Coefficients.concat([replace(LEFT, model_error=low), replace(RIGHT, model_error=high)])
    np.testing.assert_array_equal(both.model_error, np.maximum(low, high))


def test_one_part_is_itself():
    alone = Coefficients.concat([LEFT])
    np.testing.assert_array_equal(alone.factors, LEFT.factors)
    assert alone.factor_names == LEFT.factor_names and alone.paints == LEFT.paints


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"scale": "relative to HULL"}, r"scale \(absolute; relative to HULL\)"),
        ({"surface": Surface.of("45:0")}, "surface record"),
        ({"wavelengths": LEFT.wavelengths + 5}, "wavelengths"),
        ({"model": TRANSPORT}, r"model \(two-flux; transport\)"),
    ],
)
def test_what_does_not_mix_is_refused(changes, what):
    with pytest.raises(
        InputError, match=f"KEEL, HULL and BUOY: their fits differ in {what}"
    ) as met:
        Coefficients.concat([LEFT, replace(RIGHT, **changes)])
    assert met.value.do == CalibrateDo.FIT_TOGETHER()
