"""What looks wrong about a reading while its patch still lies under the hand.

None of it is refused: paint may look like anything. The limits are rules of thumb (common practice,
no source).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..cards.card import BARE, SUBSTRATES, Card
from ..cards.weighing import composition
from ..optics.colour import D50, ciede2000, lab_of_xyz, weights, xyz
from ..optics.spectra import GRID, HIGHEST, LOWEST, Array, Spectra, to_grid
from .profile import Due

_LIKE_BARE = 1.0
_LIKE_TILE = 1.0
_NOT_MOVED = 0.25
_REPEATS_APART = 1.0
"""CIEDE2000, each."""
_DARKER = 0.02
"""Mean reflectance by which an order must be broken before patches look swapped."""
_TILE_FOR_TRAP = 0.4
_TELLS_APART = 0.05
"""Share of white by which two steps must differ before their order says anything."""


def colours(values: Array, wavelengths: Array) -> Array:
    """CIELAB, D50/2°, (N, 3) of readings (N, W) on an instrument's own wavelengths.

    Parameters
    ----------
    values : (N, W) array
        Reflectance.
    wavelengths : (W,) array, nm

    Returns
    -------
    (N, 3) array
    """
    rows = np.atleast_2d(values)
    labels = [str(i) for i in range(len(rows))]
    seen = to_grid(Spectra.from_values(wavelengths, rows, labels)).values
    # Not by `lab`, which refuses what no paint can read: here that is a doubt among others.
    return lab_of_xyz(xyz(seen) / weights(GRID, D50)[1])


def spread(repeats: Array, wavelengths: Array) -> float:
    """Largest CIEDE2000 of repeats (N, W) from their mean; 0 for one alone.

    Parameters
    ----------
    repeats : (N, W) array
        Reflectance.
    wavelengths : (W,) array, nm

    Returns
    -------
    float
    """
    if len(repeats) < 2:
        return 0.0
    found = colours(np.vstack([repeats, repeats.mean(axis=0)]), wavelengths)
    return float(ciede2000(found[:-1], found[-1:]).max())


def impossible(values: Array) -> str | None:
    """Say why no drawdown can read so; None where one can."""
    worst = values[np.nanargmax(np.abs(values - 0.5))] if not np.isnan(values).all() else np.nan
    if np.isnan(worst):
        return "the instrument sent no value at all"
    if LOWEST <= worst <= HIGHEST:
        return None
    return f"no paint reflects {worst:.3g} (from {LOWEST:g} to {HIGHEST:g} can be)"


def tile_doubt(kind: str, values: Array, due: Due) -> str | None:
    """Say why a reading isn't one of the white tile, or of the black trap; None where it may be.

    Parameters
    ----------
    kind : {"white", "black"}
    values : (W,) array
    due : Due

    Returns
    -------
    str or None
    """
    if np.isnan(values).all():
        return "the instrument sent no value at all"
    mean = float(np.nanmean(values))
    if kind == "white" and mean < due.tile_least:
        what = "is this the black trap?" if mean < due.trap_most else "clean it, or find it"
        return f"too dark for a white tile: it reflects {mean:.3f} of the light; {what}"
    if kind == "black" and mean > _TILE_FOR_TRAP:
        return f"the white tile was read in place of the trap: it reflects {mean:.3f} of the light"
    if kind == "black" and mean > due.trap_most:
        return f"too bright for a black trap: it reflects {mean:.3f} of the light; light gets in"
    return None


def patch_doubts(
    card: Card,
    patch: str,
    repeats: Array,
    others: Mapping[str, Array],
    wavelengths: Array,
    tile: Array | None = None,
    before: str | None = None,
) -> list[str]:
    """Say what looks wrong about a patch.

    Parameters
    ----------
    card : Card
    patch : str
    repeats : (N, W) array
        Its readings.
    others : mapping of patch to (W,) array
        Means of the other patches read so far.
    wavelengths : (W,) array, nm
    tile : (W,) array, optional
        Last reading of the white tile.
    before : str, optional
        The patch read just before.

    Returns
    -------
    list of str
    """
    mean = repeats.mean(axis=0)
    step, _, over = patch.rpartition("/")
    apart = spread(repeats, wavelengths)
    found = []
    if apart > _REPEATS_APART:
        found.append(f"its readings differ by CIEDE2000 {apart:.1f}: set down flat, in its middle")
    like = {f"{BARE}/{substrate}": _LIKE_BARE for substrate in SUBSTRATES} if step != BARE else {}
    if before is not None and before.rpartition("/")[0] not in (step, BARE):
        like[before] = _NOT_MOVED
    known = {name: others[name] for name in like if name in others}
    if tile is not None and patch != f"{BARE}/white":
        known["the white tile"], like["the white tile"] = tile, _LIKE_TILE
    if known:
        found_colours = colours(np.vstack([mean, *known.values()]), wavelengths)
        distances = ciede2000(found_colours[1:], found_colours[:1])
        found += [
            f"it reads just like {name}: is the instrument on {patch}?"
            for name, distance in zip(known, distances, strict=True)
            if distance < like[name]
        ]
    swapped = _swapped_substrate(step, over, mean, others) or _swapped_step(
        card, step, over, mean, others
    )
    return found + ([swapped] if swapped else [])


def _swapped_substrate(
    step: str, over: str, mean: Array, others: Mapping[str, Array]
) -> str | None:
    other = f"{step}/{'white' if over == 'black' else 'black'}"
    if other not in others:
        return None
    rise = float(np.nanmean(others[other] - mean)) * (1 if over == "black" else -1)
    if rise > -_DARKER:
        return None
    return f"{step} is brighter over black than over white: is it swapped with {other}?"


def _swapped_step(
    card: Card, step: str, over: str, mean: Array, others: Mapping[str, Array]
) -> str | None:
    """Over black, more white in a ladder never makes a film darker."""
    drawdowns = {d.step: d for d in card.drawdowns}
    this = drawdowns.get(step)
    if over != "black" or this is None or this.white is None or this.paint in (None, this.white):
        return None
    made = composition(card)
    if this.white not in made.paints:
        return None
    share = dict(zip(drawdowns, made.fractions[:, made.paints.index(this.white)], strict=True))
    worst, found = _DARKER, None
    for other, d in drawdowns.items():
        patch = f"{other}/{over}"
        whiter = share[other] - share[step]
        if patch not in others or (d.paint, d.white) != (this.paint, this.white):
            continue
        broken = float(np.nanmean(mean - others[patch])) * float(np.sign(whiter))
        if abs(whiter) > _TELLS_APART and broken > worst:
            worst, found = broken, patch
    return found and f"the one with more white reads darker: is {step} swapped with {found}?"
