"""Which cards a fit refuses, each in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...cards.card import Card, Drawdown
from ...errors import CalibrateDo, InputError
from .tube import Tube


def _where(card: Card, d: Drawdown) -> str:
    return f"drawdown {card.drawdowns.index(d) + 1} ({d.step})"


def check_cards(cards: Sequence[Card], tubes: Mapping[str, Tube]) -> None:
    """Refuse cards that name no known paint, one beyond the theory, or no thickness.

    Parameters
    ----------
    cards : sequence of Card
    tubes : mapping of nickname to Tube
    """
    for card in cards:
        for d in card.drawdowns:
            for paint in d.masses:
                tube = tubes.get(paint)
                if tube is None:
                    raise InputError(
                        card.file,
                        f"{_where(card, d)}, masses.{paint}",
                        "expected a paint of this studio",
                        CalibrateDo.ADD_PAINT(),
                    )
                if tube.refuse:
                    raise InputError(
                        card.file,
                        f"{_where(card, d)}, masses.{paint}",
                        f"{paint} is {tube.refuse}: its colour changes with the angle or with the "
                        "lamp, which absorption and scattering can't describe",
                        "leave this paint out of the fit",
                    )
            if not d.opaque and d.gap_um is None and d.thickness_um is None:
                raise InputError(
                    card.file,
                    _where(card, d),
                    "expected how thick it was painted",
                    "give gap_um (the applicator's gap) or thickness_um (dry), or say "
                    "opaque = true if the black no longer shows",
                )
