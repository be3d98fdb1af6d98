"""The whole chain from mains to load as one picture, with what each bench checks marked.

One lane per function, from left to right, joined by named nets as on the sheets of a larger
schematic. Parts and values are those of the design; the benches' own schematics show the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from analog.cards import find_card
from analog.design import Conditioner, Design, LineSense, PartValue, Spread
from analog.render.geometry import FONT_SIZE_PX, PIXELS_PER_UNIT, Point, text_width
from analog.render.markup import markup
from analog.render.symbols import shape
from analog.render.words import quantity

CELL_PX, LANE_PX = 152.0, 158.0
LEFT_PX, NET_PX = 84.0, 70.0
WIRE_PX = 52.0
"""Where the wire runs below the top of its lane."""

_LINE_PX = 15.0
_ACROSS: tuple[Point, Point] = ((0, 0), (2, 0))
_COUPLER: tuple[Point, ...] = ((-2, 0.5), (-2, -0.5), (2, 0.5), (2, -0.5))
_COILS: tuple[Point, ...] = ((-1, 1), (-1, -1), (1, 1), (1, -1))
_REGULATOR: tuple[Point, ...] = ((-1.5, 0), (1.5, 0), (0, -1))
_TRIAC: tuple[Point, ...] = ((0, 1), (0, -1), (-1, -0.5))

# kind: the symbol's terminals, and where its origin lies from the middle of the cell's wire
_ON_THE_WIRE: dict[str, tuple[tuple[Point, ...], float, float]] = {
    "series": (_ACROSS, -1.0, 0.0),
    "coupler": (_COUPLER, 0.0, 0.5),
    "transformer": (_COILS, 0.0, 1.0),
    "regulator": (_REGULATOR, 0.0, 0.0),
}


# An inverter with the hysteresis sign in it; its supply is not shown.
_SCHMITT = (
    '<path class="line" d="M-36 0H-16M-16 -18V18L16 0zM-11 5h6v-9h5m-5 9h-6m6 0v-9M24 0H36"/>'
    '<circle class="line" cx="20" cy="0" r="4"/>'
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One part of a lane: its symbol, where that stands, its name and values."""

    symbol: str
    kind: str
    """series, shunt (to ground), gate, coupler, triac, transformer, regulator or box."""
    lines: tuple[str, ...]
    bench: str = ""


@dataclass(frozen=True, slots=True)
class Lane:
    """Cells along one wire, from the net `start` to the net `end`."""

    start: str
    end: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Marked:
    """How a bench is marked: its title with its verdict in words, and the verdict's role."""

    title: str
    role: str


def draw_chain(design: Design, benches: Mapping[str, Marked]) -> str:
    """Return the chain as an inline SVG, empty for a design without any part of it."""
    found = tuple(lane for lane in lanes(design) if lane.cells)
    if not found:
        return ""
    width = LEFT_PX + NET_PX + CELL_PX * max(len(lane.cells) for lane in found)
    height = LANE_PX * len(found)
    body = "".join(_lane(lane, LANE_PX * row, benches) for row, lane in enumerate(found))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="schematic chain" '
        f'viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{markup(describe(found))}" '
        f'style="width:{width:g}px;min-width:min({width:g}px,46rem)">{body}</svg>'
    )


def describe(found: tuple[Lane, ...]) -> str:
    """Say in words what follows what, as the text alternative."""
    said = [
        f"{lane.start} to {lane.end}: {', '.join(' '.join(cell.lines) for cell in lane.cells)}"
        for lane in found
    ]
    return f"The chain from mains to load. {'; '.join(said)}"


# --------------------------------------------------------------------------- what is in a lane


def lanes(design: Design) -> tuple[Lane, ...]:
    """Return the lanes of a design: supply, count, reset, switch; without cells when absent."""
    clock = "clock" if design.clocked else "pin"
    return (
        Lane("mains", "rail (VDD)", tuple(_supply(design))),
        Lane("winding", clock, tuple(_count(design))),
        Lane("rail (VDD)", "reset", tuple(_reset(design))),
        Lane("latch", "mains", tuple(_switch(design))),
    )


