"""What a fit refuses, each in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..cards.card import Card, Drawdown
from ..errors import InputError
from ..optics.coefficients import Coefficients
from .seen import in_mixture, sees_substrate, unread
from .tube import Tube

if TYPE_CHECKING:
    from .problem import Problem


def _where(card: Card, d: Drawdown) -> str:
    return f"drawdown {card.drawdowns.index(d) + 1} ({d.step})"


def check_cards(cards: Sequence[Card], tubes: Mapping[str, Tube]) -> None:
    """Refuse cards that name no known paint, one beyond the theory, or no thickness."""
    for card in cards:
        for d in card.drawdowns:
            for paint in d.masses:
                tube = tubes.get(paint)
                if tube is None:
                    raise InputError(
                        card.file,
                        f"{_where(card, d)}, masses.{paint}",
                        "expected a paint of this studio",
                        "add it with 'tintladder tubes add', or mend its nickname in the card",
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


def check_fittable(problem: Problem, cards: Sequence[Card], known: Coefficients | None) -> None:
    """Refuse a paint that no reading, or none that tells K from S, speaks for."""
    seen = np.asarray(sees_substrate(problem).any(axis=1))
    mixed = in_mixture(problem)
    read = np.asarray(~unread(problem).all(axis=1))
    for i, paint in enumerate(problem.paints):
        card = next(c for c in cards if paint in c.paints)
        if known is not None and paint in known.paints:
            continue
        if not read[i]:
            raise InputError(
                card.file,
                f"paint {paint}",
                "no patch with this paint was read",
                "read its patches, or take it off the card",
            )
        if not seen[i] and not mixed[i]:
            raise InputError(
                card.file,
                f"paint {paint}",
                "its masstone hides black and white at every wavelength and it has no ladder, so "
                "only K/S can be known",
                "add tints in white, or draw it down thinner",
            )
