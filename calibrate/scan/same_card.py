"""Tells whether two pictures show one card, by its painted steps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..cards.card import BARE
from ..optics.spectra import Array

_LEAST = 4
"""Patches that two pictures must share before they tell anything."""
_LIGHTER = 12.0
"""CIELAB lightness that half of the patches differ by only on another card (our choice: devices
that aren't characterised differ by some 5)."""
_COLOURFUL = 8.0
"""CIELAB chroma, root mean square, from which on hues tell cards apart."""
_ALIKE = 0.6
"""Least correlation of two pictures' chromas: a turn of all hues by 53 degrees (our choice)."""


def another_card(
    labels: Sequence[str], lab: Array, other_labels: Sequence[str], other_lab: Array
) -> bool:
    """Whether two pictures surely show different cards.

    Devices may differ by as much as phones and scanners do that nothing is known of; cards of two
    like paints are not told apart.

    Parameters
    ----------
    labels, other_labels : sequence of str
        Patches of each.
    lab, other_lab : (N, 3), (M, 3) array
        Their CIELAB.

    Returns
    -------
    bool
    """
    one, other = _by_patch(labels, lab), _by_patch(other_labels, other_lab)
    shared = [patch for patch in one if patch in other and not patch.startswith(f"{BARE}/")]
    if len(shared) < _LEAST:
        return False
    a = np.array([one[patch] for patch in shared])
    b = np.array([other[patch] for patch in shared])
    if np.median(np.abs(a[:, 0] - b[:, 0])) > _LIGHTER:
        return True
    first, second = a[:, 1:].ravel(), b[:, 1:].ravel()
    sizes = np.array([np.linalg.norm(first), np.linalg.norm(second)]) / np.sqrt(len(shared))
    if sizes.max() < _COLOURFUL:
        return False
    if sizes.min() < 0.25 * sizes.max():
        return True
    return bool(first @ second < _ALIKE * np.linalg.norm(first) * np.linalg.norm(second))


def _by_patch(labels: Sequence[str], lab: Array) -> dict[str, Array]:
    found: dict[str, list[Array]] = {}
    for label, value in zip(labels, lab, strict=True):
        if np.isfinite(value).all():
            found.setdefault(label, []).append(value)
    return {label: np.mean(each, axis=0) for label, each in found.items()}
