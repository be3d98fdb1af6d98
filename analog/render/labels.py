"""Where the labels of a schematic go: beside their part, over nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from analog.render.geometry import FONT_SIZE_PX, LINE_HEIGHT, PIXELS_PER_UNIT, Box, text_width
from analog.render.markup import markup

_GAPS = (0.12, 0.3, 0.55, 0.9)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Lines of text that belong beside a box; `side` is tried first."""

    reference: str
    lines: tuple[str, ...]
    beside: Box
    side: str
    style: str = "part"


@dataclass(frozen=True, slots=True)
class Placed:
    """A label with its room; `anchor` is the SVG text-anchor."""

    wanted: Wanted
    box: Box
    anchor: str


def size(lines: tuple[str, ...]) -> tuple[float, float]:
    """Return an upper estimate of width and height in drawing units, the first line bold."""
    widths = [text_width(line, bold=number == 0) for number, line in enumerate(lines)]
    return max(widths) / PIXELS_PER_UNIT, LINE_HEIGHT * len(lines)


def _candidates(wanted: Wanted) -> Iterator[tuple[Box, str]]:
    width, height = size(wanted.lines)
    box = wanted.beside
    middle_x, middle_y = (box.left + box.right) / 2, (box.bottom + box.top) / 2
    order = {"right": "rltb", "left": "lrtb", "top": "tbrl", "bottom": "btrl"}[wanted.side]
    slides = (0.0, 0.35, -0.35, 0.8, -0.8, 1.3, -1.3)
    for slide in slides:
        for gap in _GAPS:
            for side in order:
                y, x = middle_y + slide, middle_x + slide
                if side == "r":
                    left = box.right + gap
                    yield Box(left, y - height / 2, left + width, y + height / 2), "start"
                elif side == "l":
                    right = box.left - gap
                    yield Box(right - width, y - height / 2, right, y + height / 2), "end"
                elif side == "t":
                    low = box.top + gap
                    yield Box(x - width / 2, low, x + width / 2, low + height), "middle"
                else:
                    high = box.bottom - gap
                    yield Box(x - width / 2, high - height, x + width / 2, high), "middle"


def place(wanted: Iterable[Wanted], taken: Iterable[Box]) -> tuple[tuple[Placed, ...], int]:
    """Return the labels with their places, and how many found no free one."""
    occupied = list(taken)
    placed, homeless = [], 0
    for label in wanted:
        free = next(
            (
                (box, anchor)
                for box, anchor in _candidates(label)
                if not any(box.overlaps(other) for other in occupied)
            ),
            None,
        )
        if free is None:
            homeless += 1
            free = next(_candidates(label))
        occupied.append(free[0])
        placed.append(Placed(label, *free))
    return tuple(placed), homeless


def svg(label: Placed) -> str:
    """Return the label as SVG text, the first line set off from the others."""
    box = label.box
    x = {"start": box.left, "middle": (box.left + box.right) / 2, "end": box.right}[label.anchor]
    spans = []
    for number, line in enumerate(label.wanted.lines):
        baseline = -box.top + LINE_HEIGHT * number + 0.95 * FONT_SIZE_PX / PIXELS_PER_UNIT
        kind = "reference" if number == 0 and label.wanted.style == "part" else "value"
        kind = "node" if label.wanted.style == "net" else kind
        spans.append(
            f'<tspan class="{kind}" x="{x * PIXELS_PER_UNIT:g}" '
            f'y="{baseline * PIXELS_PER_UNIT:g}">{markup(line)}</tspan>'
        )
    return f'<text text-anchor="{label.anchor}">{"".join(spans)}</text>'
