"""Partners that grey a tube: which one, in which ratio, and how clean the grey stays in tints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ....calibrate.optics.spectra import Array
from ..palette import Palette

LET_DOWN = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""Grams of white to one of both tubes together: tints in which a grey is judged."""
_RATIOS, _FARTHEST, _ROUNDS = 201, 7.0, 3
"""Ratios that are tried, the logarithm of the farthest, and how often they are tried finer."""
_COLOURED = 8.0
"""C* that the cleanest tint of a partner has at least (our rule, no source): a black or a grey
greys whatever it drowns, and is no partner."""


@dataclass(frozen=True)
class Partner:
    """A tube that greys another.

    Attributes
    ----------
    parts : dict of nickname to share by weight
        Of both, at the ratio that greys best.
    lab : (L, 3) array
        CIELAB of the mix and its tints, as let down by `LET_DOWN`.
    chroma : float
        Greatest C* among them.
    """

    paint: str
    parts: dict[str, float]
    lab: Array
    chroma: float


def partners(palette: Palette, tube: str, white: str | None) -> tuple[Partner, ...]:
    """Find the ratio at which each other tube greys one best, the cleanest grey first.

    Parameters
    ----------
    tube : str
        Nickname.
    white : str or None
        That tints are let down with; None: only the mix itself is judged.

    Notes
    -----
    The ratio is that at which the most coloured of the mix and its tints is least coloured: a grey
    that is clean from the tube may lean once it is let down.
    """
    names, c = palette.paints, palette.coefficients
    others = [p for p in names if p not in (tube, white) and _coloured(palette, p, white)]
    if not others:
        return ()
    down = np.array(LET_DOWN if white else LET_DOWN[:1])
    one = names.index(tube)
    rows = np.array([names.index(p) for p in others])
    middle, span = np.zeros(len(others)), _FARTHEST
    for _ in range(_ROUNDS):
        logs = middle[:, None] + np.linspace(-span, span, _RATIOS)
        counted = 1 / (1 + np.exp(-logs))
        # Counted in strength, so that a weak tube and a strong one are tried as finely.
        mine = counted / palette.strength[one] / c.dry_volume[one]
        its = (1 - counted) / palette.strength[rows][:, None] / c.dry_volume[rows][:, None]
        both = mine + its
        grams = np.zeros((*logs.shape, len(down), len(names)))
        grams[..., one] = (mine / both)[..., None]
        for n, row in enumerate(rows):
            grams[n, ..., row] = (its / both)[n][..., None]
        if white:
            grams[..., names.index(white)] += down
        dry = grams * c.dry_volume
        lab = palette.lab((dry / dry.sum(axis=-1, keepdims=True)).reshape(-1, len(names)))
        lab = lab.reshape(*logs.shape, len(down), 3)
        chroma = np.hypot(lab[..., 1], lab[..., 2]).max(axis=2)
        best = chroma.argmin(axis=1)
        at = np.arange(len(others))
        middle, span = logs[at, best], 3 * span / (_RATIOS - 1)
    share = (mine / both)[at, best]
    found = [
        Partner(other, {tube: float(share[n]), other: float(1 - share[n])}, lab[n, best[n]],
                float(chroma[n, best[n]]))
        for n, other in enumerate(others)
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda each: each.chroma))


def _coloured(palette: Palette, paint: str, white: str | None) -> bool:
    """Whether a tube has a hue, alone or in a tint."""
    counted = np.zeros((40, len(palette.paints)))
    row = palette.paints.index(paint)
    counted[:, row] = np.geomspace(1, 1e-3, len(counted)) if white else 1.0
    if white:
        counted[:, palette.paints.index(white)] = 1 - counted[:, row]
    lab = palette.lab(counted / counted.sum(axis=1, keepdims=True))
    return bool(np.hypot(lab[:, 1], lab[:, 2]).max() >= _COLOURED)
