"""Steps from one colour to another: what is asked, how it is searched, and what each takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.colour import ciede2000, in_words
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Gloss
from ..mixing.film import predict_as
from ..mixing.measures import amount_words, batch_grams, density
from ..mixing.ranking import VISIBLE
from ..mixing.recipes import Answer, recipes_of_many
from ..mixing.steps.between import Parts, Steps, steps_between
from ..mixing.target import Target
from .basis import HANDY_G, Basis, Manner, on_hand
from .habits import BY_SCALE, Measuring

if TYPE_CHECKING:
    from ..store.store import Store

FEWEST, MOST = 3, 20
"""Steps that may be asked for, both ends among them."""


@dataclass(frozen=True)
class StepsRequest:
    """What is asked for.

    Attributes
    ----------
    start, end : Target
        Where both are mixes of tubes, each step is a blend of the two. Else the steps keep to the
        straight line between the colours.
    count : int
        Steps, both ends among them.
    make : str
        Of each step: ``40ml`` or ``25g``; empty: a handy amount.
    must, without : tuple of str
        Nicknames of what has to be in a mix that is searched, and of what may not.
    laid_out : tuple of str or None
        Nicknames of the tubes on hand that may be used; None: all.
    finish : {"gloss", "satin", "matt"} or None
    most : int
        Tubes in a mix, at most.
    """

    start: Target
    end: Target
    count: int = 7
    make: str = ""
    measuring: Measuring = BY_SCALE
    must: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    laid_out: tuple[str, ...] | None = None
    finish: Gloss | None = None
    most: int = 4


@dataclass(frozen=True)
class SteppedWay:
    """Steps from one colour to another, and all that they rest on.

    Attributes
    ----------
    ends : tuple of Target
        As they are compared.
    off : tuple of float
        CIEDE2000 of the first and of the last step from them.
    band : (N,) array
        CIEDE2000 that each step stays within of its prediction, 95 of 100 times.
    straight : bool
        Whether they keep to the straight line between the colours.
    """

    basis: Basis
    ends: tuple[Target, Target]
    off: tuple[float, float]
    found: Steps
    band: Array
    straight: bool

    @property
    def left_words(self) -> str:
        """Say what of the heaps is left over; empty where nothing is."""
        measure = self.found.heaps[0].measure
        over = measure.rounded(self.found.left_over)
        return (
            f"{amount_words(over, measure)} of the heaps is left over in all." if over > 0 else ""
        )

    @property
    def words(self) -> list[str]:
        """Say how equal the steps are, which way they take, and where an end isn't reached."""
        each = float(self.found.apart.mean())
        said = [
            f"{len(self.found.taken)} colours, each CIEDE2000 {each:.1f} from the next "
            f"({in_words(each)}); so measured, none is more than {100 * self.found.uneven:.0f} % "
            "off that."
        ]
        far = [(off, end) for off, end in zip(self.off, self.ends, strict=True) if off > VISIBLE]
        if far:
            said.append(" ".join(
                f"These tubes come CIEDE2000 {off:.1f} near to {end.said}." for off, end in far
            ))  # fmt: skip
        if self.straight:
            said.append(
                "The steps keep to the straight line between the colours to within CIEDE2000 "
                f"{self.found.departs:.1f}."
            )
        else:
            said.append(
                "Each step is a blend of both ends, as two heaps are mixed toward each other."
            )
        return said


