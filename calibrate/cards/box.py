"""A rectangle on a page."""

from __future__ import annotations

from dataclasses import dataclass

_CLOSE = 1e-6  # mm


@dataclass(frozen=True)
class Box:
    """A rectangle on the page, from its upper left corner, mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """(4, 2): upper left, upper right, lower right, lower left, (x, y) in mm, y down."""
        left, top = self.x_mm, self.y_mm
        right, bottom = left + self.width_mm, top + self.height_mm
        return (left, top), (right, top), (right, bottom), (left, bottom)

    def grown(self, by_mm: float) -> Box:
        """The same box with a margin around it."""
        return Box(
            self.x_mm - by_mm,
            self.y_mm - by_mm,
            self.width_mm + 2 * by_mm,
            self.height_mm + 2 * by_mm,
        )

    def overlaps(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.x_mm + self.width_mm > other.x_mm + _CLOSE
            and other.x_mm + other.width_mm > self.x_mm + _CLOSE
            and self.y_mm + self.height_mm > other.y_mm + _CLOSE
            and other.y_mm + other.height_mm > self.y_mm + _CLOSE
        )

    def within(self, other: Box) -> bool:
        """Whether it lies inside the other."""
        return (
            self.x_mm >= other.x_mm - _CLOSE
            and self.y_mm >= other.y_mm - _CLOSE
            and self.x_mm + self.width_mm <= other.x_mm + other.width_mm + _CLOSE
            and self.y_mm + self.height_mm <= other.y_mm + other.height_mm + _CLOSE
        )

    def in_line_with(self, other: Box) -> bool:
        """Whether one straight stroke of its width or height covers both."""
        return (
            abs(self.y_mm - other.y_mm) < _CLOSE and abs(self.height_mm - other.height_mm) < _CLOSE
        ) or (abs(self.x_mm - other.x_mm) < _CLOSE and abs(self.width_mm - other.width_mm) < _CLOSE)
