"""From a scan to channels and colours: stray light, uneven light, the target, what was improved."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.scan.characterise import Characterised, expanded, lab_of
from tintladder.calibrate.scan.curve import Curve, decoded
from tintladder.calibrate.scan.find import find_card
from tintladder.calibrate.scan.improved import HALO, improvements, sharpening
from tintladder.calibrate.scan.reading import read_scan
from tintladder.calibrate.scan.sample import sample_all, sites
from tintladder.calibrate.scan.settings import Settings
from tintladder.calibrate.scan.stray import even_out
from tintladder.calibrate.scan.target import grid_found, read_target

from .bench.scan import characterised, picture_of
from .lab.render import SCANNER, SCANNER_8, Colours, Pose, render, srgb_encoded
from .lab.scans import COLUMNS, ROWS, grey, ladder, painted, target_scan, target_values, truth

QUICK = read_layout("quick-a5")
CARD = ladder("STARBOARD")


@cache
def spectra():
    return painted(CARD, QUICK, 11)


@cache
def scan_of(device=SCANNER, seed=1, dirt=1.0, turn=2.0, leave=()):
    patches = {key: r for key, r in spectra().items() if key[0] not in leave}
    rendered = render(
        QUICK, Colours(device, patches, grey()), device, Pose(110, turn), seed, dirt, 1
    )
    return picture_of(rendered.pixels, "TIFF", 300.0)


@pytest.mark.parametrize("base", ["sRGB", "linear"])
def test_decoding_undoes_encoding(base):
    v = np.linspace(0, 1, 101)
    encoded = srgb_encoded(v) if base == "sRGB" else v
    assert np.allclose(decoded(base, encoded), v, atol=1e-9)
    # IEC 61966-2-1, of a mid grey at code 188 of 255: 0.503 (also colour-science's eotf_sRGB).
    import colour

    assert np.allclose(decoded("sRGB", encoded), colour.models.eotf_sRGB(encoded)) or base != "sRGB"


def test_root_polynomial_keeps_hue_whatever_the_exposure():
    # Finlayson, Mackiewicz and Hurlbert 2015: terms grow in proportion to the light.
    rgb = np.array([[0.2, 0.5, 0.1], [0.7, 0.3, 0.4]])
    for degree in (1, 2, 3):
        assert np.allclose(expanded(0.37 * rgb, degree), 0.37 * expanded(rgb, degree))


def test_lab_of_tristimulus_is_that_of_spectra():
    from tintladder.calibrate.optics.colour import xyz

    r = np.stack([np.linspace(0.02, 0.9, GRID.size), np.full(GRID.size, 0.004)])
    assert np.allclose(lab_of(xyz(r)), lab(r))


@pytest.mark.parametrize("share", [0.0, 0.02, 0.04])
def test_stray_light_is_found_and_taken_away(share):
    device = replace(SCANNER, stray=share)
    picture = scan_of(device)
    found = find_card(picture, {QUICK.number: QUICK})
    samples = sample_all(picture, found, sites(QUICK))
    evened = even_out(picture, found, samples, Curve.plain())
    assert abs(evened.stray.share - share) < 0.02 and not evened.stray.typical
    labels = [s.site.label for s in samples]
    black = evened.values[labels.index("bare/black")] / device.gain
    true = device.linear(spectra()[0, "black"])
    raw = decoded("sRGB", samples[labels.index("bare/black")].middle) / device.gain
    assert np.abs(black - true).max() < 0.004
    if share == 0.04:
        assert np.abs(raw - true).max() > 0.010  # it was there to be taken away
    # The same grey reads the same on black and on white.
    greys = [evened.values[labels.index(f"grey/{over}")] for over in ("black", "white")]
    assert np.abs(greys[0] / greys[1] - 1).max() < 0.02


def test_uneven_light_is_taken_away():
    device = replace(SCANNER, stray=0.0, uneven=0.16)
    picture = scan_of(device, 5, 0.0)
    found = find_card(picture, {QUICK.number: QUICK})
    samples = sample_all(picture, found, sites(QUICK))
    evened = even_out(picture, found, samples, Curve.plain())
    names = {f"{k}/{o}": r for (k, o), r in spectra().items()}
    rows = [i for i, s in enumerate(samples) if s.site.label in names and s.middle.min() > 0.3]
    true = device.linear(np.array([names[samples[i].site.label] for i in rows])) * device.gain
    raw = decoded("sRGB", np.array([samples[i].middle for i in rows])) / true
    now = evened.values[rows] / true
    assert evened.uneven > 0.03
    assert np.ptp(now, axis=0).max() < 0.6 * np.ptp(raw, axis=0).max()
    assert (now.std(axis=0) / now.mean(axis=0)).max() < 0.012


def test_a_characterised_scanner_gives_true_channels_and_colours():
    device = characterised("flatbed")
    assert device.mean < 0.5 and device.sensors is not None
    true = SCANNER.sensitivities.T
    off = np.sqrt(((device.sensors.sensitivity - true) ** 2).mean(axis=1)) / true.max(axis=1)
    assert off.max() < 0.12  # a target of three dyes leaves some of it open
    scan = read_scan(scan_of(), CARD, QUICK, {}, device)
    assert scan.channels.labels[:2] == ("bare/black", "masstone/black")
    assert set(scan.channels.labels) == set(CARD.patches)
    spectral = truth(CARD, QUICK, spectra())
    r = np.array([spectral[label] for label in scan.channels.labels])
    difference = ciede2000(scan.lab, lab(r))
    # One card of one strong colour; the bench holds all paints to 0.8.
    assert difference.mean() < 1.2 and difference.max() < 2.5
    z = (scan.channels.channels - SCANNER.linear(r)) / np.sqrt(scan.channels.variance)
    assert np.sqrt((z**2).mean()) < 1.5
    assert scan.channels.surface.geometry == "45:0" and scan.scale == "device"
    assert {"grey/black", "tone/1"} <= set(scan.references)


def test_a_known_grey_sets_the_level_and_without_a_device_bands_widen():
    device = characterised("flatbed")
    plain = read_scan(scan_of(), CARD, QUICK, {})
    grey_set = read_scan(scan_of(), CARD, QUICK, {}, device, grey=0.2)
    assert plain.scale == "white" and grey_set.scale == "grey"
    greys = [v for label, v in grey_set.references.items() if label.startswith("grey")]
    assert np.allclose(np.mean(greys, axis=0), 0.2)
    assert plain.channels.variance.mean() > 3 * grey_set.channels.variance.mean()


def test_a_card_upside_down_simply_works():
    device = characterised("flatbed")
    upright, turned = (read_scan(scan_of(turn=t), CARD, QUICK, {}, device) for t in (2.0, 181.0))
    assert ciede2000(upright.lab, turned.lab).mean() < 0.5


def test_a_step_not_painted_is_told():
    picture = scan_of(leave=(3,))
    with pytest.raises(InputError, match=r"step 4:1: it isn't painted.*without step 4:1"):
        read_scan(picture, CARD, QUICK, {})
    scan = read_scan(picture, CARD, QUICK, {}, without=("4:1",))
    assert "4:1/black" not in scan.channels.labels and "1:1/black" in scan.channels.labels


def test_a_scan_with_other_settings_is_refused():
    device = characterised("flatbed")
    facts = scan_of().facts
    for change, words in (
        ({"dpi": 600.0}, "resolution is 600 dpi.*300 dpi"),
        ({"bits": 8}, "depth is 8 bit"),
        ({"format": "JPEG"}, "kind of file is JPEG"),
        ({"icc": "Other"}, "profile is Other"),
        ({"device": "Invented Two"}, "device is Invented Two"),
    ):
        with pytest.raises(InputError, match=words):
            device.settings.check_same(replace(facts, **change), "flatbed")
    device.settings.check_same(facts, "flatbed")
    # PNG and TIFF hold the same; a phone's 72 dpi says nothing.
    assert Settings.of(replace(facts, format="PNG")) == Settings.of(facts)
    assert Settings.of(replace(facts, dpi=72.0)).dpi is None


def test_a_device_comes_back_from_its_file_as_it_was():
    device = characterised("flatbed")
    again = Characterised.from_dict(json.loads(json.dumps(device.as_dict())))
    values = np.random.default_rng(1).uniform(0.1, 0.9, (5, 3))
    assert np.array_equal(device.xyz(device.curve(values)), again.xyz(again.curve(values)))
    assert again.settings == device.settings and again.sensors is not None


def test_a_target_without_spectra_gives_colours_alone():
    device = characterised("flatbed", False)
    assert device.sensors is None and device.mean < 0.5


def test_a_target_read_wrong_is_refused():
    rendered, corners = target_scan(SCANNER_8, 3, 60.0)
    picture = picture_of(rendered.pixels, "TIFF", 300.0)
    with pytest.raises(InputError, match="upper left, upper right"):
        grid_found(corners[::-1], COLUMNS, ROWS, "target.tif")
    found, where = grid_found(corners[[2, 3, 0, 1]], COLUMNS, ROWS, "target.tif")
    with pytest.raises(InputError, match="greys don't stand where its values say"):
        read_target("x", picture, found, where, target_values())
    found, where = grid_found(corners, COLUMNS, ROWS, "target.tif")
    few = target_values()
    few = replace(few, labels=tuple(f"Z{i}" for i in range(len(few.labels))))
    with pytest.raises(InputError, match="names 0 of the 264 patches"):
        read_target("x", picture, found, where, few)


def test_sharpening_and_stretched_tones_are_told():
    def of(picture):
        found = find_card(picture, {QUICK.number: QUICK})
        return found, sample_all(picture, found, sites(QUICK))

    plain = scan_of(SCANNER_8)
    found, samples = of(plain)
    assert improvements(plain, found, samples) == ()
    sharp = scan_of(replace(SCANNER_8, sharpen=1.0))
    assert sharpening(plain, found) < HALO / 2 < HALO < sharpening(sharp, found)
    assert any("sharpened" in words for words in improvements(sharp, *of(sharp)))
    # Paper may have no tint: that alone tells nothing of a white balance.
    balanced = scan_of(replace(SCANNER_8, gain=1.05 / SCANNER_8.linear(np.ones(36))
                               * np.array([0.97, 0.971, 0.985])))  # fmt: skip
    assert improvements(balanced, *of(balanced)) == ()
