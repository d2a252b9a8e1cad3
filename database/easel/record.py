"""What a picture or a paper rests on, said of all of them alike."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from ..common.words import few
from ..mixing.medium import MEDIUM
from ..mixing.model_choice import WORDS
from ..mixing.viewing import Viewing
from .basis import Basis

HIDING = "films that hide"
_NAMED = 12
"""So many paints are named; of more their number stands."""


@dataclass(frozen=True)
class Record:
    """The facts that a figure takes and prints.

    Attributes
    ----------
    paints : tuple of (name, lot)
        The lot is empty where none is known.
    source : str
        The release or the fits, and their day.
    models : tuple of str
        In words.
    viewing : Viewing
        How colours are looked at: light and observer; as seen in a finish, or by which geometry.
    dried : str
        Finish of the films that were read.
    film : str
        How thick the films shown are.
    band : str
        What of it shows how sure it is.
    observer : int
        Degrees of the CIE's standard observer.
    """

    paints: tuple[tuple[str, str], ...]
    source: str
    models: tuple[str, ...]
    viewing: Viewing
    dried: str
    film: str = HIDING
    band: str = ""
    observer: int = 2

    @property
    def paint_words(self) -> str:
        """The paints with their lots; of many the first ones."""
        if len(self.paints) > _NAMED:
            return f"{len(self.paints)} paints"
        return ", ".join(f"{name} (lot {lot})" if lot else name for name, lot in self.paints)

    @property
    def basis_words(self) -> str:
        """All but the paints."""
        view = self.viewing.view
        seen = self.viewing.words.replace(str(view), str(replace(view, observer=self.observer)))
        if not self.viewing.finish:
            seen += f", on films that dried {self.dried}"
        said = [f"{self.source}, by {' and '.join(self.models)}", self.film, seen, self.band]
        return f"{'; '.join(filter(None, said))}."

    @property
    def lines(self) -> tuple[str, str]:
        """All of it, what is shown and what that rests on."""
        return f"{self.paint_words}.", self.basis_words

    @property
    def words(self) -> str:
        """All of it in a line."""
        return " ".join(self.lines)


def record_of(
    basis: Basis,
    paints: Collection[str] | None = None,
    viewing: Viewing | None = None,
    film: str = HIDING,
    band: str = "",
) -> Record:
    """Return the record of what is made of a basis.

    Parameters
    ----------
    paints : collection of str, optional
        Nicknames of those that are shown; default: all.
    viewing : Viewing, optional
        Where colours are looked at otherwise than mixes are.
    film, band : str
        As in `Record`.
    """
    shown = [t for t in basis.tubes if paints is None or t.nickname in paints]
    named = {t.nickname: (t.name, t.lot or "") for t in shown}
    order = [p for p in paints or named if p in named and p != MEDIUM]
    numbers = sorted({number for paint, number in basis.fits if paint in named})
    return Record(
        tuple(named[p] for p in order),
        fit_words(numbers, basis.fitted_on),
        tuple(WORDS[model] for model, _ in basis.shares),
        (viewing or basis.manner.viewing).by(basis.read.surface),
        basis.read.surface.gloss,
        film,
        band,
    )


def fit_words(numbers: Sequence[int], day: str) -> str:
    """Return the fits by their numbers, and the day of the last."""
    if not numbers:
        return "Fits that aren't kept"
    many = f"Fits {few([str(n) for n in numbers], 4)}" if len(numbers) > 1 else f"Fit {numbers[0]}"
    return f"{many} of {day}" if day else many
