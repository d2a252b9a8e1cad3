"""Tinting strengths of a whole set of paints, on one scale."""

from __future__ import annotations

from collections.abc import Mapping

from ...calibrate.errors import Field, InputError
from ...calibrate.fit.judging.strength import Strength, tinting_strength
from ...calibrate.optics.coefficients import Coefficients


def rank(
    coefficients: Coefficients, whites: Mapping[str, str], against: str | None = None
) -> tuple[list[Strength], dict[str, str]]:
    """Compare how strongly paints tint, gram for gram, by what each adds to its white's K/S.

    Parameters
    ----------
    coefficients : Coefficients
        Of all of them and their whites.
    whites : mapping of nickname to nickname
        The white of each paint's ladder; paints that have none are left out.
    against : str, optional
        The paint that counts as 1; by default the middle one.

    Returns
    -------
    strengths : list of Strength
        The strongest first.
    unsaid : mapping of nickname to str
        Why the strength of a paint can't be said.

    Raises
    ------
    InputError
        For a reference without a ladder, or whose strength can't be said.
    """
    if against is not None and against not in whites:
        raise InputError(
            Field("against"), against, "it has no ladder in white, so that its strength is unknown",
            "name a paint that was let down with white",
        )  # fmt: skip
    if not whites:
        return [], {}
    first = against or next(iter(whites))
    found, unsaid = _against(coefficients, whites, first)
    if against is None and found:
        middle = found[len(found) // 2].paint
        found, unsaid = _against(coefficients, whites, middle)
    if not found and against is not None:
        raise InputError(Field("against"), against, unsaid[against], "name another paint")
    return found, unsaid


def _against(
    c: Coefficients, whites: Mapping[str, str], reference: str
) -> tuple[list[Strength], dict[str, str]]:
    found, unsaid = [], {}
    for paint, white in whites.items():
        try:
            one = tinting_strength(c, paint, reference, white, reference_white=whites[reference])
        except ValueError as why:
            unsaid[paint] = str(why)
            continue
        found.append(one)
    return sorted(found, key=lambda s: -s.ratio), unsaid
