"""A mix as a person types it, with the K and S that it is foretold by."""

from __future__ import annotations

from dataclasses import dataclass

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ..mixing.medium import MEDIUM, NAME, resolver, with_medium
from ..mixing.prediction import by_weight, mix_words, parse_mix
from ..store.store import Store
from .densities import with_densities


@dataclass(frozen=True)
class TypedMix:
    """A mix of a studio's paints, perhaps with clear medium in it.

    Attributes
    ----------
    coefficients : Coefficients
        Of its paints.
    parts : dict of nickname to parts by weight
    words : str
        As it was typed.
    reckoned : str
        By which model, in a sentence.
    assumed : list of str
        Paints whose density is only typical, where the parts were by volume.
    """

    coefficients: Coefficients
    parts: dict[str, float]
    words: str
    reckoned: str
    assumed: list[str]


def typed_mix(store: Store, text: str, by_volume: bool) -> TypedMix:
    """Understand a mix such as ``ANCHOR=2,ROPE=1,MEDIUM=7``.

    Raises
    ------
    InputError
        See `parse_mix`; and for paints without a fit, or medium alone.
    """
    parts = parse_mix(text, resolver(lambda name: store.paints.find(name).nickname))
    paints = [nickname for nickname in parts if nickname != MEDIUM]
    if not paints:
        raise InputError("mix", text, "medium alone has no colour", "add a paint")
    coefficients = store.fits.coefficients(paints)
    reckoned = store.fits.model_words(coefficients)
    if MEDIUM in parts:
        coefficients = with_medium(coefficients)
    names = {MEDIUM: NAME} | {paint.nickname: paint.name for paint in store.paints.all()}
    words, assumed = mix_words(parts, names), list[str]()
    if by_volume:
        coefficients, assumed = with_densities(store, coefficients)
        parts = by_weight(coefficients, parts)
    return TypedMix(coefficients, parts, words, reckoned, assumed)
