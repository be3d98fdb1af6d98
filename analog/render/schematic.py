"""Schematics drawn from the circuit record that the netlist is made from.

`draw(circuit, row)` places every element that has a `Symbol`, wires the nodes, labels the parts
with the values of the row and returns one inline SVG. Grid coordinates are spread out until no
label overlaps anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from html import escape

from analog.circuits.record import GROUND, Circuit, Dc, Element, Param, Pulse, Pwl, Sine
from analog.quantities import format_quantity
from analog.render import labels, routing
from analog.render.geometry import PIXELS_PER_UNIT, Box, Point, around, hull
from analog.render.symbols import ORIENTATIONS, Orientation, Shape, shape

_UNITS = {"R": "Ω", "C": "F", "L": "H"}
_SPREADS = (1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)


@dataclass(frozen=True, slots=True)
class Part:
    """A placed element: where its symbol lies and where its pins come out."""

    element: Element
    shape: Shape
    orientation: Orientation
    origin: Point
    pins: tuple[tuple[str, Point], ...]
    body: Box
    lines: tuple[str, ...]


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
    remarks: Mapping[str, str] | None = None,
    named_nodes: Iterable[str] = (),
) -> Schematic:
    """Draw the circuit with the values of `row` ({parameter: SI value}).

    `remarks` adds a line to the elements of a design key ("±10 % X7R"); `named_nodes` are
    written at their wires.
    """
    names = frozenset(named_nodes)
    best: tuple[int, Layout] | None = None
    for spread in _SPREADS:
        layout = _lay_out(circuit, row, remarks or {}, names, spread)
        if best is None or layout.faults < best[0]:
            best = (layout.faults, layout)
        if layout.faults == 0:
            break
    if best is None:
        raise ValueError("no spread to try")
    return _render(best[1], title)


def value_text(element: Element, row: Mapping[str, float]) -> str:
    """Return the value of an element in words, as the netlist has it: "100 kΩ"."""
    value = element.value
    if isinstance(value, str):
        return ""
    if isinstance(value, int | float | Param):
        return format_quantity(_number(value, row), _UNITS.get(element.kind, "1"))
    unit = "V" if element.kind == "V" else "A"
    if isinstance(value, Dc):
        return format_quantity(_number(value.level, row), unit)
    if isinstance(value, Sine):
        peak = format_quantity(_number(value.amplitude, row), unit)
        return f"{peak} peak, {format_quantity(_number(value.frequency_hz, row), 'Hz')}"
    if isinstance(value, Pulse):
        ends = (format_quantity(_number(level, row), unit) for level in (value.low, value.high))
        return " to ".join(ends)
    if isinstance(value, Pwl):
        levels = [_number(level, row) for _, level in value.points]
        return f"{format_quantity(min(levels), unit)} to {format_quantity(max(levels), unit)}"
    return ""


def _number(value: float | Param, row: Mapping[str, float]) -> float:
    return row[value.name] if isinstance(value, Param) else float(value)


# ---------------------------------------------------------------------------------- layout


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything with its place; `faults` counts labels without free room and lost wires."""

    parts: tuple[Part, ...]
    board: routing.Board
    nets: Mapping[str, tuple[Point, ...]]
    rails: tuple[Rail, ...]
    labels: tuple[labels.Placed, ...]
    faults: int


@dataclass(frozen=True, slots=True)
class Rail:
    """A ground or supply symbol at the end of a net's stub."""

    net: str
    at: Point
    box: Box


def _lay_out(
    circuit: Circuit,
    row: Mapping[str, float],
    remarks: Mapping[str, str],
    named: frozenset[str],
    spread: float,
) -> Layout:
    joined = _joined_nodes(circuit)
    parts = tuple(
        _place(element, row, remarks, spread, joined)
        for element in circuit.elements
        if element.symbol is not None
    )
    nets = _nets(parts)
    board = routing.Board([part.body for part in parts])
    board.pins = {routing.cell(point): net for net, points in nets.items() for point in points}
    rails = _place_rails(board, nets)
    faults = 0
    for net in sorted((net for net in nets if not is_rail(net)), key=lambda n: _extent(nets[n])):
        faults += not routing.connect(board, net, nets[net])
    wanted = [_wanted(part) for part in parts]
    wanted += [_net_label(board, net, nets[net]) for net in sorted(named & set(nets))
               if not is_rail(net)]
    taken = [part.body for part in parts] + [rail.box for rail in rails] + _wires(board, parts)
    placed, homeless = labels.place(wanted, taken)
    return Layout(parts, board, nets, rails, placed, faults + homeless)