def _supply(design: Design) -> Iterator[Cell]:
    supply, mains = design.supply, design.mains
    if supply is None or mains is None or supply.transformer_voltage is None:
        return
    lines = ("transformer", *_transformer(design))
    yield Cell("transformer", "transformer", lines, "supply")
    if supply.rectifier:
        yield Cell("diode", "series", (supply.rectifier, supply.rectifier_diode), "supply")
    if supply.reservoir is not None:
        lines = ("reservoir", _farads(supply.reservoir))
        yield Cell("electrolytic", "shunt", lines, "supply")
    if supply.regulator is not None:
        lines = ("regulator", supply.regulator, _spread(supply.rail, "V"))
        yield Cell("regulator", "regulator", lines, "supply")


def _transformer(design: Design) -> Iterator[str]:
    """Yield what goes in and what comes out, one per line."""
    mains, supply = design.mains, design.supply
    if mains is not None:
        yield f"{quantity(mains.voltage, 'V')} {quantity(mains.frequency, 'Hz')}"
    if supply is not None and supply.transformer_voltage is not None:
        yield f"to {quantity(supply.transformer_voltage, 'V')}"
    if supply is not None and supply.transformer_rating is not None:
        yield quantity(supply.transformer_rating, "VA")


def _count(design: Design) -> Iterator[Cell]:
    sense, part = design.line_sense, design.conditioner
    if sense is not None:
        yield from (replace(cell, bench="line_sense") for cell in _sensed(sense))
    if part is not None and part.part != "none":
        if part.base_resistor is not None and part.collector_resistor is not None:
            lines = ("base resistor", _ohms(part.base_resistor))
            yield Cell("resistor", "series", lines, "conditioner")
        kind = "box" if part.own is not None else _input(part.part)
        yield Cell("", kind, _stage_words(part), "conditioner")
    if design.clocked is not None and (sense is not None or part is not None):
        yield Cell("", "box", ("clocked part", design.clocked.part))


def _stage_words(part: Conditioner) -> tuple[str, ...]:
    if part.own is not None:
        return ("sub-circuit", part.own.name, part.own.file)
    words = ("conditioner", part.part)
    if part.collector_resistor is None:
        return words
    return (*words, f"{_ohms(part.collector_resistor)} to VDD")


def _sensed(sense: LineSense) -> Iterator[Cell]:
    if sense.isolating_diode is not None:
        yield Cell("diode", "series", ("two, isolating", sense.isolating_diode))
    if sense.bleed_resistor is not None:
        yield Cell("resistor", "shunt", ("bleed", _ohms(sense.bleed_resistor)))
    if sense.own is not None:
        yield Cell("", "box", ("sub-circuit", sense.own.name, sense.own.file))
    if sense.series_resistor is not None:
        yield Cell("resistor", "series", ("series resistor", _ohms(sense.series_resistor)))
    if sense.optocoupler is not None and sense.pull_up_resistor is not None:
        yield Cell("optocoupler", "coupler", ("optocoupler", sense.optocoupler))
        yield Cell("resistor", "shunt", ("pull-up (to VDD)", _ohms(sense.pull_up_resistor)))
    if sense.capacitor is not None:
        yield Cell("capacitor", "shunt", ("filter", _farads(sense.capacitor)))
    if sense.second_resistor is not None and sense.second_capacitor is not None:
        yield Cell("resistor", "series", ("second stage", _ohms(sense.second_resistor)))
        yield Cell("capacitor", "shunt", ("second stage", _farads(sense.second_capacitor)))
    if sense.clamp == "zener" and sense.clamp_zener is not None:
        yield Cell("zener", "shunt", ("clamp", sense.clamp_zener))


def _reset(design: Design) -> Iterator[Cell]:
    reset = design.reset
    if reset is None:
        return
    diode = "" if reset.discharge_diode is None else f"{reset.discharge_diode} across it"
    if reset.topology == "detector":
        words = ("voltage detector", reset.detector or "", f"delay {_farads(reset.capacitor)}")
        yield Cell("", "box", words, "reset")
        yield Cell("resistor", "shunt", ("pull-up (to VDD)", _ohms(reset.resistor)), "reset")
    elif reset.topology == "rc-high":
        yield Cell("capacitor", "series", ("capacitor", _farads(reset.capacitor)), "reset")
        yield Cell("resistor", "shunt", ("reset resistor", _ohms(reset.resistor), diode), "reset")
    else:
        lines = ("reset resistor", _ohms(reset.resistor), diode)
        yield Cell("resistor", "series", lines, "reset")
        yield Cell("capacitor", "shunt", ("capacitor", _farads(reset.capacitor)), "reset")
    if reset.zener is not None:
        words = ("empties it below", reset.zener, f"two {reset.transistor}")
        yield Cell("", "box", words, "reset")
    if reset.pin_resistor is not None:
        yield Cell("resistor", "series", ("pin resistor", _ohms(reset.pin_resistor)), "reset")
    yield Cell("", _input(reset.receiver), ("reset input", reset.receiver), "reset")


