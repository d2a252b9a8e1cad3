"""A picture whose exposure, gamma, curve or white balance changed is set right, or refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.scan.curve import decoded
from tintladder.calibrate.scan.own_check import Mended, own_check
from tintladder.calibrate.scan.reading import read_scan

from .bench.scan import characterised, picture_of
from .lab.render import srgb_encoded
from .lab.scans import truth
from .test_scan_card import CARD, QUICK, scan_of, spectra


def changed(change, seed=1):
    """The card's picture after its software changed its encoded values."""
    pixels = scan_of(seed=seed).pixels
    values = np.clip(change(pixels / 65535.0), 0, 1)
    return picture_of(np.round(values * 65535).astype(np.uint16), "TIFF", 300.0)


def exposed(share):
    return lambda v: srgb_encoded(np.asarray(share) * decoded("sRGB", v))


def gamma(power):
    return lambda v: v**power


def contrast(v):
    return v + 0.06 * np.sin(2 * np.pi * (v - 0.5)) * -1.0


def read(picture, **said):
    return read_scan(picture, CARD, QUICK, {}, characterised("flatbed"), **said)


@cache
def before():
    """References as another picture of another seed showed them."""
    return read(scan_of(seed=4)).references


def off(scan):
    true = truth(CARD, QUICK, spectra())
    return ciede2000(scan.lab, lab(np.array([true[label] for label in scan.channels.labels])))


def test_a_sound_picture_is_left_alone():
    for said in ({}, {"before": {False: before()}}, {"grey": 0.2}):
        assert not read(scan_of(), **said).mended


@pytest.mark.parametrize("share", [0.5, (0.7, 0.8, 1.0)], ids=["half", "tinted"])
def test_exposure_and_balance_are_set_right_by_the_white(share):
    scan = read(changed(exposed(share)))
    assert "exposure" in scan.mended[0] and "painted white" in scan.mended[0]
    assert scan.scale == "white" and scan.channels.level == pytest.approx(0.047, abs=0.001)
    assert off(scan).max() < 6


@pytest.mark.parametrize(
    "change",
    [exposed(0.5), exposed((0.8, 0.9, 1.0)), gamma(1.15), gamma(0.87), contrast],
    ids=["half", "tinted", "darker", "lighter", "contrast"],
)
def test_what_other_pictures_showed_sets_all_of_it_right(change):
    scan = read(changed(change), before={False: before()})
    assert len(scan.mended) == 1 and "printed tones" in scan.mended[0]
    assert scan.scale == "tones"
    assert off(scan).max() < 5 and off(scan).mean() < 1.6


def test_a_known_grey_shows_a_gamma():
    scan = read(changed(gamma(1.25)), grey=0.2)
    assert "power of 1.2" in scan.mended[0] or "power of 1.1" in scan.mended[0]
    assert off(scan).mean() < 0.5 * off(read(changed(gamma(1.25)), before=None)).mean()


def test_raised_darks_are_refused():
    with pytest.raises(InputError, match="the printed tones: they rise by a power of"):
        read(changed(gamma(0.5)))
    with pytest.raises(InputError, match="no black is: dark tones were raised"):
        own_check({"bare/black": np.full(3, 0.2)}, None, True, None, "scan.tif")
    with pytest.raises(InputError, match="the exposure is far off"):
        read(changed(exposed(0.1)))


def test_another_printer_is_no_change_of_the_picture():
    other = {k: v**1.3 if k.startswith("tone") else v for k, v in before().items()}
    scan = read(scan_of(), before={False: other})
    assert "though its painted bands are: nothing was changed" in scan.mended[0]
    np.testing.assert_array_equal(scan.channels.channels, read(scan_of()).channels.channels)
    assert scan.scale == "device"


def test_a_veil_of_light_is_told_and_taken_away():
    """An even light on everything, as of a dirty lens: darks rise most."""
    veiled = changed(lambda v: srgb_encoded(0.95 * decoded("sRGB", v) + 0.05))
    scan = read(veiled, before={False: before()})
    assert "a veil of light lies over it (5%" in scan.mended[0]
    assert off(scan).max() < 5 < off(read(veiled)).max()


def test_enhanced_colours_are_told_by_what_little_colour_the_references_have():
    plain = {
        "bare/black": np.array([0.014, 0.016, 0.015]),
        "bare/white": np.array([0.83, 0.84, 0.80]),
        **{f"tone/{t:g}": np.array([0.99, 1.0, 0.97]) * (0.05 + 0.9 * t) for t in (0, 0.3, 0.6, 1)},
    }

    def livelier(times):
        return {k: np.exp(np.log(v).mean() + times * (np.log(v) - np.log(v).mean()))
                for k, v in plain.items()}  # fmt: skip

    (said,) = own_check(livelier(1.9), None, True, plain, "card.jpg").said
    assert "1.9 times as far from grey" in said and "saturation was enhanced" in said
    assert own_check(livelier(1.2), None, True, plain, "card.jpg").said == ()
    grey = {k: np.full(3, v.mean()) for k, v in plain.items()}
    assert own_check(grey, None, True, grey, "card.jpg").said == ()


def test_pictures_on_a_typical_white_are_held_against_their_like():
    scan = read(changed(gamma(1.15)), before={True: before()})
    assert "printed tones" not in " ".join(scan.mended)


def test_a_card_without_a_bare_white_is_read():
    patches = tuple(p for p in QUICK.patches if (p.step, p.over) != (0, "white"))
    scan = read_scan(scan_of(), CARD, replace(QUICK, patches=patches), {}, characterised("flatbed"))
    assert "bare/white" not in scan.channels.labels
    assert not [said for _, said in scan.flags if "even white" in said]


def test_values_set_right():
    seen = np.log(np.repeat([[0.05], [0.2], [0.5], [0.9]], 3, axis=1))
    mended = Mended((seen, 1.2 * seen), np.array([1.0, 1.1, 0.9]))
    at = np.array([[0.05, 0.2, 0.9], [-0.01, 0.5, 0.05]])
    meant = np.where(at > 0, np.abs(at) ** 1.2, at) * mended.gain
    np.testing.assert_allclose(mended(at), meant, rtol=1e-9)
    # Beyond an end, what is moved there is moved as far.
    assert mended(np.full((1, 3), 0.01))[0, 0] == pytest.approx(0.01 * 0.05**0.2)
    assert not own_check({}, None, True, None, "scan.tif").said
