"""A channel at an end of its codes is one-sided knowledge: flagged and wide, no colour to refuse.

Pictures are rendered, and codes of single patches are then set to an end by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.channels import by_card, one_sided
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.judging.quality import patch_flags
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.scans.prior import ScanPrior
from tintladder.calibrate.fit.scans.problem import lay_out
from tintladder.calibrate.scan.find import find_card

from .bench.scan import picture_of
from .invented_scanner import LED, scanned
from .lab import plan
from .lab.drawdown import Lab
from .test_wrong_pictures import QUICK, read, shot


def with_codes(step: int, over: str, codes: tuple[int | None, ...]) -> np.ndarray:
    """A picture with the codes of one patch set; None leaves a channel as it is."""
    pixels = shot().pixels.copy()
    found = find_card(picture_of(pixels, "JPEG", None), {QUICK.number: QUICK}, QUICK)
    (box,) = QUICK.boxes(step, over)
    corners = found.outline(box)
    (x0, y0), (x1, y1) = corners.min(axis=0).astype(int), corners.max(axis=0).astype(int)
    for channel, code in enumerate(codes):
        if code is not None:
            pixels[y0:y1, x0:x1, channel] = code
    return pixels


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        ((255, None, None), "red is known from one side only: no darker than its full-scale code"),
        ((None, None, 0), "blue is known from one side only: no lighter than its zero code"),
        ((255, None, 0), "blue is known from one side only: no lighter than its zero code; "
         "red is known from one side only: no darker than its full-scale code"),
    ],
)  # fmt: skip
def test_a_channel_at_an_end_is_flagged_and_wide(codes, words):
    before, now = read(shot().pixels), read(with_codes(3, "white", codes))
    (label,) = now.channels.clipped
    assert dict(now.flags)[label].startswith(words)
    i = now.channels.labels.index(label)
    for channel, code in enumerate(codes):
        wide = np.sqrt(now.channels.variance[i, channel])
        if code is None:
            assert wide < 1.5 * np.sqrt(before.channels.variance[i, channel]) + 1e-3
        elif code == 0:
            assert wide > 0.025
        else:
            # Rectangular from what the code says to the perfect diffuser (JCGM 101, 6.4.2).
            read_as = now.channels.channels[i, channel]
            assert read_as > before.channels.channels[i, channel]
            assert wide > 0.05 / np.sqrt(12) - 1e-9
    others = [j for j, name in enumerate(now.channels.labels) if name != label]
    assert np.allclose(now.channels.channels[others], before.channels.channels[others], atol=0.02)


@pytest.mark.parametrize(("codes", "end"), [((255, 255, 255), "brightest"), ((0, 0, 0), "darkest")])
def test_all_channels_at_an_end_are_a_wrong_exposure(codes, end):
    with pytest.raises(InputError, match=f"all channels are clipped.*{end}"):
        read(with_codes(3, "white", codes))


def test_references_are_known_from_both_sides():
    with pytest.raises(InputError, match=r"bare/white: red is clipped"):
        read(with_codes(0, "white", (255, None, None)))


def test_the_fit_says_so():
    (card,) = (c for c in plan.ladders() if c.drawdowns[0].paint == "BUOY")
    lab = Lab()
    (readings,) = lab.read([card], 7, noise=False, repeats=1)
    scan = scanned(readings, LED, 7)
    label = next(name for name in scan.labels if name.startswith("masstone"))
    for clipped in (frozenset(), frozenset({label})):
        now = replace(scan, clipped=clipped)
        assert by_card([now, now])[0].clipped == now.averaged().clipped == clipped
        problem, *_ = lay_out([now], lab.tubes, LED, ScanPrior.invented(), FitSettings(), None)
        flags = dict(zip([p.label for p in problem.patches], patch_flags(problem, ()), strict=True))
        said = "a channel of its scan known from one side only"
        assert {name for name, words in flags.items() if said in words} == clipped


def test_flags_of_other_kinds_say_nothing_of_codes():
    assert one_sided([("a", "below zero"), ("b", "")]) == frozenset()