@dataclass(frozen=True)
class StepsQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it."""

    basis: Basis
    ends: tuple[Target, Target]
    request: StepsRequest

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        ends = tuple((each.said, tuple(each.lab), each.viewing) for each in self.ends)
        asked = self.request
        return "steps", self.basis.key, ends, asked.count, asked.make, asked.measuring, asked.must

    def answer(self) -> SteppedWay:
        """Search.

        Raises
        ------
        InputError
            As `recipes_of_many` and `batch_grams`; and for two ends of one colour.
        """
        basis, asked = self.basis, self.request
        palette, measure = basis.palette, asked.measuring.measure
        apart = float(ciede2000(self.ends[0].lab, self.ends[1].lab))
        if apart < VISIBLE:
            raise InputError(
                Field("to"), self.ends[1].said,
                f"it lies CIEDE2000 {apart:.1f} from {self.ends[0].said}: no step between them "
                "could be seen", "name a colour farther off",
            )  # fmt: skip
        straight = any(end.parts is None for end in self.ends)
        ends = self._ends()
        grams = HANDY_G
        if asked.make:
            grams = batch_grams(basis.read, ends[0], asked.make)
        each = measure.batch[1]
        if measure.read_off or (asked.make and measure.size is not None):
            by = density(basis.read, ends[0]) if measure.by_volume and asked.make else 1.0
            each = grams / by / (measure.size or 1.0)
        each = max(measure.rounded(each), measure.step)
        found = steps_between(
            palette, ends, asked.count, measure, each, self._mixes(ends) if straight else None
        )
        made = predict_as(palette, palette.coefficients, found.shares)
        band = ciede2000_band(made.lab(basis.view), made.lab_covariance(basis.view))
        band = band * [self._wider(shares) for shares in found.shares]
        off = tuple(
            float(ciede2000(found.lab[i], target.lab))
            for i, target in zip((0, -1), self.ends, strict=True)
        )
        return SteppedWay(basis, self.ends, (off[0], off[1]), found, band, straight)

    def _ends(self) -> tuple[Parts, Parts]:
        """A mix for each end: itself where it is one, else the best way to its colour."""
        sought = [end for end in self.ends if end.parts is None]
        ways = iter(self._searched(sought, self.basis.read.paints, self.request.must))
        start, end = (
            dict(each.parts) if each.parts is not None else next(ways).recipes[0].parts
            for each in self.ends
        )
        return start, end

    def _searched(
        self, targets: Sequence[Target], paints: Sequence[str], must: Sequence[str] = ()
    ) -> list[Answer]:
        if not targets:
            return []
        few = self.basis.palette.select(paints)
        return recipes_of_many(
            few.coefficients, targets, self.request.most, must, 1, self.basis.names,
            film=self.basis.manner.film, view=self.basis.view,
        )  # fmt: skip

    def _mixes(self, ends: tuple[Parts, Parts]) -> Callable[[Array], list[Parts]]:
        """Mixes for colours between: of the tubes of both ends, or of all where those don't do."""
        own = [p for p in self.basis.read.paints if any(p in end for end in ends)]

        def mixes(labs: Array) -> list[Parts]:
            targets = [Target("between", lab) for lab in labs]
            found = [answer.recipes[0] for answer in self._searched(targets, own)]
            far = [i for i, each in enumerate(found) if each.difference > VISIBLE]
            if far and len(own) < len(self.basis.read.paints):
                every = self._searched([targets[i] for i in far], self.basis.read.paints)
                for i, answer in zip(far, every, strict=True):
                    found[i] = answer.recipes[0]
            return [each.parts for each in found]

        return mixes

    def _wider(self, shares: Array) -> float:
        paints = [p for p, s in zip(self.basis.read.paints, shares, strict=True) if s > 0]
        return self.basis.widening(paints).times


def steps_question(store: Store, request: StepsRequest) -> StepsQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`; and for fewer or more steps than can be told.
    """
    if not FEWEST <= request.count <= MOST:
        raise InputError(
            Field("steps"), str(request.count), f"expected {FEWEST} to {MOST}", "choose so many"
        )
    manner = Manner.matching(request.start, request.finish)
    named = [p for end in (request.start, request.end) for p in end.parts or ()]
    basis = on_hand(
        store, manner, tuple(dict.fromkeys([*request.must, *named])), request.without,
        request.laid_out,
    )  # fmt: skip
    ends = tuple(
        each.lit(manner.viewing.light).under(manner.viewing, basis.read.surface)
        for each in (request.start, request.end)
    )
    return StepsQuestion(basis, (ends[0], ends[1]), request)
