"""The set-out page: tubes and amounts for a whole picture, a recipe and a square for each dab."""

from __future__ import annotations

from collections.abc import Mapping

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD, PLAIN, height_of
from ...calibrate.optics.colour import surely_in_words
from ..easel.made_words import beforehand_words, held_back, portion_words, surplus_words
from ..easel.record import record_of
from ..easel.setting_out import SettingOut, WantedColours
from ..mixing.made import Made
from ..mixing.measures import amount_words
from ..mixing.setout import Dab, SetOut
from .sheet import Paper

_DAB_MM, _SQUARE_MM, _LINE_MM = 33.0, 25.0, 4.0
_BESIDE_MM = 2 * (_SQUARE_MM + 2) + 2
"""Room of both squares of a colour, to the left of its words."""
_WORDS_PT = 8.0
_FEWER_MM = 21.0
_CARD_MM = 8.0


def print_setout(
    answer: SettingOut,
    title: str,
    remark: str = "",
    page: str = "a4",
) -> bytes:
    """Print what to set out.

    Parameters
    ----------
    answer : SettingOut
    title : str
        What it is for.
    remark : str
        How far the picture's colours can be trusted.
    page : {"a4", "letter"}

    Returns
    -------
    bytes
        A PDF of as many pages as it takes; usually one.

    Raises
    ------
    InputError
        For a paper that there isn't.
    """
    found, names = answer.found, answer.basis.names
    under = remark or "what to set out, and how to mix each colour"
    record = record_of(
        answer.basis, answer.ml, band="beside each colour, what 95 of 100 stay within"
    )
    paper = Paper(title, f"{under[:1].upper()}{under[1:]}.", page, record)
    top = _cards(paper, answer.wanted, _tubes(paper, answer))
    for number, (dab, heap) in enumerate(zip(found.dabs, answer.heaps, strict=True), 1):
        words = _recipe(dab, heap, names)
        height = max(_DAB_MM, 9 + height_of(words, paper.width_mm - _BESIDE_MM, _WORDS_PT))
        top = _room(paper, top, height)
        _draw(paper, number, dab, heap, words, Box(paper.left_mm, top, paper.width_mm, height))
        top += height
    if found.fewer is not None:
        _fewer(paper, found, names, _room(paper, top + 1, _FEWER_MM))
    return paper.finish()


def _cards(paper: Paper, wanted: WantedColours, top: float) -> float:
    """Show what looks like reference cards in the photograph: no colours of the picture."""
    if not wanted.cards:
        return top
    said = wanted.cards_words
    left = paper.left_mm
    for card in wanted.cards:
        paper.swatch(Box(left, top, _CARD_MM, _CARD_MM), card.lab, blank="none")
        left += _CARD_MM + 1.5
    room = Box(left + 1, top, paper.left_mm + paper.width_mm - left - 1, _CARD_MM)
    paper.page.fitted(f"{said[:1].upper()}{said[1:]}.", room, 8)
    return top + _CARD_MM + 2.5


def _room(paper: Paper, top: float, height: float) -> float:
    """Where a thing of some height goes: here, or at the head of another page."""
    if top + height > paper.top_mm + paper.height_mm + 0.01:
        paper.turn()
        return paper.top_mm
    return top


def _tubes(paper: Paper, answer: SettingOut) -> float:
    names = answer.basis.names
    said = ", ".join(f"{names.get(p, p)} {ml:.1f} ml" for p, ml in answer.ml.items())
    many = f"{len(answer.ml)} tubes" if len(answer.ml) > 1 else "One tube"
    top = _across(paper, f"{many}: {said}.", paper.top_mm, 9.5, BOLD)
    before = beforehand_words(answer.beforehand, answer.measure, names)
    if before:
        words = "\n".join(f"{line[:1].upper()}{line[1:]}." for line in before)
        top = _across(paper, words, top, _WORDS_PT)
    return top


