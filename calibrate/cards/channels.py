"""A card as a scanner or camera saw it: three numbers a patch instead of a spectrum."""

from __future__ import annotations

from dataclasses import dataclass

from ..optics.spectra import Array
from ..optics.surface import Surface
from .card import Card


@dataclass(frozen=True)
class CardChannels:
    """What three channels read of a card's patches.

    Attributes
    ----------
    card : Card
    channels : (N, 3) array
        Linear in light, red, green, blue; 1 in each is the perfect diffuser.
    variance : (N, 3) array
        Of `channels`.
    labels : tuple of N str
        The card's patch labels; a repeat is a row of the same label.
    surface : Surface
        As the device sees a glossy drawdown: 45:0 for a flatbed.
    source : str
        The picture.
    """

    card: Card
    channels: Array
    variance: Array
    labels: tuple[str, ...]
    surface: Surface
    source: str
