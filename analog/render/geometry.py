"""Points, boxes and text sizes of a drawing, in drawing units (one unit: a resistor's body)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

Point = tuple[float, float]

PIXELS_PER_UNIT = 36.0
FONT_SIZE_PX = 12.0
LINE_HEIGHT = 1.25 * FONT_SIZE_PX / PIXELS_PER_UNIT

# Advance widths as a share of the font size, rounded up from common sans-serif faces (Liberation
# Sans, DejaVu Sans, Roboto), so that a label never comes out wider than the room kept for it.
_NARROW = frozenset("iljtfrI.,:;'|!()[]/ ")
_WIDE = frozenset("mwMWΩ@%±µ≥≤→")


_BOLD = 1.13


def text_width(text: str, size: float = FONT_SIZE_PX, bold: bool = False) -> float:
    """Return an upper estimate of the width of one line of text, in the unit of `size`."""
    share = sum(0.38 if c in _NARROW else 0.97 if c in _WIDE else 0.66 for c in text)
    return share * size * (_BOLD if bold else 1.0)


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-parallel rectangle; y grows upwards."""

    left: float
    bottom: float
    right: float
    top: float

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.left + dx, self.bottom + dy, self.right + dx, self.top + dy)

    def grown(self, by: float) -> Box:
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def overlaps(self, other: Box) -> bool:
        """Tell whether the two share an area; touching edges do not count."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    def holds(self, point: Point) -> bool:
        """Tell whether the point lies strictly inside."""
        return self.left < point[0] < self.right and self.bottom < point[1] < self.top


def hull(boxes: Iterable[Box]) -> Box:
    """Return the smallest box around all; ValueError when there are none."""
    several = tuple(boxes)
    if not several:
        raise ValueError("no boxes to go around")
    return Box(
        min(box.left for box in several),
        min(box.bottom for box in several),
        max(box.right for box in several),
        max(box.top for box in several),
    )


def around(points: Iterable[Point]) -> Box:
    """Return the smallest box around the points."""
    return hull(Box(x, y, x, y) for x, y in points)
