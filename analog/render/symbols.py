"""The graphic symbols of a schematic: pins, body and drawing of each shape.

Symbols lie in their own coordinates (drawing units, y up) and are placed by an `Orientation`.
Pins sit on the half-unit grid that the router uses, one per node of the element in node order;
None stands for a node that the symbol does not show (the bulk of a MOSFET).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

from analog.render.geometry import Box, Point, around

Pins = tuple[Point | None, ...]


@dataclass(frozen=True, slots=True)
class Shape:
    """A symbol in its own coordinates; `art` is SVG without a frame, y already downwards."""

    pins: Pins
    body: Box
    art: str


@dataclass(frozen=True, slots=True)
class Orientation:
    """One of the eight ways to turn and mirror a symbol: x' = a·x + c·y, y' = b·x + d·y."""

    a: int = 1
    b: int = 0
    c: int = 0
    d: int = 1

    def apply(self, point: Point) -> Point:
        x, y = point
        return (self.a * x + self.c * y, self.b * x + self.d * y)

    def svg(self, at: Point, pixels: float) -> str:
        """Return the SVG transform that places the symbol with its origin at `at`."""
        numbers = (self.a, -self.b, -self.c, self.d)
        shift = (at[0] * pixels, -at[1] * pixels)
        return "matrix({} {} {} {} {:g} {:g})".format(*numbers, *shift)


ORIENTATIONS = (
    Orientation(),
    Orientation(-1, 0, 0, 1),
    Orientation(1, 0, 0, -1),
    Orientation(-1, 0, 0, -1),
    Orientation(0, 1, -1, 0),
    Orientation(0, -1, 1, 0),
    Orientation(0, 1, 1, 0),
    Orientation(0, -1, -1, 0),
)

# Two-terminal shapes: the element of the drawing library and its keywords.
_TWO_TERMINAL: dict[str, tuple[str, dict[str, Any]]] = {
    "resistor": ("ResistorIEC", {}),
    "load": ("ResistorIEC", {}),
    "capacitor": ("Capacitor", {}),
    "electrolytic": ("Capacitor", {"polar": True}),
    "inductor": ("Inductor2", {}),
    "diode": ("Diode", {}),
    "schottky": ("Schottky", {}),
    "zener": ("Zener", {}),
    "led": ("LED", {}),
    "source": ("SourceV", {}),
    "sine": ("SourceSin", {}),
    "pulse": ("SourceSquare", {}),
    "ramp": ("SourceRamp", {}),
    "current": ("SourceI", {}),
    "switch": ("Switch", {}),
    "button": ("Button", {}),
    "fuse": ("FuseIEC", {}),
    "lamp": ("Lamp", {}),
    "varistor": ("ResistorVarIEC", {}),
}
_HALF_HEIGHT = {"source": 0.5, "sine": 0.5, "pulse": 0.5, "ramp": 0.5, "current": 0.5, "lamp": 0.5}

_STYLE = re.compile(r'style="([^"]*)"')
_FRAME = re.compile(r"<svg[^>]*>(.*)</svg>", re.DOTALL)


def _classed(match: re.Match[str]) -> str:
    """Replace fixed colours and widths by classes, so that the page's own colours apply."""
    style = match.group(1)
    return 'class="solid"' if "fill:black" in style else 'class="line"'


def _art(add: Callable[[Any, Any], None]) -> str:
    """Return what `add(drawing, elements)` draws, as SVG without its frame."""
    import schemdraw
    import schemdraw.elements

    drawing = schemdraw.Drawing(canvas="svg", show=False)
    add(drawing, schemdraw.elements)
    picture = drawing.get_imagedata("svg").decode()
    frame = _FRAME.search(picture)
    if frame is None:
        raise ValueError("the drawing library gave no SVG frame")
    return _STYLE.sub(_classed, frame.group(1))


def _two_terminal(name: str, length: float) -> Shape:
    kind, keywords = _TWO_TERMINAL[name]

    ends: tuple[Point, Point] = ((0.0, 0.0), (length, 0.0))
    if kind == "SourceV":  # the library puts plus at the far end, a netlist names it first
        ends = (ends[1], ends[0])

    def add(drawing: Any, elements: Any) -> None:
        drawing.add(getattr(elements, kind)(**keywords).endpoints(*ends))

    half = _HALF_HEIGHT.get(name, 0.3)
    body = Box(length / 2 - 0.55, -half, length / 2 + 0.55, half)
    return Shape(((0.0, 0.0), (length, 0.0)), body, _art(add))


def _line(drawing: Any, elements: Any, *points: Point) -> None:
    for start, end in pairwise(points):
        drawing.add(elements.Line().endpoints(start, end))


