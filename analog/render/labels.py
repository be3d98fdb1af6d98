"""Where the labels of a schematic go: beside their part, over nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product

from analog.render.geometry import FONT_SIZE_PX, LINE_HEIGHT, PIXELS_PER_UNIT, Box, text_width
from analog.render.markup import markup

_TRIES = 4
_GAPS = (0.12, 0.3, 0.6)
_SLIDES = (0.0, 0.35, -0.35, 0.7, -0.7)
_WIDE_SLIDES = (1.05, -1.05, 1.4, -1.4)
_SLIDES_OF_NETS = (0.0, 0.4, -0.4, 0.8, -0.8)
_SIDES = {"right": "rltb", "left": "lrtb", "top": "tbrl", "bottom": "btrl"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """Lines of text that belong beside a part's body, or beside any of a net's wires.

    `side` is tried first.
    """

    reference: str
    lines: tuple[str, ...]
    beside: tuple[Box, ...]
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
    """Yield places for a label, the best first; a net's name stays close to its wires."""
    extent = size(wanted.lines)
    if wanted.style == "net":
        for wire in wanted.beside:
            for slide in _SLIDES_OF_NETS:
                for side in _SIDES[
                    "top" if wire.right - wire.left > wire.top - wire.bottom else "right"
                ][:2]:
                    yield _place(wire, side, 0.06, slide, extent)
        return
    near, far = _SIDES[wanted.side][:2], _SIDES[wanted.side][2:]
    for sides, slides in ((near, _SLIDES), (far, _SLIDES[:3]), (near, _WIDE_SLIDES)):
        for slide, gap, side in product(slides, _GAPS, sides):
            yield _place(wanted.beside[0], side, gap, slide, extent)


def _place(
    box: Box, side: str, gap: float, slide: float, extent: tuple[float, float]
) -> tuple[Box, str]:
    """Return the room beside `box` at `gap`, moved along its side by `slide`."""
    width, height = extent
    x = (box.left + box.right) / 2 + slide
    y = (box.bottom + box.top) / 2 + slide
    if side == "r":
        left = box.right + gap
        return Box(left, y - height / 2, left + width, y + height / 2), "start"
    if side == "l":
        right = box.left - gap
        return Box(right - width, y - height / 2, right, y + height / 2), "end"
    low = box.top + gap if side == "t" else box.bottom - gap - height
    return Box(x - width / 2, low, x + width / 2, low + height), "middle"


def place(wanted: Iterable[Wanted], taken: Iterable[Box]) -> tuple[tuple[Placed, ...], int]:
    """Return the labels with their places, and how many found no free one.

    Labels that found none go first in another try.
    """
    order, walls = list(wanted), tuple(taken)
    best: tuple[tuple[Placed, ...], int] | None = None
    for _ in range(_TRIES):
        placed, homeless = _place_in_order(order, walls)
        if best is None or len(homeless) < best[1]:
            best = (placed, len(homeless))
        if not homeless:
            break
        order = [*homeless, *(label for label in order if label not in homeless)]
    if best is None:
        raise ValueError("no try was made")
    return best


def _place_in_order(
    order: list[Wanted], walls: tuple[Box, ...]
) -> tuple[tuple[Placed, ...], list[Wanted]]:
    occupied, placed, homeless = list(walls), [], []
    for label in order:
        places = _candidates(label)
        free = (place for place in places if not any(place[0].overlaps(o) for o in occupied))
        found = next(free, None)
        if found is None:
            homeless.append(label)
            found = next(_candidates(label))
        occupied.append(found[0])
        placed.append(Placed(label, *found))
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
