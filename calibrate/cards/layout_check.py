"""What would keep a layout from being printed, painted or read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from ..errors import InputError
from .box import Box
from .card import SUBSTRATES
from .fiducials import Fiducial
from .layout_parts import BRACKET_MM, GREY, Band, Part, PatchPlace, Reference

Found = tuple[str, Part]
UNPRINTED_MM = 5.0
"""Width along the edge that home printers leave white and scanners crop; common practice."""
LEAST_PATCH_MM = 8.0
"""A scan at 100 dpi still has some 400 pixels in the middle of such a patch (our choice)."""
NEUTRAL_MM = 3.0
"""Bare band around a patch: of the light that strays sideways in a flatbed, most comes from nearer
(our choice)."""


def faults(
    page_mm: tuple[float, float], fiducials: Sequence[Fiducial], found: Sequence[Found], file: str
) -> Iterator[InputError]:
    """Everything that would keep a layout from being printed, painted or read.

    Parameters
    ----------
    page_mm : (width, height)
    fiducials : sequence of Fiducial
    found : sequence of (str, Part)
        What lies on the page, and what a message calls it.
    file : str
        For messages.

    Yields
    ------
    InputError
    """
    bands = [item for _, item in found if isinstance(item, Band)]
    for place, item in found:
        yield from _on_page(place, item, page_mm, fiducials, file)
        if isinstance(item, PatchPlace | Reference):
            yield from _on_band(place, item, bands, file)
    yield from _steps([(at, item) for at, item in found if isinstance(item, PatchPlace)], file)
    yield from _apart(found, file)


def _on_page(
    place: str,
    item: Part,
    page_mm: tuple[float, float],
    fiducials: Sequence[Fiducial],
    file: str,
) -> Iterator[InputError]:
    """One thing against the page's edges and the marks in its corners."""
    page = Box(0.0, 0.0, *page_mm)
    if not item.box.within(page):
        yield InputError(file, place, "it leaves the page", "move it, or make it smaller")
    elif not item.box.within(page.grown(-UNPRINTED_MM)):
        yield InputError(
            file,
            place,
            f"it comes closer than {UNPRINTED_MM:g} mm to the edge, which printers leave white",
            "move it in",
        )
    reach = item.box.grown(BRACKET_MM) if isinstance(item, Band) else item.box
    for mark in fiducials:
        if reach.overlaps(mark.quiet):
            name = f"the {mark.place} fiducial"
            yield InputError(file, place, f"it comes too close to {name}", "move it away")


def _on_band(
    place: str, item: PatchPlace | Reference, bands: Sequence[Band], file: str
) -> Iterator[InputError]:
    """One patch against the band that it is to be read over."""
    over = item.over
    if not over:
        return
    if not any(b.substrate == over and item.box.within(b.box) for b in bands):
        yield InputError(
            file, place, f"it doesn't lie on a {over} band, so it can't be read", "move it"
        )
    if min(item.box.width_mm, item.box.height_mm) < LEAST_PATCH_MM:
        said = f"it is narrower than {LEAST_PATCH_MM:g} mm"
        yield InputError(file, place, said, "make it larger")


def _steps(found: Sequence[tuple[str, PatchPlace]], file: str) -> Iterator[InputError]:
    """The patches of each step: each there once, in one line, and bare ones beside them."""
    seen: set[tuple[int, str]] = set()
    for place, patch in found:
        if patch.step and (patch.step, patch.over) in seen:
            said = f"{patch.step} over {patch.over} is there twice"
            yield InputError(file, f"{place}, step", said, "renumber it")
        seen.add((patch.step, patch.over))
    patches = [patch for _, patch in found]
    for substrate in SUBSTRATES:
        if any(p.over == substrate for p in patches) and (0, substrate) not in seen:
            yield InputError(
                file, "patch", f"no patch of bare {substrate}", f"add step = 0 over {substrate}"
            )
    for step in sorted({p.step for p in patches} - {0}):
        boxes = [p.box for p in patches if p.step == step]
        if any(not (a.in_line_with(b)) for a, b in combinations(boxes, 2)):
            yield InputError(
                file,
                f"step {step}",
                "its patches don't lie in one line, so one stroke can't reach them",
                "put them side by side, or one below the other",
            )


def _apart(found: Sequence[Found], file: str) -> Iterator[InputError]:
    """Boxes that share area: words over a band, a patch in another's neutral margin."""
    for (first, a), (second, b) in combinations(found, 2):
        on_band = [isinstance(i, PatchPlace) or getattr(i, "kind", "") == GREY for i in (a, b)]
        if any(on_band) and (isinstance(a, Band) or isinstance(b, Band)):
            continue
        if a.box.overlaps(b.box):
            yield InputError(file, second, f"it overlaps {first}", "move one of them")
        elif all(on_band) and a.box.grown(NEUTRAL_MM).overlaps(b.box):
            yield InputError(
                file,
                second,
                f"it lies nearer than {NEUTRAL_MM:g} mm to {first}, whose light strays into it",
                "move one of them",
            )
