"""Fiducials of a printed card: square markers by which a scan is found, turned and told.

Six markers stand on a page: at its corners and in the middle of its left and right sides, so that
a scan with a cropped edge keeps four. They are of OpenCV's standard dictionary `DICTIONARY`; a
marker's id is ``8 x number of the layout + place``, so that any one of them tells the layout and
which way is up.
"""

from __future__ import annotations

from dataclasses import dataclass

from .box import Box

DICTIONARY = "DICT_5X5_1000"
"""Name of the dictionary in ``cv2.aruco``."""
PLACES = ("upper left", "upper right", "lower right", "lower left", "left", "right")
"""Position of a marker by ``id % 8``; 6 and 7 stay free."""
MOST_LAYOUTS = 125
OWN_FROM = 100
"""Numbers from here on are for layouts of one's own."""
SIDE_MM = 11.0
INSET_MM = 6.0
"""From the edge of the page to the marker."""
QUIET_MM = 2.0
"""Paper left white around it; OpenCV asks for about one of its 7 x 7 cells."""


@dataclass(frozen=True)
class Fiducial:
    """A marker on the page.

    Attributes
    ----------
    id : int
        In `DICTIONARY`.
    place : str
        One of `PLACES`.
    box : Box
        Its black square. ``box.corners`` come in the order in which OpenCV gives them.
    """

    id: int
    place: str
    box: Box

    @property
    def quiet(self) -> Box:
        """The square with the paper that must stay white around it."""
        return self.box.grown(QUIET_MM)


def fiducials_on(page_mm: tuple[float, float], number: int) -> tuple[Fiducial, ...]:
    """Fiducials of a layout, by id.

    Parameters
    ----------
    page_mm : (width, height), mm
    number : int
        Of the layout, printed in each.

    Returns
    -------
    tuple of Fiducial
    """
    left, top = INSET_MM, INSET_MM
    right, bottom = (side - INSET_MM - SIDE_MM for side in page_mm)
    middle = (page_mm[1] - SIDE_MM) / 2
    at = ((left, top), (right, top), (right, bottom), (left, bottom), (left, middle))
    return tuple(
        Fiducial(8 * number + i, PLACES[i], Box(*corner, SIDE_MM, SIDE_MM))
        for i, corner in enumerate((*at, (right, middle)))
    )


def told_by(marker: int) -> tuple[int, str] | None:
    """Return the number of the layout and the place that a marker's id tells; None for no such."""
    number, place = divmod(marker, 8)
    return (number, PLACES[place]) if place < len(PLACES) and number < MOST_LAYOUTS else None
