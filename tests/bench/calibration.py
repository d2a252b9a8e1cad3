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
from tintladder.calibrate.instrument.corrections import Corrected, ReadAgain, correct
from tintladder.calibrate.instrument.estimate.jump_search import JumpSearch, change
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
def scored(
    faults: str, count: int, first: int = FIRST, attended: bool = False, **said: Any
) -> tuple[Scored, ...]:
    """Sittings with some faults, corrected by their nine tiles.

    One that is attended reads patches again where the closing tile shows that the gain has moved,
    as a guided sitting does; a file of readings has none of it.
    """
    return tuple(_scored(sitting(first + i, faults, **said), attended) for i in range(count))


def _placing(
    one: dict[str, Any], events: dict[str, Any], at: Array, spectra: Spectra
) -> list[ReadAgain]:
    white = events["reading"][events["name"] == "white"]
    search, again = JumpSearch(change(white[-2], white[-1]), 0.0, len(at)), list[ReadAgain]()
    while (place := search.patch) is not None:
        label = spectra.labels[place]
        when, values = one["read_again"](label, len(again) + 1)
        again.append(ReadAgain(label, values, when))
        search.told(change(spectra.values[place], values))
    return again


def _scored(one: dict[str, Any], attended: bool) -> Scored:
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
    again = _placing(one, events, at, spectra) if attended else []
    refused = bool(odd_since(tile_means(readings), earlier))
    try:
        made = correct(spectra, at, readings, tiles, again=again)
    except InputError:
        refused = True
        made = correct(spectra, at, readings, tiles, again=again, tiles_are_clean=True)
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


def _jumps(attended: bool) -> tuple[Scored, ...]:
    return scored("jump", 100, attended=attended, patches=16, jump_size=0.01)


@benchmark("instrument.jump_found", "%", target=95, sense="at least")
def jump_found() -> float:
    """Jumps of 1 % among 16 patches that were found, in sittings that read patches again."""
    return 100 * float(np.mean([bool(one.made.jumps) for one in _jumps(True)]))


@benchmark("instrument.jump_found_in_files", "%")
def jump_found_in_files() -> float:
    """The same by the tiles alone."""
    return 100 * float(np.mean([bool(one.made.jumps) for one in _jumps(False)]))


@benchmark("instrument.jump_placed", "%")
def jump_placed() -> float:
    """Of those found, that the place said holds: between the readings that are named."""
    held = []
    for one in _jumps(True):
        at = int(np.searchsorted(one.made.at, one.truth["jump_time"]))
        held += [jump.first < at <= jump.last for jump in one.made.jumps[:1]]
    return 100 * float(np.mean(held))


@benchmark("instrument.jump_false", "%", target=5)
def jump_false() -> float:
    """Sittings with six faults and no jump in which one was found, patches read again."""
    return 100 * float(np.mean([bool(o.made.jumps) for o in scored("six", 60, attended=True)]))


@benchmark("instrument.jump_false_in_files", "%", target=5)
def jump_false_in_files() -> float:
    """The same by the tiles alone."""
    return 100 * float(np.mean([bool(one.made.jumps) for one in scored("six", 60)]))
