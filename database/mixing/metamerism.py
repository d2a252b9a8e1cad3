"""How far two colours that match under one light part under another."""

from __future__ import annotations

import numpy as np

from ...calibrate.optics.colour import (
    D50,
    ILLUMINANTS,
    View,
    ciede2000,
    lab_of_xyz,
    weights,
    xyz,
)
from ...calibrate.optics.spectra import Array


def special_metamerism(
    mixes: Array,
    target: Array,
    wavelengths: Array,
    reference: View = D50,
    others: tuple[View, ...] | None = None,
) -> dict[str, Array]:
    """CIE special metamerism index, change in illuminant, with CIEDE2000 as the difference.

    What the pair already differs by under the reference is taken out first, as CIE 15 advises: the
    mix's tristimulus values are multiplied by what makes them the target's there.

    Parameters
    ----------
    mixes : (N, W) array
    target : (W,) array
    wavelengths : (W,) array, nm
    reference : View
        That they are matched under.
    others : tuple of View, optional
        By default every other light that there is a table of.

    Returns
    -------
    dict of illuminant to (N,) array

    References
    ----------
    CIE 15:2018, Colorimetry, special metamerism index: change in illuminant.
    """
    seen = np.isfinite(target) & np.isfinite(mixes).all(axis=0)
    mixes, target, wl = mixes[:, seen], target[None, seen], wavelengths[seen]
    correction = xyz(target, wl, reference) / xyz(mixes, wl, reference)
    found = {}
    for view in others or [View(each) for each in ILLUMINANTS if each != reference.illuminant]:
        white = weights(wl, view)[1]
        one = lab_of_xyz(xyz(mixes, wl, view) * correction / white)
        found[view.illuminant] = ciede2000(one, lab_of_xyz(xyz(target, wl, view) / white))
    return found
