"""How far one estimate a session can be trusted, on sittings with known faults.

The instruments, tiles and cards are invented (`tests.lab.faulty_instruments`), by a physics that is
not the estimate's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.corrections import Corrected, correct
from tintladder.calibrate.instrument.estimate.odd_tiles import odd_since
from tintladder.calibrate.instrument.tiles import Tile, TileReading, tile_means
from tintladder.calibrate.optics.spectra import Array, Spectra

from ..lab.faulty_instruments import sitting
from .harness import benchmark

FIRST = 7_000
"""Seed of the first sitting that scores."""
_GREYS = {"pale grey", "mid grey", "deep grey", "black"}


@dataclass(frozen=True)
class Scored:
    """A sitting, corrected.

    Attributes
    ----------
    truth : dict
        What the sitting was made of.
    raw, true : (N, W) arrays
    made : Corrected
    refused : bool
        Whether a tile was refused by its certificate, or by earlier sittings.
    """

    truth: dict[str, Any]
    raw: Array
    true: Array
    made: Corrected
    refused: bool

    @property
    def off(self) -> Array:
        """Error of corrected readings, (N, W)."""
        return np.asarray(self.made.spectra.values - self.true)

    def has(self, *stages: str) -> bool:
        """Whether any of these stages changed the readings."""
        return any(each.made and each.stage in stages for each in self.made.stages)


def _named(name: str) -> str:
    return f"grey, {name}" if name in _GREYS else name


@cache
def scored(faults: str, count: int, first: int = FIRST, **said: Any) -> tuple[Scored, ...]:
    """Sittings with some faults, corrected by their nine tiles."""
    return tuple(_scored(sitting(first + i, faults, **said)) for i in range(count))


def _scored(one: dict[str, Any]) -> Scored:
    nm, events, certificates = one["wavelengths"], one["events"], one["certificates"]
    patch = events["kind"] == "patch"
    names = [str(name) for name in events["name"]]
    tiles = {
        _named(str(name)): Tile(
            _named(str(name)),
            nm,
            values,
            one["certificate_temperature"],
            "invented",
            float(np.mean(unsure / values)),
        )
        for name, values, unsure in zip(
            certificates["names"], certificates["values"], certificates["uncertainty"], strict=True
        )
    }
    readings = [
        TileReading(_named(names[i]), events["reading"][i], float(events["time"][i]))
        for i in np.flatnonzero(~patch)
    ]
    labels = [names[i] for i in np.flatnonzero(patch)]
    spectra = Spectra.from_values(nm, events["reading"][patch], labels)
    at = events["time"][patch]
    earlier = [
        {
            _named(str(name)): past["readings"][past["names"] == name].mean(axis=0)
            for name in dict.fromkeys(past["names"])
        }
        for past in one["history"]
    ]
    refused = bool(odd_since(tile_means(readings), earlier))
    try:
        made = correct(spectra, at, readings, tiles)
    except InputError:
        refused = True
        made = correct(spectra, at, readings, tiles, tiles_are_clean=True)
    true = one["truth"]["patches"][[int(label[1:]) - 1 for label in labels]]
    return Scored(one["truth"], spectra.values, true, made, refused)


def _rms(values: list[Array]) -> float:
    return float(np.sqrt(np.mean(np.concatenate([v.ravel() for v in values]) ** 2)))


@benchmark("instrument.interval_coverage", "%", target=92, sense="at least")
def interval_coverage() -> float:
    """Corrected values in 95 % intervals: six faults, certificates off, tiles +-4 K, 200 draws."""
    held = [
        np.abs(one.off) < 1.96 * one.made.errors.sd(one.made.spectra.values)
        for one in scored("coverage", 200)
        if one.made.errors is not None
    ]
    return 100 * float(np.mean(np.concatenate([each.ravel() for each in held])))


@benchmark("instrument.faultless_false_share", "%", target=5)
def faultless_false() -> float:
    """Sittings of a faultless instrument in which a bend or a shift was undone."""
    return 100 * float(
        np.mean([o.has("linearity", "wavelength") for o in scored("faultless", 100)])
    )


@benchmark("instrument.faultless_false_share_certificates", "%", target=5)
def certificates_false() -> float:
    """The same where the certificates are off by what they state."""
    found = [o.has("linearity", "wavelength") for o in scored("certificates_only", 100)]
    return 100 * float(np.mean(found))


@benchmark("instrument.faultless_rms_ratio", "times", target=1.02)
def faultless_ratio() -> float:
    """RMS error after the corrections over that before, of a faultless instrument."""
    every = scored("faultless", 100)
    return _rms([one.off for one in every]) / _rms([one.raw - one.true for one in every])


@benchmark("instrument.six_faults_rms", "reflectance", target=0.0006)
def six_faults() -> float:
    """Six faults and nine tiles whose certificates are exact, but state 0.2 to 0.5 %."""
    return _rms([one.off for one in scored("six", 60)])


@benchmark("instrument.six_faults_rms_before", "reflectance")
def six_faults_before() -> float:
    """The same, nothing corrected."""
    return _rms([one.raw - one.true for one in scored("six", 60)])


@benchmark("instrument.dirty_tile_stopped", "%", target=100, sense="at least")
def dirty_stopped() -> float:
    """Sittings with a tile that dirt darkened by some 2 % since earlier sittings, stopped."""
    return 100 * float(np.mean([one.refused for one in scored("dirt", 60)]))


@benchmark("instrument.clean_tiles_stopped", "%", target=5)
def clean_stopped() -> float:
    """Sittings stopped though every tile is clean, with six faults and certificates off."""
    return 100 * float(np.mean([one.refused for one in scored("coverage", 200)]))


@benchmark("instrument.jump_found", "%", target=95, sense="at least")
def jump_found() -> float:
    """Jumps of 1 % among 16 patches that were found."""
    every = scored("jump", 100, patches=16, jump_size=0.01)
    return 100 * float(np.mean([bool(one.made.jumps) for one in every]))


@benchmark("instrument.jump_placed", "%")
def jump_placed() -> float:
    """The same, that the place said holds: between the readings that are named."""
    every = scored("jump", 100, patches=16, jump_size=0.01)
    held = []
    for one in every:
        at = int(np.searchsorted(one.made.at, one.truth["jump_time"]))
        held += [jump.first < at <= jump.last for jump in one.made.jumps[:1]]
    return 100 * float(np.mean(held))
