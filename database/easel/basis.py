"""What an answer rests on: tubes with their lots, the model, and how a mix is looked at."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ...calibrate.errors import InputError, Sentence
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import View
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Gloss
from ..common.remedies import StudioDo
from ..common.words import few
from ..fits.out_of_date import outdated_paints
from ..mixing.drying import Drying
from ..mixing.film import Film, FilmPalette
from ..mixing.made import Made, as_made
from ..mixing.measures import Measure, density
from ..mixing.medium import MEDIUM, NAME, resolver, with_medium
from ..mixing.palette import Palette
from ..mixing.target import Target
from ..mixing.viewing import AS_READ, Viewing
from .asked_colour import kept_viewing
from .densities import volume_slip, with_densities
from .drying import medium_of, one_medium, taught
from .experience import DriedBatch, Widening, dried_batches, widening

if TYPE_CHECKING:
    from ..store.store import Store

HANDY_G = 10.0
"""Of a mix that nobody says how much to make of, where amounts are weighed or drawn up."""


@dataclass(frozen=True)
class Manner:
    """How mixes are painted and looked at.

    Attributes
    ----------
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
        return cls(target.viewing.under(finish), film)

    @classmethod
    def of_kept(cls, predicted: Mapping[str, Any]) -> Manner:
        """Return how a kept recipe was looked at."""
        film = None
        if "thickness_um" in predicted:
            film = Film.of_kept(predicted)
        return cls(kept_viewing(predicted), film)

    @property
    def said(self) -> dict[str, Any]:
        """What is kept of it with a recipe."""
        said: dict[str, Any] = {"viewing": self.viewing.said}
        if self.film:
            said |= self.film.said
        return said


@dataclass(frozen=True)
class Tube:
    """A tube that may be in a mix.

    Attributes
    ----------
    lot : str or None
        Of the tube in use.
    density : float
        g/ml.
    density_assumed : bool
        Whether it is only typical of its pigments, never weighed.
    scan_made : bool
        Whether its K and S were read by a scanner.
    medium : str
        Its binder, by which it is known how it dries; empty where that wasn't said.
    """

    nickname: str
    name: str
    lot: str | None
    density: float
    density_assumed: bool
    scan_made: bool
    medium: str = ""


@dataclass(frozen=True)
class Basis:
    """What an answer rests on; the studio isn't needed any more.

    Attributes
    ----------
    manner : Manner
        How mixes are painted and looked at.
    read : Coefficients
        Of the tubes that may be used, as they were read.
    tubes : tuple of Tube
        The same, the clear medium aside.
    names : mapping of nickname to name
        Of every paint of the studio, and of the clear medium.
    model_words : str
        By which model mixes are calculated, in a sentence.
    fits : tuple of (nickname, int)
        The number of each tube's fit.
    fitted_on : str
        The day of the last of them.
    dryings : tuple of (medium, Drying)
        What was taught of how media dry.
    dried : tuple of DriedBatch
        Batches that tell whether bands are right.
    out_of_date : tuple of (nickname, str)
        Tubes whose fits no longer hold, and why.
    """

    manner: Manner
    read: Coefficients
    tubes: tuple[Tube, ...]
    names: Mapping[str, str]
    model_words: str
    fits: tuple[tuple[str, int], ...]
    fitted_on: str = ""
    dryings: tuple[tuple[str, Drying], ...] = ()
    dried: tuple[DriedBatch, ...] = ()
    out_of_date: tuple[tuple[str, str], ...] = ()

    @property
    def view(self) -> View:
        """Light and observer."""
        return self.manner.viewing.view

    @cached_property
    def palette(self) -> Palette:
        """The tubes as they are mixed and looked at.

        Raises
        ------
        InputError
            As `FilmPalette.of`.
        """
        return FilmPalette.of(self.manner.viewing.of(self.read), self.manner.film, self.view)

    def made(
        self, parts: Mapping[str, float], lab: Array, measure: Measure, grams: float | None
    ) -> Made:
        """Return a mix by weight as it is made.

        Parameters
        ----------
        parts : mapping of nickname to share by weight
        lab : (3,) array
            CIELAB of what is to be matched.
        grams : float or None
            To be made; None: a handy batch.
        """
        asked = None
        if measure.read_off or (grams is not None and measure.size is not None):
            by = density(self.read, parts) if measure.by_volume else 1.0
            asked = (HANDY_G if grams is None else grams) / by / (measure.size or 1.0)
        return as_made(self.palette, parts, lab, measure, asked)

    @property
    def model(self) -> str:
        """Name of the model that counts most."""
        return self.read.model

    @property
    def shares(self) -> tuple[tuple[str, float], ...]:
        """What each model counts for."""
        return tuple((each.model, share) for share, each in self.read.by_model)

    @property
    def key(self) -> tuple[Any, ...]:
        """By which two of them are told apart."""
        return (
            self.manner,
            self.tubes,
            self.read.paints,
            self.fits,
            self.shares,
            self.dryings,
            self.dried,
            self.out_of_date,
        )

    @property
    def calculated(self) -> Sentence:
        """By which model, and whether a fit that it rests on no longer holds, in sentences."""
        old: dict[str, list[str]] = {}
        for paint, why in self.out_of_date:
            old.setdefault(why, []).append(self.names.get(paint, paint))
        if not old:
            return Sentence(self.model_words)
        said = "; ".join(f"the fit of {few(names)} {why}" for why, names in old.items())
        return Sentence(f"{self.model_words} But {said}: ", StudioDo.FIT_AGAIN(), ".")

    def scanned(self, paints: Collection[str]) -> list[str]:
        """Return those of some paints that a scanner read, not an instrument."""
        return [tube.nickname for tube in self.tubes if tube.scan_made and tube.nickname in paints]

    def assumed(self, paints: Collection[str]) -> list[str]:
        """Return those of some paints whose density is only typical."""
        return [t.nickname for t in self.tubes if t.density_assumed and t.nickname in paints]

    def volume_slip(self, parts: Mapping[str, float]) -> float:
        """CIEDE2000 that a mix may be off, measured by volume: one standard deviation."""
        return volume_slip(self.palette, parts, self.assumed(parts))

    def widening(self, paints: Collection[str]) -> Widening:
        """Return what dried batches make of the band of a mix."""
        return widening(self.dried, [paint for paint in paints if paint != MEDIUM])

    def drying(self, paints: Iterable[str]) -> Drying | None:
        """Return how a mix changes as it dries; None where that was never taught.

        What an instrument reads is of dry films alone, and a film lets its ground show.
        """
        medium = one_medium({tube.nickname: tube.medium for tube in self.tubes}, paints)
        if medium is None or self.manner.film is not None or not self.manner.viewing.finish:
            return None
        return dict(self.dryings).get(medium)

    def of(self, paints: Sequence[str]) -> Basis:
        """Return some of the tubes alone, in that order."""
        return replace(
            self,
            read=self.read.select(list(paints)),
            tubes=tuple(tube for tube in self.tubes if tube.nickname in paints),
            fits=tuple(fit for fit in self.fits if fit[0] in paints),
            out_of_date=tuple(old for old in self.out_of_date if old[0] in paints),
        )

    @property
    def said(self) -> dict[str, Any]:
        """All of it as plain values, for programs."""
        film = self.manner.film
        return {
            "viewing": self.manner.viewing.said,
            "film": film
            and {"thickness_um": film.thickness_um, "over": film.over, "coats": film.coats},
            "light": self.view.illuminant,
            "observer_degrees": self.view.observer,
            "model": self.model,
            "models": dict(self.shares),
            "out_of_date": dict(self.out_of_date),
            "lots": [
                {
                    "paint": tube.nickname,
                    "lot": tube.lot,
                    "density": tube.density,
                    "density_assumed": tube.density_assumed,
                    "scan_made": tube.scan_made,
                }
                for tube in self.tubes
            ],
        }


