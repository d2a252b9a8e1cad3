"""How the studio's media change as they dry: taught by dabs, and told of its mixes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.colour import ciede2000
from ..common.remedies import StudioDo
from ..mixing.drying import Drying, learn
from ..mixing.medium import MEDIUM
from ..mixing.target import Target
from .habits import habits

if TYPE_CHECKING:
    from ..store import schema
    from ..store.store import Store

_TOO_FAR = 25.0
"""CIEDE2000 between wet and dry beyond which it is no longer drying (our own rule)."""
_TOLD = 0.2
"""Standard uncertainty of a colour that was read or typed, CIELAB units (our own rule)."""
_OF_ONE_PHOTO = 0.5
"""Share of a photograph's error that two spots of it don't have in common (our own rule)."""


def medium_of(binder: str) -> str:
    """Return the medium that paints of a binder belong to; those without one are of one medium."""
    return binder.strip().casefold()


def one_medium(mediums: Mapping[str, str], paints: Iterable[str]) -> str | None:
    """Return the medium that all paints of a mix are of, the clear one aside; else None."""
    found = {mediums[paint] for paint in paints if paint != MEDIUM and paint in mediums}
    return found.pop() if len(found) == 1 else None


def mediums_of(store: Store) -> dict[str, str]:
    """Return the medium of every paint, by nickname."""
    return {paint.nickname: medium_of(paint.binder) for paint in store.paints.all()}


def taught(store: Store) -> dict[str, Drying]:
    """Return what was taught so far, by medium."""
    pairs: dict[str, list[schema.Drying]] = {}
    for row in store.dryings.all():
        pairs.setdefault(row.medium, []).append(row)
    return {medium: _learnt(rows) for medium, rows in pairs.items()}


def _learnt(rows: list[schema.Drying]) -> Drying:
    wet = np.array([row.wet["lab"] for row in rows], dtype=float)
    dry = np.array([row.dry["lab"] for row in rows], dtype=float)
    return learn(wet, dry, np.array([row.unsure for row in rows]))


def teach(
    store: Store, parts: Mapping[str, float], wet: Target, dry: Target, one_photo: bool = False
) -> schema.Drying:
    """Keep a wet and a dried dab of one mix.

    Parameters
    ----------
    parts : mapping of nickname to parts by weight
        That was in both.
    one_photo : bool
        Whether both are spots of one photograph.

    Raises
    ------
    InputError
        For paints of several media, and for colours that drying can't lead from one to the other.
    """
    medium = one_medium(mediums_of(store), parts)
    if medium is None:
        raise InputError(
            "mix", ", ".join(parts), "is of paints of several binders, and each dries its own way",
            "mix a dab of paints of one binder",
        )  # fmt: skip
    seen = habits(store).seen
    if wet.reflectance is not None or dry.reflectance is not None:
        surface = store.fits.coefficients([p for p in parts if p != MEDIUM]).surface
        wet, dry = wet.under(seen, surface), dry.under(seen, surface)
    off = float(ciede2000(wet.lab, dry.lab))
    if off > _TOO_FAR:
        raise InputError(
            Field("dry"), dry.said,
            f"is CIEDE2000 {off:.0f} from the wet dab: no paint changes so much as it dries",
            "see that both are of one mix, and seen in one light",
        )  # fmt: skip
    unsure = float(np.hypot(wet.band, dry.band)) / 1.96 * (_OF_ONE_PHOTO if one_photo else 1.0)
    kept = [
        {"said": each.said, "lab": [float(x) for x in each.lab], "viewing": seen.said}
        for each in (wet, dry)
    ]
    return store.dryings.keep(medium, parts, kept[0], kept[1], max(unsure, _TOLD))


def dried(store: Store, seen: Target, paints: Iterable[str]) -> Target:
    """Return what a wet dab will dry to, with what that adds to its band.

    Parameters
    ----------
    seen : Target
        Its colour, wet.
    paints : iterable of str
        Nicknames of what may be in it.

    Raises
    ------
    InputError
        Where nothing was taught of their medium.
    """
    medium = one_medium(mediums_of(store), paints)
    found = None if medium is None else taught(store).get(medium)
    if found is None:
        raise InputError(
            Field("dab"), seen.said,
            "is wet, and how these paints change as they dry isn't known",
            StudioDo.TEACH_DRYING(),
        )  # fmt: skip
    dry = found.dry(seen.lab, seen.band)
    return replace(
        seen, said=f"{seen.said}, as it will dry", lab=np.array(dry.lab), reflectance=None,
        estimate=True, band=dry.band,
    )  # fmt: skip


def medium_words(medium: str) -> str:
    """Return what a medium is called in a sentence."""
    return f"paint in {medium}" if medium else "this paint"
