"""Says of a printed card what was really weighed, and when it was painted."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches

from ...calibrate.cards.card import Card, Drawdown
from ...calibrate.cards.card_file import parse_card
from ...calibrate.cards.card_text import card_text
from ...calibrate.cards.measure import QUARTER, SPOON_ML
from ...calibrate.cards.weighing import composition
from ...calibrate.cards.weighing_out import WET_DENSITY
from ...calibrate.errors import Field, InputError
from ..common.files import write_whole
from ..common.remedies import StudioDo
from ..store.store import Store
from .printing import FOLDER
from .progress import BY_VOLUME, PRINTED, QUARTER_SPOONS, named_card, printed_here, printed_on

TAKEN = "taken"
"""What the part taken of another step is called in ``STEP/taken``."""
_MOST_G = 10_000.0
_QUARTERS = {"": 0.0, "¼": 0.25, "½": 0.5, "¾": 0.75}
_SLIP = 5.0
"""Times as much as printed, or as little, that look like a point out of place (our own rule)."""


@dataclass(frozen=True)
class Amount:
    """One amount that went into a step.

    Attributes
    ----------
    what : str
        Nickname of the paint, or `TAKEN`.
    words : str
        For the painter: ``1.6 g KEEL``.
    density : float
        Of what was taken, g/ml.
    spoon_ml : float
        What the card calls a spoon.
    """

    step: str
    what: str
    grams: float
    words: str
    density: float
    spoon_ml: float = SPOON_ML

    @property
    def label(self) -> str:
        """How it is set from a script: ``3:1/HULL``."""
        return f"{self.step}/{self.what}"


@dataclass(frozen=True)
class Filling:
    """A card that is being filled in.

    Attributes
    ----------
    card : Card
        As it stands in the studio.
    amounts : tuple of Amount
        In the order in which they were weighed.
    printed : date
        The day on which it came into the studio.
    """

    number: int
    card: Card
    amounts: tuple[Amount, ...]
    printed: date


def filling(store: Store, name: str) -> Filling:
    """Begin to fill in a card, by name or number.

    Raises
    ------
    InputError
        Where there is no such card, or its file was written by hand.
    """
    number, card, text = named_card(store, name)
    if not printed_here(text):
        raise InputError(
            card.file,
            None,
            f"card {card.name} wasn't printed here, so its file is yours",
            StudioDo.READ_MENDED(),
        )
    densities = {p: t.wet_density for p, t in store.paints.tubes().items()}
    return Filling(number, card, _amounts(card, densities), printed_on(store, number))


def _amounts(card: Card, densities: Mapping[str, float]) -> tuple[Amount, ...]:
    made = composition(card)
    by_step = dict(zip((d.step for d in card.drawdowns), made.fractions, strict=True))
    each = [densities.get(paint, WET_DENSITY) for paint in made.paints]
    by_volume = card.note.startswith(BY_VOLUME)
    spoon_ml = SPOON_ML * (QUARTER if card.note == QUARTER_SPOONS else 1.0)
    decimals = 1 if card.balance_g > 0.02 and not by_volume else 2
    found = []
    for d in card.drawdowns:
        parts: list[tuple[str, float, str, float]] = []
        if d.taken_from is not None:
            volumes = by_step[d.taken_from] / each
            parts.append((TAKEN, d.taken_g or 0.0, f"of {d.taken_from}", 1 / float(volumes.sum())))
        parts += [(p, g, p, densities.get(p, WET_DENSITY)) for p, g in d.masses.items()]
        for what, grams, words, density in parts:
            said = f"{grams:.{decimals}f} g"
            if by_volume:
                said = f"{said} ({grams / density:.3g} ml)"
            found.append(Amount(d.step, what, grams, f"{said} {words}", density, spoon_ml))
    return tuple(found)


def parse_amount(text: str, amount: Amount) -> float:
    """Read what was typed for an amount: grams, or ``ml`` or ``spoons`` if it says so.

    Raises
    ------
    InputError
        For anything that isn't an amount above 0.
    """
    found = re.fullmatch(
        r"(\d+(?:[.,]\d*)?|[.,]\d+)?\s*([¼½¾]?)\s*(g|ml|spoons?)?", text.strip().casefold()
    )
    value = float((found[1] or "0").replace(",", ".")) + _QUARTERS[found[2]] if found else 0.0
    unit = found[3] if found else None
    if unit is not None and unit != "g":
        value *= amount.density * (1.0 if unit == "ml" else amount.spoon_ml)
    if not 0 < value < _MOST_G:
        raise InputError(
            None,
            amount.label,
            f"expected grams above 0, got {text.strip()!r}",
            "write it as in 4.8, or with its unit as in 3.5 ml or 2 ¼ spoons",
        )
    return round(value, 4)


def slips(begun: Filling, changed: Mapping[str, float]) -> list[str]:
    """Say where so much more or less was weighed than printed that a point may be out of place.

    Nothing for a card that was filled in before: what stands there is no print.
    """
    if begun.card.date is not None:
        return []
    printed = {amount.label: amount.grams for amount in begun.amounts}
    return [
        f"{label}: {grams:g} g, where {printed[label]:.3g} g is printed."
        for label, grams in changed.items()
        if not printed[label] / _SLIP < grams < printed[label] * _SLIP
    ]


def parse_settings(begun: Filling, settings: Sequence[str]) -> dict[str, float]:
    """Read settings such as ``3=4.8`` or ``3:1/HULL=4.8``; grams by label.

    A number is that of an amount on the weighing sheet, from 1.

    Raises
    ------
    InputError
        For one that names no amount of the card, or one named twice.
    """
    labels = {amount.label: amount for amount in begun.amounts}
    numbered = {str(n): amount.label for n, amount in enumerate(begun.amounts, 1)}
    found: dict[str, float] = {}
    for setting in settings:
        label, sign, value = (part.strip() for part in setting.rpartition("="))
        label = numbered.get(label, label)
        if label not in labels:
            folded = {known.casefold(): known for known in labels}
            near = get_close_matches(label.casefold(), folded, n=1, cutoff=0.5)
            do = f"did you mean {folded[near[0]]}=...?" if near else "write NUMBER=GRAMS: 3=1.5"
            raise InputError(
                None,
                Field("set", setting),
                f"card {begun.card.name} has no such amount"
                if sign
                else "expected the number of an amount, or STEP/PAINT, and its grams",
                do,
            )
        if label in found:
            raise InputError(None, Field("set", setting), "it is set twice", "set it once")
        found[label] = parse_amount(value, labels[label])
    return found


def parse_differences(begun: Filling, text: str) -> dict[str, float]:
    """Read every setting of a line such as ``3=4.8 8=1,2``; grams by label.

    Raises
    ------
    InputError
        As `parse_settings`.
    """
    return parse_settings(begun, re.split(r"[\s,;]+(?=\d+\s*=)", text.strip()))


def parse_day(text: str | None, today: date | None = None, printed: date | None = None) -> date:
    """Read the day on which a card was painted; today where none is said.

    Raises
    ------
    InputError
        For what isn't a date, one to come, and one before the card was printed.
    """
    today = today or date.today()
    if text is None or not text.strip():
        return today
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            None,
            "painted on",
            f"expected a date, year first, got {text.strip()!r}",
            f"write it as in {today}",
        ) from None
    if day > today:
        raise InputError(None, "painted on", f"{day} is still to come", "give the day it was done")
    if printed is not None and day < printed:
        raise InputError(
            None, "painted on", f"the card was printed on {printed}, and {day} is before that",
            "give the day it was painted; if its paper is older than this studio, write the date "
            "into its file and read that again",
        )  # fmt: skip
    return day


def fill(store: Store, begun: Filling, changed: Mapping[str, float], painted: date) -> Card:
    """Keep what was weighed for a card and when it was painted, in its file and the studio.

    Parameters
    ----------
    changed : mapping of label to g
        What differs from the card as it stands.

    Raises
    ------
    InputError
        Where more is taken of a step than there was, or the file can't be written.
    """
    card = replace(
        begun.card,
        drawdowns=tuple(_changed(d, changed) for d in begun.card.drawdowns),
        date=painted.isoformat(),
    )
    text = card_text(card, [PRINTED])
    file = store.studio.folder / FOLDER / f"{card.name}.toml"
    with store.transaction():
        card = parse_card(text, str(file), [paint.nickname for paint in store.paints.all()])
        store.cards.add(card, text)
        write_whole({file: text.encode()})
    return card


def _changed(d: Drawdown, changed: Mapping[str, float]) -> Drawdown:
    masses = {p: changed.get(f"{d.step}/{p}", grams) for p, grams in d.masses.items()}
    return replace(d, masses=masses, taken_g=changed.get(f"{d.step}/{TAKEN}", d.taken_g))
