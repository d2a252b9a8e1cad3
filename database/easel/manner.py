"""How a mix is painted and looked at: hiding or as a film, and under which finish."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.surface import Gloss, Surface
from ..mixing.batch import area_grams
from ..mixing.film import Film, FilmPalette
from ..mixing.medium import MEDIUM, with_medium
from ..mixing.palette import Palette
from ..mixing.recipes import Answer, recipe_as_given
from ..mixing.target import Target
from ..mixing.viewing import AS_READ, Viewing
from .asked_colour import kept_target, kept_viewing
from .on_hand import usable

if TYPE_CHECKING:
    from ..store import schema
    from ..store.store import Store


@dataclass(frozen=True)
class Manner:
    """How mixes are painted and looked at.

    Attributes
    ----------
    viewing : Viewing
    film : Film or None
        None: paint that hides.
    """

    viewing: Viewing = AS_READ
    film: Film | None = None

    @classmethod
    def matching(
        cls, target: Target, finish: Gloss | None = None, film: Film | None = None
    ) -> Manner:
        """Return how a target is matched: as it is meant itself, unless a finish is named."""
        return cls(Viewing(finish) if finish else target.viewing, film)

    @classmethod
    def of_kept(cls, predicted: Mapping[str, Any]) -> Manner:
        """Return how a kept recipe was looked at."""
        film = None
        if "thickness_um" in predicted:
            film = Film(predicted["thickness_um"], predicted["over"])
        return cls(kept_viewing(predicted), film)

    @property
    def said(self) -> dict[str, Any]:
        """What is kept of it with a recipe."""
        said: dict[str, Any] = {"viewing": self.viewing.said}
        if self.film:
            said |= {"thickness_um": self.film.thickness_um, "over": self.film.over}
        return said

    def palette(self, read: Coefficients) -> Palette:
        """Return paints as they are mixed and seen; `read` as an instrument reads them.

        Raises
        ------
        InputError
            As `FilmPalette.of`.
        """
        return FilmPalette.of(self.viewing.of(read), self.film)

    def target(self, wanted: Target, surface: Surface) -> Target:
        """Return a target as it is compared with a mix; `surface` it was read through."""
        return wanted.under(self.viewing, surface)

    def area_grams(
        self, coefficients: Coefficients, parts: Mapping[str, float], text: str, coats: int
    ) -> float:
        """Grams for an area: in so many coats, or in the one film that was asked for.

        Raises
        ------
        InputError
            As `area_grams`.
        """
        if self.film is not None:
            return area_grams(coefficients, parts, text, 1, self.film.thickness_um)
        return area_grams(coefficients, parts, text, coats)


def tubes_for(
    store: Store, must: Sequence[str] = (), without: Sequence[str] = (), medium: bool = False
) -> Coefficients:
    """K and S of what may be used, as read; the clear medium among it where asked, or in `must`.

    Raises
    ------
    InputError
        As `usable`.
    """
    found = usable(store, [m for m in must if m != MEDIUM], without)
    medium = medium and MEDIUM not in without
    return with_medium(found) if medium or MEDIUM in must else found


def as_kept(
    store: Store, kept: schema.Recipe, names: Mapping[str, str], manner: Manner | None = None
) -> tuple[Palette, Answer]:
    """Return a kept recipe just as it was kept, judged by the fits of today.

    Parameters
    ----------
    store : Store
    kept : schema.Recipe
    names : mapping of nickname to name
    manner : Manner, optional
        Painted and looked at otherwise than it was kept for.

    Raises
    ------
    InputError
        Where one of its tubes has no fit any more.
    """
    read = tubes_for(store, list(kept.parts)).select(list(kept.parts))
    palette = (manner or Manner.of_kept(kept.predicted)).palette(read)
    wanted = kept_target(kept)
    one = recipe_as_given(palette, kept.parts, wanted, names)
    return palette, Answer(wanted, (one,), 1, one.difference, "")