def _input(part: str) -> str:
    """Return how the input of a part is drawn: with hysteresis or as a plain box."""
    return "gate" if find_card(part).kind == "schmitt" else "box"


def _switch(design: Design) -> Iterator[Cell]:
    gate, load = design.gate_drive, design.load
    if gate is None:
        return
    driver = f"{gate.driver.upper()} {gate.driver_part or ''}".strip()
    yield Cell("", "box", ("LED driver", driver, f"from {gate.source}"), "gate_drive")
    yield Cell("resistor", "series", ("LED resistor", _ohms(gate.led_resistor)), "gate_drive")
    yield Cell("opto_triac", "coupler", ("opto-triac", gate.opto), "gate_drive")
    yield Cell("resistor", "series", ("gate resistor", _ohms(gate.gate_resistor)), "gate_drive")
    yield Cell("triac", "triac", ("triac", gate.triac), "gate_drive")
    if load is not None:
        lines = (f"{load.kind} load", _spread(load.power, "W"))
        yield Cell("load", "series", lines, "gate_drive")


def _ohms(part: PartValue) -> str:
    return quantity(part.nominal, "Ω")


def _farads(part: PartValue) -> str:
    return quantity(part.nominal, "F")


def _spread(spread: Spread, unit: str) -> str:
    return quantity(spread.nominal, unit)


# ------------------------------------------------------------------------------------ drawing


def _lane(lane: Lane, top: float, benches: Mapping[str, Marked]) -> str:
    wire = top + WIRE_PX
    end = LEFT_PX + CELL_PX * len(lane.cells)
    marks = "".join(_marks(lane, top, benches))
    cells = "".join(
        _cell(cell, LEFT_PX + CELL_PX * index, wire) for index, cell in enumerate(lane.cells)
    )
    return (
        f"{marks}{_net(lane.start, LEFT_PX, wire, 'end')}{cells}"
        f"{_net(lane.end, end, wire, 'start')}"
    )


def _marks(lane: Lane, top: float, benches: Mapping[str, Marked]) -> Iterator[str]:
    """Yield a dashed frame with the bench's title around each run of cells that it checks."""
    for bench, mark in benches.items():
        own = [index for index, cell in enumerate(lane.cells) if cell.bench == bench]
        if own:
            left, right = LEFT_PX + CELL_PX * own[0] + 4, LEFT_PX + CELL_PX * (own[-1] + 1) - 4
            room = LEFT_PX + CELL_PX * _next_marked(lane, own[-1]) - left - 16
            yield (
                f'<rect class="mark {mark.role}" x="{left:g}" y="{top + 8:g}" rx="6" '
                f'width="{right - left:g}" height="{LANE_PX - 14:g}"/>'
                f'<text class="mark {mark.role}" x="{left + 8:g}" y="{top + 23:g}">'
                f"{markup(shortened(mark.title, room, bold=True))}</text>"
            )


def _next_marked(lane: Lane, last: int) -> int:
    """Return the index of the next cell after `last` that a bench checks, else the lane's end."""
    later = (k for k in range(last + 1, len(lane.cells)) if lane.cells[k].bench)
    return next(later, len(lane.cells))


def _net(name: str, x: float, y: float, anchor: str) -> str:
    lines = name.split(" ", 1)
    away = -8 if anchor == "end" else 8
    spans = "".join(
        f'<tspan x="{x + away:g}" y="{y + 4 + 14 * row:g}">{markup(line)}</tspan>'
        for row, line in enumerate(lines)
    )
    return (
        f'<circle class="solid" cx="{x:g}" cy="{y:g}" r="3"/>'
        f'<text text-anchor="{anchor}" class="node">{spans}</text>'
    )