def is_rail(net: str) -> bool:
    """Tell whether a node is drawn as a symbol at each pin instead of by wires."""
    return net == GROUND or net in ("vdd", "vcc", "rail", "vss")


def _snap(value: float) -> float:
    return round(value / routing.GRID) * routing.GRID


def _joined_nodes(circuit: Circuit) -> dict[str, str]:
    """Map each node to the one it is drawn as: hidden ammeters do not part a wire."""
    joined: dict[str, str] = {}
    for element in circuit.elements:
        if element.symbol is None and element.kind == "V" and element.value == Dc(0.0):
            kept, gone = (joined.get(node, node) for node in element.nodes)
            if is_rail(gone):
                kept, gone = gone, kept
            joined = {node: kept if name == gone else name for node, name in joined.items()}
            joined[gone] = kept
    return joined


def _place(
    element: Element,
    row: Mapping[str, float],
    remarks: Mapping[str, str],
    spread: float,
    joined: Mapping[str, str],
) -> Part:
    symbol = element.symbol
    if symbol is None:
        raise ValueError(f"{element.reference} has no symbol")
    terminals = tuple((_snap(x * spread), _snap(y * spread)) for x, y in symbol.terminals)
    if len(terminals) > len(element.nodes):
        raise ValueError(f"{element.reference} has more terminals than nodes")
    drawn = shape(symbol.shape, terminals)
    orientation, origin = _fit(drawn, terminals)
    pins = tuple(
        (joined.get(net, net), _add(origin, orientation.apply(pin)))
        for net, pin in zip(element.nodes, drawn.pins, strict=False)
        if pin is not None
    )
    corners = ((drawn.body.left, drawn.body.bottom), (drawn.body.right, drawn.body.top))
    body = around(_add(origin, orientation.apply(corner)) for corner in corners)
    return Part(element, drawn, orientation, origin, pins, body, _lines(element, row, remarks))


def _lines(
    element: Element, row: Mapping[str, float], remarks: Mapping[str, str]
) -> tuple[str, ...]:
    """Return reference or label, value, and what the design says besides."""
    symbol = element.symbol
    lines = [
        symbol.label if symbol and symbol.label else element.reference,
        value_text(element, row),
        remarks.get(element.key, ""),
    ]
    return tuple(line for line in lines if line)


def _add(a: Point, b: Point) -> Point:
    return (a[0] + b[0], a[1] + b[1])


def _fit(drawn: Shape, terminals: tuple[Point, ...]) -> tuple[Orientation, Point]:
    """Return the orientation and place that bring the pins nearest to the wanted terminals."""
    best: tuple[float, Orientation, Point] | None = None
    for orientation in ORIENTATIONS:
        pairs = [
            (orientation.apply(pin), wanted)
            for pin, wanted in zip(drawn.pins, terminals, strict=False)
            if pin is not None
        ]
        shift = (
            _snap(sum(w[0] - p[0] for p, w in pairs) / len(pairs)),
            _snap(sum(w[1] - p[1] for p, w in pairs) / len(pairs)),
        )
        misfit = sum(
            (w[0] - p[0] - shift[0]) ** 2 + (w[1] - p[1] - shift[1]) ** 2 for p, w in pairs
        )
        if best is None or misfit < best[0] - 1e-9:
            best = (misfit, orientation, shift)
    if best is None:
        raise ValueError("a symbol needs at least one pin")
    return best[1], best[2]


def _nets(parts: Iterable[Part]) -> dict[str, tuple[Point, ...]]:
    nets: dict[str, tuple[Point, ...]] = {}
    for part in parts:
        for net, point in part.pins:
            if point not in nets.get(net, ()):
                nets[net] = (*nets.get(net, ()), point)
    return nets


def _extent(points: tuple[Point, ...]) -> float:
    box = around(points)
    return box.right - box.left + box.top - box.bottom


_RAIL_STUBS: tuple[Point, ...] = ((0, 0), (0.5, 0), (-0.5, 0), (1, 0), (-1, 0), (1.5, 0), (-1.5, 0))


def _place_rails(board: routing.Board, nets: Mapping[str, tuple[Point, ...]]) -> tuple[Rail, ...]:
    rails: list[Rail] = []
    for net in filter(is_rail, nets):
        for pin in nets[net]:
            rail = _free_rail(board, net, pin, rails)
            rails.append(rail)
            stub = [pin, *_between(pin, rail.at)]
            for a, b in zip(stub, stub[1:], strict=False):
                ends = sorted((routing.cell(a), routing.cell(b)))
                board.edges[(ends[0], ends[1])] = net
            board.pins.setdefault(routing.cell(rail.at), net)
    board.bodies += [rail.box for rail in rails]
    return tuple(rails)