def _across(paper: Paper, words: str, top: float, size: float, font: str = PLAIN) -> float:
    """Write words across the page, with all the room that they need; where the next thing goes."""
    room = Box(paper.left_mm, top, paper.width_mm, height_of(words, paper.width_mm, size, font))
    return top + paper.page.fitted(words, room, size, font=font) + 2.5


def _draw(paper: Paper, number: int, dab: Dab, heap: Made, words: str, box: Box) -> None:
    """A dab: the wanted colour beside the predicted one, each above room to paint; the recipe."""
    paper.page.line((box.x_mm, box.y_mm), (box.x_mm + box.width_mm, box.y_mm), 0.7)
    top = box.y_mm + 2.0
    for i, (colour, said) in enumerate(((dab.target.lab, "wanted"), (heap.lab, "predicted"))):
        left = box.x_mm + i * (_SQUARE_MM + 2)
        paper.swatch(Box(left, top, _SQUARE_MM, box.height_mm - 8), colour)
        place = Box(left, box.y_mm + box.height_mm - 5.6, _SQUARE_MM, 3.4)
        paper.page.one_line(said, place, 7, grey=0.2)
    left, width = box.x_mm + _BESIDE_MM, box.width_mm - _BESIDE_MM
    head = f"{number}. {dab.target.words}, {dab.ml:.1f} ml"
    paper.page.one_line(head, Box(left, top, width, 5), 9.5, font=BOLD)
    paper.page.fitted(words, Box(left, top + 5.2, width, box.height_mm - 7.4), _WORDS_PT)


def _recipe(dab: Dab, heap: Made, names: Mapping[str, str]) -> str:
    """What to do, a line a step, and how near it comes."""
    lines = [_step(dab, heap, i, names) for i in range(len(dab.order.steps))]
    off, band = heap.difference, heap.band(dab.recipe.band)
    near = f"{surely_in_words(off, band)} (CIEDE2000 {off:.1f}), sure to within {band:.1f}"
    if not dab.reached:
        near = f"these tubes come no nearer: {near}"
    if dab.recipe.scan_made:
        near += "; a paint of it was read by a scanner"
    near += f"; {surplus_words(heap)}" if heap.surplus else ""
    return "\n".join([*lines, near[:1].upper() + near[1:] + "."])


def _step(dab: Dab, heap: Made, i: int, names: Mapping[str, str]) -> str:
    step = dab.order.steps[i]
    said, rest = portion_words(heap, step.paint, names, held=True), held_back(heap, step)
    if rest:
        first = amount_words(heap.amounts[step.paint] - rest, heap.measure)
        said += f": {first}, dry a dab, look, then up to {amount_words(rest, heap.measure)}"
    return f"{'First' if i == 0 else 'then'} {said}" + (f" ({step.words})" if i else "")


def _fewer(paper: Paper, found: SetOut, names: Mapping[str, str], top: float) -> None:
    """What one tube fewer would make of every colour, beside what was wanted."""
    assert found.fewer is not None
    fewer = found.fewer
    left_out = " and ".join(names.get(p, p) for p in fewer.left_out)
    instead = " and ".join(names.get(p, p) for p in fewer.taken_in)
    head = f"One tube fewer, without {left_out}" + (f" but with {instead}" if instead else "")
    box = Box(paper.left_mm, top, paper.width_mm, _LINE_MM)
    paper.page.one_line(f"{head}: wanted beside what it would be", box, 8, font=BOLD)
    width = min(paper.width_mm / len(found.dabs), 24.0)
    for i, dab in enumerate(found.dabs):
        x = paper.left_mm + i * width
        for k, colour in enumerate((dab.target.lab, fewer.lab[i])):
            half = Box(x + k * (width - 2) / 2, top + 5, (width - 2) / 2, 10)
            paper.swatch(half, colour, blank="none")
        label = f"{i + 1}: off {fewer.difference[i]:.1f}"
        paper.page.one_line(label, Box(x, top + 15.4, width - 2, 3.4), 7, grey=0.2)
