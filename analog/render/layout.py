"""Where parts, wires, rail symbols and labels of a schematic lie."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise

from analog.circuits.record import GROUND, Circuit, Dc, Element
from analog.render import labels, routing
from analog.render.geometry import Box, Point, around
from analog.render.parts import Remark
from analog.render.symbols import ORIENTATIONS, Orientation, Shape, shape
from analog.render.values import value_text


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


def place_parts(
    circuit: Circuit, row: Mapping[str, float], remarks: Mapping[str, Remark], spread: Point
) -> tuple[Part, ...]:
    """Place every element that has a symbol, its grid stretched by `spread` across and up.

    ValueError for a symbol with more terminals than its element has nodes.
    """
    joined = _joined_nodes(circuit)
    return tuple(
        _place(element, row, remarks, spread, joined)
        for element in circuit.pictured
        if element.symbol is not None
    )


def crowded(parts: tuple[Part, ...]) -> bool:
    """Tell whether parts lie in each other's way, or pins of two nets on one spot."""
    if any(one.body.grown(0.2).overlaps(other.body) for one, other in combinations(parts, 2)):
        return True
    owners: dict[routing.Cell, str] = {}
    pins = ((net, routing.cell(pin)) for part in parts for net, pin in part.pins)
    return any(owners.setdefault(at, net) != net for net, at in pins)


def lay_out(parts: tuple[Part, ...], named: frozenset[str]) -> Layout:
    """Wire and label placed parts; the nets in `named` are written at their wires."""
    nets = _nets(parts)
    board = routing.Board([part.body for part in parts])
    for part in parts:
        for net, pin in part.pins:
            board.add_lead(net, pin, part.body)
    board.pins = {routing.cell(point): net for net, points in nets.items() for point in points}
    rails = _place_rails(board, nets)
    wired = sorted((net for net in nets if not is_rail(net)), key=lambda net: _extent(nets[net]))
    lost = sum(not routing.connect(board, net, nets[net]) for net in wired)
    wanted = [_wanted(part) for part in parts]
    wanted += [_net_label(board, net, nets[net]) for net in sorted(named & set(wired))]
    taken = [part.body for part in parts] + [rail.box for rail in rails] + wires(board, parts)
    placed, homeless = labels.place(wanted, taken)
    return Layout(parts, board, nets, rails, placed, lost + homeless)


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
    remarks: Mapping[str, Remark],
    spread: Point,
    joined: Mapping[str, str],
) -> Part:
    symbol = element.symbol
    if symbol is None:
        raise ValueError(f"{element.reference} has no symbol")
    terminals = tuple((_snap(x * spread[0]), _snap(y * spread[1])) for x, y in symbol.terminals)
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
    element: Element, row: Mapping[str, float], remarks: Mapping[str, Remark]
) -> tuple[str, ...]:
    """Return reference or label, value, and what the design says besides."""
    symbol, value = element.symbol, value_text(element, row)
    remark = remarks.get(element.key, Remark("", ""))
    lines = (
        symbol.label if symbol and symbol.label else element.reference,
        value,
        remark.beside_value if value else remark.alone,
    )
    return tuple(dict.fromkeys(line for line in lines if line))


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
            for a, b in pairwise(stub):
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


def _free_rail(board: routing.Board, net: str, pin: Point, others: Iterable[Rail]) -> Rail:
    """Return the nearest place beside the pin where the symbol touches nothing."""
    others = tuple(others)
    for stub in _RAIL_STUBS:
        at = _add(pin, stub)
        box = _rail_box(net, at)
        clear = not any(box.overlaps(body) for body in board.bodies)
        clear &= not any(box.overlaps(other.box) for other in others)
        cells = [
            routing.cell(at),
            *(routing.cell(p) for p in _between(pin, at)),
            routing.cell((at[0], (box.bottom + box.top) / 2)),
        ]
        clear &= all(board.pins.get(c, net) == net for c in cells)
        clear &= not any(body.holds(p) for p in _between(pin, at) for body in board.bodies)
        if clear:
            return Rail(net, at, box)
    return Rail(net, pin, _rail_box(net, pin))


def wires(board: routing.Board, parts: Iterable[Part]) -> list[Box]:
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
    return labels.Wanted(part.element.reference, part.lines, (part.body,), sideways)


def _net_label(board: routing.Board, net: str, pins: tuple[Point, ...]) -> labels.Wanted:
    pieces = routing.segments(board, net) or [(pins[0], pins[0])]
    wires = sorted(map(around, pieces), key=lambda w: w.left - w.right + w.bottom - w.top)
    return labels.Wanted("", (net,), tuple(wire.grown(0.06) for wire in wires), "top", "net")