def _between(start: Point, end: Point) -> list[Point]:
    """Return the grid points after `start` up to `end` on one row."""
    steps = round(abs(end[0] - start[0]) / routing.GRID)
    sign = 1 if end[0] > start[0] else -1
    return [(start[0] + sign * routing.GRID * (k + 1), start[1]) for k in range(steps)]


def _rail_box(net: str, at: Point) -> Box:
    x, y = at
    if net in (GROUND, "vss"):
        return Box(x - 0.35, y - 0.6, x + 0.35, y)
    return Box(x - 0.4, y, x + 0.4, y + 0.6)


def _free_rail(
    board: routing.Board, net: str, pin: Point, others: Iterable[Rail]
) -> Rail:
    """Return the nearest place beside the pin where the symbol touches nothing."""
    others = tuple(others)
    for stub in _RAIL_STUBS:
        at = _add(pin, stub)
        box = _rail_box(net, at)
        clear = not any(box.overlaps(body) for body in board.bodies)
        clear &= not any(box.overlaps(other.box) for other in others)
        cells = [routing.cell(at), *(routing.cell(p) for p in _between(pin, at)),
                 routing.cell((at[0], (box.bottom + box.top) / 2))]
        clear &= all(board.pins.get(c, net) == net for c in cells)
        clear &= not any(body.holds(p) for p in _between(pin, at) for body in board.bodies)
        if clear:
            return Rail(net, at, box)
    return Rail(net, pin, _rail_box(net, pin))


def _wires(board: routing.Board, parts: Iterable[Part]) -> list[Box]:
    """Return thin boxes around wires and around the leads of the symbols."""
    boxes = []
    for net in sorted(set(board.edges.values())):
        boxes += [around(piece).grown(0.06) for piece in routing.segments(board, net)]
    for part in parts:
        body = part.body
        for _, (x, y) in part.pins:
            edge = (min(max(x, body.left), body.right), min(max(y, body.bottom), body.top))
            boxes.append(around(((x, y), edge)).grown(0.06))
    return boxes


def _wanted(part: Part) -> labels.Wanted:
    upright = {x for _, (x, _) in part.pins}
    sideways = "right" if len(upright) == 1 or len(part.pins) > 2 else "top"
    return labels.Wanted(part.element.reference, part.lines, part.body, sideways)


def _net_label(board: routing.Board, net: str, pins: tuple[Point, ...]) -> labels.Wanted:
    pieces = routing.segments(board, net) or [(pins[0], pins[0])]
    longest = max(pieces, key=lambda piece: _extent(piece))
    return labels.Wanted("", (net,), around(longest), "top", "net")


# --------------------------------------------------------------------------------- drawing


def _px(value: float) -> str:
    return f"{value * PIXELS_PER_UNIT:.4g}"


def _render(layout: Layout, title: str) -> Schematic:
    shown = [part.body for part in layout.parts] + [rail.box for rail in layout.rails]
    shown += [label.box for label in layout.labels] + _wires(layout.board, layout.parts)
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
        f'role="img" aria-label="{escape(title)}: {escape(description)}" '
        f'style="width:{_px(width)}px">{body}</svg>'
    )
    return Schematic(svg, description, width * PIXELS_PER_UNIT, height * PIXELS_PER_UNIT)


def describe(parts: Iterable[Part]) -> str:
    """Say in words what is connected to what, as the text alternative of the picture."""
    return "; ".join(
        f"{' '.join(part.lines)} between {' and '.join(dict.fromkeys(n for n, _ in part.pins))}"
        for part in parts
    )


def _draw_part(part: Part) -> str:
    place = part.orientation.svg(part.origin, PIXELS_PER_UNIT)
    return (
        f'<g class="part" data-reference="{part.element.reference}" '
        f'data-value="{escape(part.lines[1] if len(part.lines) > 1 else "")}" '
        f'transform="{place}">{part.shape.art}</g>'
    )


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
        return f'<g class="rail" data-net="{rail.net}" {place}><path class="line" d="{strokes}"/></g>'
    return (
        f'<g class="rail" data-net="{rail.net}" {place}><path class="line" d="M0 0V-8M-9 -8H9"/>'
        f'<text y="-12" text-anchor="middle">{escape(rail.net.upper())}</text></g>'
    )

