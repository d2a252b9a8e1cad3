"""What would keep a layout from being printed, painted or read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from ..errors import InputError
from .box import Box
from .card import SUBSTRATES
from .fiducials import Fiducial
from .layout_parts import BRACKET_MM, GREY, Band, Part, Patch, Reference

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
    """
    bands = [item for _, item in found if isinstance(item, Band)]
    patches = [item for _, item in found if isinstance(item, Patch)]
    page = Box(0.0, 0.0, *page_mm)
    quiet = [(f"the {f.place} fiducial", f.quiet) for f in fiducials]
    seen: set[tuple[int, str]] = set()
    for place, item in found:
        if not item.box.within(page):
            yield InputError(file, place, "it leaves the page", "move it, or make it smaller")
        elif not item.box.within(page.grown(-UNPRINTED_MM)):
            yield InputError(
                file,
                place,
                f"it comes closer than {UNPRINTED_MM:g} mm to the edge, which printers leave white",
                "move it in",
            )
        for name, box in quiet:
            reach = item.box.grown(BRACKET_MM) if isinstance(item, Band) else item.box
            if reach.overlaps(box):
                yield InputError(file, place, f"it comes too close to {name}", "move it away")
        if isinstance(item, Patch):
            if item.step and (item.step, item.over) in seen:
                yield InputError(
                    file,
                    f"{place}, step",
                    f"{item.step} over {item.over} is there twice",
                    "renumber it",
                )
            seen.add((item.step, item.over))
        over = item.over if isinstance(item, Patch | Reference) else None
        if over and not any(b.substrate == over and item.box.within(b.box) for b in bands):
            yield InputError(
                file, place, f"it doesn't lie on a {over} band, so it can't be read", "move it"
            )
        if over and min(item.box.width_mm, item.box.height_mm) < LEAST_PATCH_MM:
            yield InputError(
                file, place, f"it is narrower than {LEAST_PATCH_MM:g} mm", "make it larger"
            )
    for substrate in SUBSTRATES:
        if any(p.over == substrate for p in patches) and (0, substrate) not in seen:
            yield InputError(
                file, "patch", f"no patch of bare {substrate}", f"add step = 0 over {substrate}"
            )
    yield from _apart(found, file)
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
        on_band = [isinstance(i, Patch) or getattr(i, "kind", "") == GREY for i in (a, b)]
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