def names_of(store: Store) -> dict[str, str]:
    """Name of every paint, by nickname; the clear medium too."""
    return {MEDIUM: NAME} | {paint.nickname: paint.name for paint in store.paints.all()}


def nickname(store: Store, text: str) -> str:
    """Return the nickname of what is typed: of a tube, or of the clear medium.

    Raises
    ------
    InputError
        Where it fits none, or several.
    """
    return resolver(lambda name: store.paints.find(name).nickname)(text)


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


def on_hand(
    store: Store,
    manner: Manner,
    must: Sequence[str] = (),
    without: Sequence[str] = (),
    laid_out: Sequence[str] | None = None,
) -> Basis:
    """Gather the tubes on hand that have a fit.

    Parameters
    ----------
    manner : Manner
        In a film the clear medium may be used, unless it is left out.
    must, without : sequence of str
        Nicknames of what has to be among them, on hand or not, and of what may not.
    laid_out : sequence of str, optional
        Nicknames; nothing else on hand is used.

    Raises
    ------
    InputError
        Where none is left, or one is both asked for and left out.
    """
    with store.snapshot():
        tubes = [m for m in must if m != MEDIUM]
        out = [paint for paint in without if paint != MEDIUM]
        if laid_out is not None:
            there = {paint.nickname for paint in store.paints.all() if paint.on_hand}
            if not there & {*laid_out, *tubes}:
                raise InputError(
                    None, None, "none of the tubes laid out is on hand", "lay out others"
                )
            out += sorted(there - {*laid_out, *tubes, *out})
        medium = MEDIUM in must or (manner.film is not None and MEDIUM not in without)
        return _basis(store, manner, usable(store, tubes, out), medium)


def just(store: Store, manner: Manner, paints: Sequence[str]) -> Basis:
    """Gather these paints and no other; the clear medium may be among them.

    Raises
    ------
    InputError
        Where one has no fit.
    """
    with store.snapshot():
        read = store.fits.coefficients([paint for paint in paints if paint != MEDIUM])
        return _basis(store, manner, with_densities(store, read)[0], MEDIUM in paints)


def resting_on(store: Store, manner: Manner, read: Coefficients) -> Basis:
    """Gather what goes with these K and S, densities as they are; no others."""
    with store.snapshot():
        return _basis(store, manner, read, False)


def _basis(store: Store, manner: Manner, read: Coefficients, medium: bool) -> Basis:
    manner = replace(manner, viewing=manner.viewing.by(read.surface))
    current = store.fits.current(read.model, read.paints)
    fits = tuple((p, current[p]) for p in read.paints if p in current)
    assumed = with_densities(store, read)[1]
    tubes = []
    for paint in store.paints.all():
        if paint.nickname in read.paints:
            row = read.index(paint.nickname)
            lot = paint.current_lot.lot if paint.current_lot is not None else None
            tubes.append(
                Tube(
                    paint.nickname, paint.name, lot, float(read.density[row]),
                    paint.nickname in assumed, bool(read.scan_made[row]), medium_of(paint.binder),
                )
            )  # fmt: skip
    return Basis(
        manner, with_medium(read) if medium else read, tuple(tubes), names_of(store),
        store.fits.model_words(read), fits, store.fits.day({number for _, number in fits}),
        tuple(taught(store).items()), dried_batches(store),
        tuple((p, why) for p, why in outdated_paints(store).items() if p in read.paints),
    )  # fmt: skip