def _cell(cell: Cell, left: float, wire: float) -> str:
    """Draw one part on the wire at height `wire` of a cell whose left edge is `left`."""
    right = left + CELL_PX
    strokes, symbol = _placed(cell, left, right, wire)
    x, y, room = _text_place(cell.kind, left, wire)
    anchor = "start" if cell.kind in _BESIDE else "middle"
    text = _texts(cell.lines, x, y, room, anchor)
    return f'<g class="part"><path class="line" d="{strokes}"/>{symbol}{text}</g>'


# kind: how far right of the cell's edge, and below the wire, its text begins beside the symbol
_BESIDE = {"shunt": (60.0, 28.0), "triac": (72.0, 28.0), "transformer": (88.0, 22.0)}


def _text_place(kind: str, left: float, wire: float) -> tuple[float, float, float]:
    """Return x, y and the room (px) of a part's text: beside what hangs, else below."""
    if kind in _BESIDE:
        across, below = _BESIDE[kind]
        beyond = 40.0 if kind == "transformer" else 0.0  # nothing hangs in the next cell
        return left + across, wire + below, CELL_PX - across - 6 + beyond
    below = {"coupler": 72.0, "regulator": 52.0}.get(kind, 40.0)
    return left + CELL_PX / 2, wire + below, CELL_PX - 12


def _placed(cell: Cell, left: float, right: float, wire: float) -> tuple[str, str]:
    """Return the strokes of the wire and the symbol, both placed in the cell."""
    if cell.kind in ("shunt", "triac"):
        return _hanging(cell, left, right, wire)
    unit = PIXELS_PER_UNIT
    middle = left + 48 if cell.kind == "transformer" else (left + right) / 2
    half = unit * {"coupler": 2.0, "regulator": 1.5}.get(cell.kind, 1.0)
    ends = f"M{left:g} {wire:g}H{middle - half:g}M{middle + half:g} {wire:g}H{right:g}"
    if cell.kind == "gate":
        return ends, _at(_SCHMITT, middle, wire)
    if cell.kind not in _ON_THE_WIRE:
        return f"{ends}M{middle - unit:g} {wire - 16:g}h{2 * unit:g}v32h{-2 * unit:g}z", ""
    terminals, dx, dy = _ON_THE_WIRE[cell.kind]
    art = shape(cell.symbol, terminals).art
    return ends, _at(art, middle + dx * unit, wire + dy * unit)


def _hanging(cell: Cell, left: float, right: float, wire: float) -> tuple[str, str]:
    """Return strokes and symbol of a part from the wire to ground, or of a triac: the wire comes
    to its gate and goes on from its second main terminal."""
    at, unit = left + CELL_PX / 4, PIXELS_PER_UNIT
    foot = wire + 2 * unit
    through = f"M{left:g} {wire:g}H{right:g}"
    ground = f"M{at - 9:g} {foot:g}h18M{at - 5:g} {foot + 4:g}h10M{at - 2:g} {foot + 8:g}h4"
    if cell.kind == "shunt":
        turned = f'transform="translate({at:g} {wire:g}) rotate(90)"'
        return through + ground, f"<g {turned}>{shape(cell.symbol, _ACROSS).art}</g>"
    at = (left + right) / 2 - 28
    gate = f"M{left:g} {wire:g}H{left + 12:g}V{wire + 1.5 * unit:g}H{at - unit:g}"
    ends = f"M{at:g} {wire:g}H{right:g}M{at - 9:g} {foot:g}h18"
    return gate + ends, _at(shape("triac", _TRIAC).art, at, wire + unit)


def _at(art: str, x: float, y: float) -> str:
    return f'<g transform="translate({x:g} {y:g})">{art}</g>'


def _texts(lines: tuple[str, ...], x: float, y: float, room: float, anchor: str) -> str:
    spans = "".join(
        f'<tspan class="{"reference" if row == 0 else "value"}" x="{x:g}" '
        f'y="{y + _LINE_PX * row:g}">{markup(shortened(line, room, bold=row == 0))}</tspan>'
        for row, line in enumerate(line for line in lines if line)
    )
    return f'<text text-anchor="{anchor}">{spans}</text>'


def shortened(text: str, room: float, bold: bool = False) -> str:
    """Return text cut to `room` px with an ellipsis where it is longer."""
    if text_width(text, FONT_SIZE_PX, bold) <= room:
        return text
    while text and text_width(f"{text}…", FONT_SIZE_PX, bold) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"