def _gate(kind: str) -> Callable[[Any, Any], None]:
    def add(drawing: Any, elements: Any) -> None:
        import schemdraw.logic

        drawing.add(getattr(schemdraw.logic, kind)().endpoints((-1, 0), (1, 0)))
        _line(drawing, elements, (0, 0.16), (0, 1))
        _line(drawing, elements, (0, -0.16), (0, -1))

    return add


def _schmitt_nand(tied: bool) -> Callable[[Any, Any], None]:
    """Draw a Schmitt NAND of two inputs: both driven, or the upper one at the supply."""
    left, high, low = -0.55, 0.15, -0.15

    def add(drawing: Any, elements: Any) -> None:
        import schemdraw.logic

        drawing.add(schemdraw.logic.SchmittNand().at((left, 0)).scale(0.6))
        _line(drawing, elements, (-1, 0), (-0.75, 0), (-0.75, low), (left, low))
        if tied:
            _line(drawing, elements, (-0.75, 0), (-0.75, high), (left, high))
        else:
            _line(drawing, elements, (left, high), (-0.7, high), (-0.7, 0.7), (0, 0.7))
        _line(drawing, elements, (0.56, 0), (1, 0))
        _line(drawing, elements, (0, 0.3), (0, 1))
        _line(drawing, elements, (0, -0.3), (0, -1))

    return add


def _bipolar(kind: str) -> Callable[[Any, Any], None]:
    def add(drawing: Any, elements: Any) -> None:
        transistor = getattr(elements, kind)()
        drawing.add(transistor.anchor("base").at((-0.75, 0)))
        for name in ("collector", "emitter"):
            x, y = transistor.absanchors[name]
            _line(drawing, elements, (x, y), (0, y), (0, 1 if y > 0 else -1))
        _line(drawing, elements, (-0.75, 0), (-1, 0))

    return add


def _field_effect(kind: str) -> Callable[[Any, Any], None]:
    def add(drawing: Any, elements: Any) -> None:
        gate_y = -0.5 if kind == "NMos" else 0.5
        transistor = getattr(elements, kind)()
        drawing.add(transistor.anchor("gate").at((-5 / 6, gate_y)))
        for name in ("drain", "source"):
            _, y = transistor.absanchors[name]
            _line(drawing, elements, (0, y), (0, 1 if y > 0 else -1))
        _line(drawing, elements, (-5 / 6, gate_y), (-1, gate_y))

    return add


def _triac(drawing: Any, elements: Any) -> None:
    drawing.add(elements.Diac().endpoints((0, 1), (0, -1)))
    _line(drawing, elements, (-0.25, -0.18), (-0.5, -0.5), (-1, -0.5))


def _coupler(drawing: Any, elements: Any) -> None:
    """Draw the case and the light-emitting side shared by all couplers, 4 units wide."""
    _line(drawing, elements, (-1.5, -1), (1.5, -1), (1.5, 1), (-1.5, 1), (-1.5, -1))
    drawing.add(elements.Diode().endpoints((-0.9, 0.5), (-0.9, -0.5)))
    for side in (0.5, -0.5):
        _line(drawing, elements, (-2, side), (-0.9, side))
    for y in (0.12, -0.12):
        drawing.add(elements.Line(arrow="->").endpoints((-0.5, y + 0.05), (0.05, y + 0.05)))


def _opto_triac(drawing: Any, elements: Any) -> None:
    _coupler(drawing, elements)
    drawing.add(elements.Diac().endpoints((0.8, 0.5), (0.8, -0.5)))
    for side in (0.5, -0.5):
        _line(drawing, elements, (0.8, side), (2, side))


def _optocoupler(drawing: Any, elements: Any) -> None:
    _coupler(drawing, elements)
    transistor = elements.BjtNpn()
    drawing.add(transistor.anchor("base").at((0.3, 0)))
    for name, side in (("collector", 0.5), ("emitter", -0.5)):
        x, y = transistor.absanchors[name]
        _line(drawing, elements, (x, y), (x, side), (2, side))


def _optocoupler_ac(drawing: Any, elements: Any) -> None:
    """Draw a second LED the other way round."""
    _optocoupler(drawing, elements)
    drawing.add(elements.Diode().endpoints((-1.32, -0.5), (-1.32, 0.5)).scale(0.6))


def _transformer(drawing: Any, elements: Any) -> None:
    coil = elements.Transformer()
    drawing.add(coil.anchor("p2").at((-0.5, -0.8)))
    for name in ("p1", "p2", "s1", "s2"):
        x, y = coil.absanchors[name]
        _line(drawing, elements, (x, y), (x, 1 if y > 0 else -1), (2 * x, 1 if y > 0 else -1))


