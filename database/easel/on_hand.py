"""The tubes that a mix may be made of."""

from __future__ import annotations

from collections.abc import Sequence

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ..common.remedies import StudioDo
from ..store.store import Store
from .densities import with_densities


def usable(store: Store, must: Sequence[str] = (), without: Sequence[str] = ()) -> Coefficients:
    """Return K and S of the tubes on hand that have a fit, and of those asked for, by nickname.

    Their densities are those of the tubes in use.

    Raises
    ------
    InputError
        Where one is both asked for and left out, or none is left.
    """
    clash = sorted(set(must) & set(without))
    if clash:
        raise InputError(None, ", ".join(clash), "is both asked for and left out", "drop one")
    fitted = store.fits.current()
    on_hand = [p.nickname for p in store.paints.all() if p.on_hand and p.nickname in fitted]
    used = [p for p in dict.fromkeys([*on_hand, *must]) if p not in without]
    if not used:
        raise InputError(
            None, None, "no tube on hand has a fit",
            StudioDo.SAY_ON_HAND_OR_FIT(),
        )  # fmt: skip
    return with_densities(store, store.fits.coefficients(used))[0]
