"""Tiles at odds with their certificates or with what they read before: nothing goes by them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import CalibrateDo, InputError
from ...optics.spectra import Array
from ..tiles import PREFIX, TRAP, Tile, tile_kind
from .session import Told

_LEAST = 0.01
"""Relative; a tile nearer to its certificate than this isn't called dirty."""
_OWN_SCALE = 0.04
"""Relative; where no other tile tells, an instrument isn't taken to be off by more than this."""
_FARTHEST = 3.0
"""nm; what looks like a larger shift is another tile, or an instrument to be mended."""
_OTHER_CURVE = 0.015
"""RMS reflectance that a tile's curve may lie beside its certificate once all faults are undone."""
_FEW = 3
"""Tiles from which they tell the instrument's own change from that of one of them."""
_SINCE, _SINCE_MOST = 0.01, 0.014
"""Relative change since earlier sittings that is a tile's and not chance: at least, and at most."""
_OF_SCATTER = 4.0
_DARK = 0.02
"""Reflectance below which a share says little."""


@dataclass(frozen=True)
class Odd:
    """A tile that reads otherwise than it should.

    Attributes
    ----------
    by : float
        Relative; below 0 where it reads too dark.
    since : bool
        Since earlier sittings; else beside its certificate.
    """

    name: str
    by: float
    since: bool
    words: str


def odd_by_certificate(found: Told, tiles: Mapping[str, Tile]) -> list[Odd]:
    """Tiles that can't be as their certificates say, whatever is wrong with the instrument.

    Parameters
    ----------
    found : Told
    tiles : mapping of name to Tile
        Certificates of what was read.

    Returns
    -------
    list of Odd
        Empty where all can be.
    """
    e, names = found.estimate, found.names
    scales, odd = e.of("tile_scale"), []
    for t, name in enumerate(names):
        by = float(scales[t])
        if e.answer.choice.get(f"off {t}") and abs(by) >= _LEAST:
            odd.append(_odd(name, by, False, "though the others hold"))
    lit = [t for t, n in enumerate(names) if n in tiles and tile_kind(n) != "trap"]
    own = float(e.of("gain_level")[0])
    white = next((n for n in names if n in tiles and tile_kind(n) == "white"), None)
    if white is not None and len(lit) < _FEW and abs(own) > _OWN_SCALE:
        odd.append(_odd(white, own, False, "and no other tile tells why"))
    if abs(float(e.of("shift")[0])) > _FARTHEST:
        shift = float(e.of("shift")[0])
        colour = next(n for n in names if n in tiles and tile_kind(n) == "colour")
        odd.append(Odd(colour, 0.0, False, f"it reads as if shifted by {shift:+.1f} nm"))
    for r, one in enumerate(e.model.seen):
        name, left = names[one.tile], e.left[r][e.model.used[one.tile]]
        beside = float(np.sqrt(np.mean(left**2))) if left.size else 0.0
        if name in tiles and beside > _OTHER_CURVE and all(o.name != name for o in odd):
            words = f"its curve lies {beside:.3f} beside its certificate"
            odd.append(Odd(name, 0.0, False, words))
    return odd


def odd_since(now: Mapping[str, Array], earlier: Sequence[Mapping[str, Array]]) -> list[Odd]:
    """Tiles that read otherwise than in earlier sittings, beside what all of them do.

    Parameters
    ----------
    now : mapping of name to (W,) array
        Mean reading of each tile; the trap's is taken off the others.
    earlier : sequence of such mappings
        Of earlier sittings with the same instrument, on the same wavelengths.

    Returns
    -------
    list of Odd
        Empty where there are no earlier sittings.
    """
    mine = _levels(now)
    changes: dict[str, list[float]] = {}
    for sitting in earlier:
        before = _levels(sitting)
        names = [name for name in mine if before.get(name, 0.0) > _DARK]
        for name, by in zip(names, _beside(before, mine, names), strict=True):
            changes.setdefault(name, []).append(by)
    odd = []
    for name, each in changes.items():
        by = float(np.median(each))
        scatter = float(np.std(each, ddof=1)) if len(each) > 2 else 0.0
        if abs(by) > np.clip(_OF_SCATTER * scatter, _SINCE, _SINCE_MOST):
            odd.append(_odd(name, by, True, ""))
    return odd


def _beside(before: Mapping[str, float], now: Mapping[str, float], names: Sequence[str]) -> Array:
    """Relative change of each tile beside that of all, of the gain and, if enough tell, the zero.

    Least absolute differences, so that one tile which is dirty doesn't move the others.
    """
    x, y = (np.array([of[name] for name in names]) for of in (before, now))
    if x.size < _FEW:
        return np.asarray(y / x - 1)
    parts = np.stack([x, np.ones_like(x)], axis=1)[:, : 2 if x.size > _FEW else 1]
    weight = 1 / (x + 0.02)
    fitted = x
    for _ in range(30):
        pull = weight / np.sqrt(np.maximum(np.abs(y - fitted) * weight, 1e-5))
        whole, *_ = np.linalg.lstsq(parts * pull[:, None], y * pull, rcond=None)
        fitted = parts @ whole
    return np.asarray((y - fitted) / x)


def odd_alone(
    name: str,
    values: Array,
    wavelengths: Array,
    tile: Tile | None,
    earlier: Sequence[Mapping[str, Array]],
) -> Odd | None:
    """Whether one reading of a tile is odd, before any other tile is read beside it.

    Parameters
    ----------
    name : str
    values : (W,) array
    wavelengths : (W,) array, nm
    tile : Tile or None
        Its certificate.
    earlier : sequence of mapping of tile to (W,) array
        Of earlier sittings.

    Returns
    -------
    Odd or None
    """
    if tile_kind(name) == TRAP:
        return None
    level = float(np.nanmean(values))
    before = [float(np.nanmean(sitting[name])) for sitting in earlier if name in sitting]
    if before and abs(by := level / float(np.median(before)) - 1) > _SINCE_MOST:
        return _odd(name, by, True, "")
    if tile is not None:
        by = level / float(np.nanmean(tile.at(wavelengths))) - 1
        # Of a darker tile a zero or a bend may be a larger share.
        if abs(by) > _OWN_SCALE and abs(by) * level > _OWN_SCALE / 2:
            return _odd(name, by, False, "")
    return None


def refuse(odd: Sequence[Odd], file: str | None) -> None:
    """Refuse to go by a tile that is odd.

    Raises
    ------
    InputError
        For the one that is farthest off.
    """
    if odd:
        worst = max(odd, key=lambda each: abs(each.by))
        raise InputError(file, f"{PREFIX}{worst.name}", worst.words, CalibrateDo.LOOK_AT_TILE())


def _levels(readings: Mapping[str, Array]) -> dict[str, float]:
    traps = [values for name, values in readings.items() if tile_kind(name) == TRAP]
    zero = float(np.nanmean(traps)) if traps else 0.0
    return {
        name: float(np.nanmean(values)) - zero
        for name, values in readings.items()
        if tile_kind(name) != TRAP
    }


def _odd(name: str, by: float, since: bool, why: str) -> Odd:
    how = "darker" if by < 0 else "brighter"
    beside = "than in earlier sittings" if since else "than its certificate"
    words = f"it reads {100 * abs(by):.1f} % {how} {beside}{f', {why}' if why else ''}"
    return Odd(name, by, since, f"{words}: dirty, chipped, or another tile")