def _regulator(drawing: Any, elements: Any) -> None:
    _line(drawing, elements, (-1, -0.5), (1, -0.5), (1, 0.5), (-1, 0.5), (-1, -0.5))
    _line(drawing, elements, (-1.5, 0), (-1, 0))
    _line(drawing, elements, (1, 0), (1.5, 0))
    _line(drawing, elements, (0, -0.5), (0, -1))


_GATE_PINS: Pins = ((-1, 0), (1, 0), (0, 1), (0, -1))
_COUPLER_PINS: Pins = ((-2, 0.5), (-2, -0.5), (2, 0.5), (2, -0.5))
_GATE_BODY = Box(-0.5, -0.5, 0.5, 0.5)
_NAND_BODY = Box(-0.75, -0.5, 0.6, 0.75)
_TRANSISTOR_BODY = Box(-0.6, -0.75, 0.2, 0.75)

# name: pins in node order, body, drawing
_SEVERAL: dict[str, tuple[Pins, Box, Callable[[Any, Any], None]]] = {
    "schmitt": (_GATE_PINS, _GATE_BODY, _gate("SchmittNot")),
    "schmitt_buffer": (_GATE_PINS, _GATE_BODY, _gate("Schmitt")),
    "schmitt_nand": (_GATE_PINS, _NAND_BODY, _schmitt_nand(tied=False)),
    "schmitt_nand_tied": (_GATE_PINS, _NAND_BODY, _schmitt_nand(tied=True)),
    "inverter": (_GATE_PINS, _GATE_BODY, _gate("Not")),
    "buffer": (_GATE_PINS, _GATE_BODY, _gate("Buf")),
    "npn": (((0, 1), (-1, 0), (0, -1)), _TRANSISTOR_BODY, _bipolar("BjtNpn")),
    "pnp": (((0, -1), (-1, 0), (0, 1)), _TRANSISTOR_BODY, _bipolar("BjtPnp")),
    "nmos": (((0, 1), (-1, -0.5), (0, -1), None), _TRANSISTOR_BODY, _field_effect("NMos")),
    "pmos": (((0, -1), (-1, 0.5), (0, 1), None), _TRANSISTOR_BODY, _field_effect("PMos")),
    "triac": (((0, 1), (0, -1), (-1, -0.5)), Box(-0.6, -0.6, 0.55, 0.6), _triac),
    "opto_triac": (_COUPLER_PINS, Box(-1.5, -1, 1.5, 1), _opto_triac),
    "optocoupler": (_COUPLER_PINS, Box(-1.5, -1, 1.5, 1), _optocoupler),
    "optocoupler_ac": (_COUPLER_PINS, Box(-1.5, -1, 1.5, 1), _optocoupler_ac),
    "transformer": (
        ((-1, 1), (-1, -1), (1, 1), (1, -1)),
        Box(-0.75, -0.9, 0.75, 0.9),
        _transformer,
    ),
    "regulator": (((-1.5, 0), (1.5, 0), (0, -1)), Box(-1, -0.5, 1, 0.5), _regulator),
}

SHAPES = (*_TWO_TERMINAL, *_SEVERAL, "box")


@cache
def shape(name: str, terminals: tuple[Point, ...]) -> Shape:
    """Return the symbol `name` for an element whose nodes lie at `terminals`.

    Two-terminal symbols stretch between their ends; a name not in `SHAPES`, or one whose number
    of pins does not suit, becomes a box with one stub per node.
    """
    if name in _TWO_TERMINAL and len(terminals) == 2:
        (x1, y1), (x2, y2) = terminals
        return _two_terminal(name, max(abs(x2 - x1) + abs(y2 - y1), 1.0))
    if name in _SEVERAL:
        pins, body, add = _SEVERAL[name]
        if len(pins) == len(terminals) or (pins[-1] is None and len(pins) - 1 == len(terminals)):
            return Shape(pins[: len(terminals)], body, _art(add))
    return _box(terminals)


def _box(terminals: tuple[Point, ...]) -> Shape:
    """Return a rectangle inside the terminals with a straight stub to each."""
    outer = around(terminals)
    across = outer.right > outer.left
    x, y = (0.5, -0.5) if across else (-0.5, 0.5)
    body = Box(outer.left + x, outer.bottom + y, outer.right - x, outer.top - y)

    def add(drawing: Any, elements: Any) -> None:
        corners = (body.left, body.bottom), (body.right, body.bottom)
        opposite = (body.right, body.top), (body.left, body.top)
        _line(drawing, elements, *corners, *opposite, corners[0])
        for x, y in terminals:
            edge = (min(max(x, body.left), body.right), min(max(y, body.bottom), body.top))
            if edge != (x, y):
                _line(drawing, elements, (x, y), edge)

    return Shape(terminals, body, _art(add))
