"""Labels for tubes: how each looks alone and let down, how it leans, covers and tints."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD
from ...calibrate.errors import InputError
from ...calibrate.fit.judging.hiding import coats_in_words
from ...calibrate.fit.judging.quality_report import quality_report
from ...calibrate.fit.judging.strength import strength_in_words
from ...calibrate.optics.colour import lab
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..common.words import caution
from ..easel.habits import habits
from ..easel.record import Record
from ..mixing.ladder import half_way, ratio_label, tint_path
from ..mixing.strengths import rank
from ..mixing.tubes.greying import lean
from ..pictures.swatch import films, tint_band
from ..store.in_use import whites_of
from .sheet import Paper

if TYPE_CHECKING:
    from ..store.store import Store

_TALL_MM, _SWATCH_MM = 46.0, 31.0


@dataclass(frozen=True)
class TubeLabel:
    """What a label says of a tube.

    Attributes
    ----------
    masstone : (3,) array
        CIELAB of a film that hides.
    tint : (3,) array or None
        The same, let down half way to white; None where it was never let down.
    ratio : str
        Of that tint, white to colour by weight.
    sayings : tuple of str
        How it leans, covers and tints, and how it is looked at.
    """

    name: str
    nickname: str
    maker: str
    pigments: str
    masstone: Array
    tint: Array | None
    ratio: str
    sayings: tuple[str, ...]
    caution: str


def tube_labels(store: Store, paints: Sequence[str] = ()) -> list[TubeLabel]:
    """Gather the labels of some tubes, by nickname; default: of those on hand that have a fit.

    Raises
    ------
    InputError
        Where a tube has no fit, or none has.
    """
    with store.snapshot() as session:
        known = {paint.nickname: paint for paint in store.paints.all()}
        fitted = store.fits.current()
        chosen = list(paints) or [p for p in fitted if known[p].on_hand]
        if not chosen:
            raise InputError(None, None, "no tube on hand has a fit yet", StudioDo.FIT())
        fits = {p: store.fits.of(p) for p in chosen}
        coefficients, seen = store.fits.coefficients(), habits(store).seen
        # As every other face mixes them: a fit is of one model, and several may count.
        used = {p: store.fits.coefficients(fit.coefficients.paints[:2]) for p, fit in fits.items()}
        readings = store.readings.all()
        ladders = whites_of(session, fitted)
    in_use = {p: known[p].current_lot for p in chosen}
    lots = {p: "" if lot is None or not lot.lot else f"lot {lot.lot}" for p, lot in in_use.items()}
    paths = {p: tint_path(fit) for p, fit in fits.items()}
    whites = {
        p: fit.coefficients.paints[1]
        for p, fit in fits.items()
        if paths[p] is not None and fit.coefficients.paints[1] in coefficients.paints
    }
    strengths = {s.paint: s for s in rank(coefficients, ladders)[0]}
    labels = []
    for p in chosen:
        paint, fit, path, sayings = known[p], fits[p], paths[p], []
        grid = used[p].wavelengths
        masstone = lab(films(used[p], [{p: 1.0}], viewing=seen), grid, seen.view)[0]
        tint, ratio = None, ""
        if path is not None and p in whites:
            parts = half_way(path)
            mix = {p: 1.0, whites[p]: parts}
            tint = lab(films(used[p], [mix], viewing=seen), grid, seen.view)[0]
            ratio = ratio_label(parts)
            sayings.append(f"in tint {lean(coefficients, p, whites[p])}")
        if (hiding := quality_report(fit, readings).hiding) is not None:
            thick = hiding.thickness_um
            low, high = hiding.band
            sayings.append(
                f"covers at {thick:.0f} µm dry ({low:.0f} to {high:.0f}), {coats_in_words(thick)}"
                if math.isfinite(thick)
                else "never covers black"
            )
        if (s := strengths.get(p)) is not None and s.reference != p:
            low, high = s.band
            said = f"{strength_in_words(s.ratio)} {known[s.reference].name}"
            sayings.append(f"tints {said} ({low:.2f} to {high:.2f})")
        if fit.verdict != "good to mix by":
            sayings.append(fit.verdict)
        if bool(coefficients.scan_made[coefficients.index(p)]):
            sayings.append("read by a scanner, not an instrument")
        sure = tint_band(used[p], [{p: 1.0}], seen)
        sayings.append(f"shown {seen.words}")
        sayings.append(f"in films that hide its colour is sure to within {sure:.1f}")
        labels.append(
            TubeLabel(
                paint.name, p, ", ".join(filter(None, (paint.maker, paint.range))),
                ", ".join(filter(None, (" ".join(paint.pigments), lots[p]))), masstone, tint, ratio,
                tuple(sayings),
                caution(paint.pigments),
            )
        )  # fmt: skip
    return labels


def print_labels(
    labels: Sequence[TubeLabel], page: str = "a4", record: Record | None = None
) -> bytes:
    """Print labels to cut out.

    Parameters
    ----------
    page : {"a4", "letter"}
    record : Record, optional
        What they rest on.

    Returns
    -------
    bytes
        A PDF.

    Raises
    ------
    InputError
        For a paper that there isn't.
    """
    under = (
        "Cut along the lines. In each square the printed colour, and room to paint the real one."
    )
    paper = Paper("Tube labels", under, page, record)
    for label, box in zip(labels, paper.places(2, _TALL_MM, 0.0), strict=False):
        _draw(paper, label, box)
    return paper.finish()


def _draw(paper: Paper, label: TubeLabel, box: Box) -> None:
    paper.page.outline(box, grey=0.7)
    x, y, width = box.x_mm + 3, box.y_mm + 2.5, box.width_mm - 6
    paper.page.one_line(label.name, Box(x, y, width, 5.5), 11, font=BOLD)
    under = ", ".join(filter(None, (label.nickname, label.maker, label.pigments)))
    paper.page.one_line(under, Box(x, y + 5.6, width, 3.8), 7, grey=0.3)
    top = y + 11
    squares = [(label.masstone, "masstone")]
    if label.tint is not None:
        squares.append((label.tint, label.ratio))
    for i, (colour, said) in enumerate(squares):
        left = x + i * (_SWATCH_MM / 2 + 1.5)
        paper.swatch(Box(left, top, _SWATCH_MM / 2, _SWATCH_MM - 4), colour)
        place = Box(left, top + _SWATCH_MM - 3.6, _SWATCH_MM / 2, 3.4)
        paper.page.one_line(said, place, 7, grey=0.2)
    left = x + len(squares) * (_SWATCH_MM / 2 + 1.5) + 1
    words = ".\n".join(s[:1].upper() + s[1:] for s in label.sayings) + "." * bool(label.sayings)
    room = Box(left, top - 0.5, x + width - left, _SWATCH_MM - (8.0 if label.caution else 0.0))
    paper.page.fitted(words, room, 7.2, least=7)
    if label.caution:
        place = Box(left, top + _SWATCH_MM - 8.0, x + width - left, 8.0)
        paper.page.fitted(f"Caution: {label.caution}.", place, 7, font=BOLD, least=7)
