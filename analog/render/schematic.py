"""Schematics drawn from the circuit record that the netlist is made from.

`draw(circuit, row)` places every element that has a `Symbol`, wires the nodes, labels the parts
with the values of the row and returns one inline SVG. Grid coordinates are spread out until no
label overlaps anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import product

from analog.circuits.record import GROUND, Circuit
from analog.render import labels, routing
from analog.render.geometry import PIXELS_PER_UNIT, Point, around, hull
from analog.render.layout import Layout, Part, Rail, crowded, lay_out, place_parts, wires
from analog.render.markup import markup
from analog.render.parts import Remark

_STRETCHES = (0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5, 2.0, 2.5, 3.0)
_PIN_LETTERS = 6
_COLUMN_PX = 900.0  # wider pictures would have to shrink on screen and paper


@dataclass(frozen=True, slots=True)
class Schematic:
    """An inline SVG, the same in words, and its width and height in px."""

    svg: str
    description: str
    width: float
    height: float


def draw(
    circuit: Circuit,
    row: Mapping[str, float],
    title: str,
    remarks: Mapping[str, Remark] | None = None,
    named_nodes: Iterable[str] = (),
) -> Schematic:
    """Draw the circuit with the values of `row` ({parameter: SI value}).

    `remarks` adds what the design says to the elements of its keys ("±10 % X7R"); `named_nodes`
    are written at their wires.
    """
    return _render(arrange(circuit, row, remarks or {}, frozenset(named_nodes)), title)


def arrange(
    circuit: Circuit,
    row: Mapping[str, float],
    remarks: Mapping[str, Remark],
    named: frozenset[str] = frozenset(),
) -> Layout:
    """Return the smallest arrangement in which nothing is in anything's way, else the best."""
    best: Layout | None = None
    spreads = _spreads(circuit)
    for spread in spreads:
        parts = place_parts(circuit, row, remarks, spread)
        if crowded(parts) and not (best is None and spread is spreads[-1]):
            continue
        layout = lay_out(parts, named)
        if layout.faults == 0:
            return layout
        if best is None or layout.faults < best.faults:
            best = layout
    if best is None:
        raise ValueError("no arrangement was tried")
    return best


def _spreads(circuit: Circuit) -> list[Point]:
    """Return how far to stretch the grid across and up, the best picture first: small, narrow."""
    symbols = [element.symbol for element in circuit.pictured if element.symbol is not None]
    if not symbols:
        raise ValueError(f"{circuit.title}: no element has a symbol")
    extent = around(point for symbol in symbols for point in symbol.terminals)

    def size(spread: Point) -> float:
        width = (extent.right - extent.left + 2) * spread[0] * PIXELS_PER_UNIT
        height = (extent.top - extent.bottom + 2) * spread[1] * PIXELS_PER_UNIT
        return width * height * (1 + 4 * max(0.0, width / _COLUMN_PX - 1))

    return sorted(product(_STRETCHES, _STRETCHES), key=size)


def _px(value: float) -> str:
    return f"{value * PIXELS_PER_UNIT:.2f}".rstrip("0").rstrip(".")


def _render(layout: Layout, title: str) -> Schematic:
    shown = [part.body for part in layout.parts] + [rail.box for rail in layout.rails]
    shown += [label.box for label in layout.labels] + wires(layout.board, layout.parts)
    frame = hull(shown).grown(0.25)
    description = describe(layout.parts)
    body = "".join(
        (
            *(_draw_net(layout, net) for net in sorted(layout.nets)),
            *(_draw_rail(rail) for rail in layout.rails),
            *(_draw_part(part) for part in layout.parts),
            *(labels.svg(label) for label in layout.labels),
        )
    )
    width, height = frame.right - frame.left, frame.top - frame.bottom
    view = " ".join(map(_px, (frame.left, -frame.top, width, height)))
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="schematic" viewBox="{view}" '
        f'role="img" aria-label="{markup(title)}: {markup(description)}" '
        f'style="width:{_px(width)}px;min-width:min({_px(width)}px,46rem)">{body}</svg>'
    )
    return Schematic(svg, description, width * PIXELS_PER_UNIT, height * PIXELS_PER_UNIT)


def describe(parts: Iterable[Part]) -> str:
    """Say in words what is connected to what, as the text alternative of the picture."""
    return "; ".join(
        f"{' '.join(part.lines)}{_ports(part)} between "
        f"{' and '.join(dict.fromkeys(net for net, _ in part.pins))}"
        for part in parts
    )


def _ports(part: Part) -> str:
    names = () if part.element.symbol is None else part.element.symbol.pins
    return f" (ports {', '.join(names)})" if names else ""


def _draw_part(part: Part) -> str:
    place = part.orientation.svg(part.origin, PIXELS_PER_UNIT)
    value = part.lines[1] if len(part.lines) > 1 else ""
    pins = " ".join(f"{_px(x)},{_px(-y)}" for _, (x, y) in part.pins)
    return (
        f'<g class="part" data-reference="{part.element.reference}" data-value="{markup(value)}" '
        f'data-pins="{pins}" transform="{place}">{part.shape.art}{_pin_names(part)}</g>'
    )


def _pin_names(part: Part) -> str:
    """Return the names of a box's pins, each inside where its stub ends."""
    symbol, body = part.element.symbol, part.shape.body
    if symbol is None:
        return ""
    texts = []
    for pin, name in zip(part.shape.pins, symbol.pins, strict=False):
        if pin is not None:
            left = pin[0] < body.left
            x = body.left + 0.12 if left else body.right - 0.12
            texts.append(
                f'<text class="node" text-anchor="{"start" if left else "end"}" x="{_px(x)}" '
                f'y="{_px(0.1 - pin[1])}">{markup(_short(name))}</text>'
            )
    return "".join(texts)


def _short(name: str) -> str:
    """Return a pin's name as far as there is room for it in its box."""
    return name if len(name) <= _PIN_LETTERS else f"{name[: _PIN_LETTERS - 1]}…"


def _draw_net(layout: Layout, net: str) -> str:
    pieces = "".join(
        f"M{_px(x1)} {_px(-y1)}L{_px(x2)} {_px(-y2)}"
        for (x1, y1), (x2, y2) in routing.segments(layout.board, net)
    )
    pins = [point for part in layout.parts for name, point in part.pins if name == net]
    dots = "".join(
        f'<circle class="solid" cx="{_px(x)}" cy="{_px(-y)}" r="3"/>'
        for x, y in routing.junctions(layout.board, net, pins)
    )
    wire = f'<path class="line" d="{pieces}"/>' if pieces else ""
    return f'<g class="net" data-net="{net}">{wire}{dots}</g>' if wire or dots else ""


def _draw_rail(rail: Rail) -> str:
    x, y = (rail.at[0] * PIXELS_PER_UNIT, -rail.at[1] * PIXELS_PER_UNIT)
    place = f'transform="translate({x:g} {y:g})"'
    if rail.net in (GROUND, "vss"):
        strokes = "M0 0V9M-10 9H10M-6 13H6M-2.5 17H2.5"
        return (
            f'<g class="rail" data-net="{rail.net}" {place}><path class="line" d="{strokes}"/></g>'
        )
    return (
        f'<g class="rail" data-net="{rail.net}" {place}><path class="line" d="M0 0V-8M-9 -8H9"/>'
        f'<text y="-12" text-anchor="middle">{markup(rail.net.upper())}</text></g>'
    )
