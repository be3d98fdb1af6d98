"""The neutral circuit record: what is simulated, free of any simulator and of any file.

A `Circuit` is a tuple of `Element`s whose values are plain numbers or `Param`s, names that a
row of parameters fills in later. Netlists and schematics are both made from this one record,
so that a picture cannot show another circuit than the one that was run.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

_NAME = re.compile(r"[a-z][a-z0-9_]{0,47}")
_REFERENCE = re.compile(r"[A-Z]{1,3}[A-Za-z0-9_]{0,30}")

GROUND = "0"


@dataclass(frozen=True, slots=True)
class Param:
    """A value to be filled in from a row of parameters: ``Param("r_series")``."""

    name: str

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            raise ValueError(f"parameter name {self.name!r} is not [a-z][a-z0-9_]*")


Value = float | Param


@dataclass(frozen=True, slots=True)
class Dc:
    """A constant source, in volts or amperes."""

    level: Value


@dataclass(frozen=True, slots=True)
class Sine:
    """``offset + amplitude·sin(2π·frequency·t + phase)``; phase in degrees, valid from t = 0."""

    amplitude: Value
    frequency_hz: Value
    phase_deg: Value = 0.0
    offset: Value = 0.0


@dataclass(frozen=True, slots=True)
class Pulse:
    """A repeated trapezoid. Sets the simulator's breakpoints, unlike exponentials and B sources."""

    low: Value
    high: Value
    delay_s: Value
    rise_s: Value
    fall_s: Value
    width_s: Value
    period_s: Value


@dataclass(frozen=True, slots=True)
class Pwl:
    """Piecewise linear: pairs (time in s, level), times rising. Keep below 3 000 pairs.

    The whole shape starts `delay_s` later, at its first level until then, and its levels are
    multiplied by `scale`: so a fixed shape can be moved and sized by the parameters of a row.
    """

    points: tuple[tuple[Value, Value], ...]
    delay_s: Value = 0.0
    scale: Value = 1.0


Stimulus = Dc | Sine | Pulse | Pwl

Kind = Literal["R", "C", "L", "K", "D", "Q", "M", "J", "V", "I", "B", "E", "F", "G", "H", "S", "X"]


@dataclass(frozen=True, slots=True)
class Symbol:
    """How the schematic draws an element.

    `shape` names a drawing (``resistor``, ``capacitor``, ``diode``, ``schmitt``, ``triac``, …;
    all of them in ``analog.render.symbols.SHAPES``, an unknown one becomes a named box);
    `terminals` gives one (x, y) grid point per node, in node order, x to the right and y up, on
    whole or half grid units, the ends of a two-terminal part 2 units apart or more. Terminals
    of one node need not touch: wires, junction dots, ground and rail symbols are drawn by the
    router. An element whose `symbol` is None is hidden (stray capacitance, ammeters). `label`
    replaces the reference in the picture; `pins` are written inside a box, one per terminal.
    """

    shape: str
    terminals: tuple[tuple[float, float], ...]
    label: str = ""
    pins: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Element:
    """One component.

    `reference` starts with `kind` (``R1``); `nodes` in SPICE order; `value` by kind: R, C, L, K a
    number, V and I a `Stimulus`, B an expression in our own node names (``i = …`` or ``v = …``,
    with ``{param}`` for parameters), E, F, G, H a gain. `model` names a `Model` (D, Q, M, J, S)
    or a library sub-circuit (X), whose arguments stand in `arguments`. `control` holds the
    controlling nodes (E, G), the controlling source (F, H) or the coupled inductors (K). `key` is
    the dotted design key the value comes from, empty for what the bench itself adds.
    """

    reference: str
    kind: Kind
    nodes: tuple[str, ...]
    value: Value | Stimulus | str | None = None
    model: str = ""
    arguments: tuple[tuple[str, Value], ...] = ()
    control: tuple[str, ...] = ()
    initial: Value | None = None
    key: str = ""
    symbol: Symbol | None = None

    def __post_init__(self) -> None:
        if not _REFERENCE.fullmatch(self.reference) or not self.reference.startswith(self.kind):
            raise ValueError(f"reference {self.reference!r} does not suit an element {self.kind}")
        for node in (*self.nodes, *(self.control if self.kind in "EG" else ())):
            if node != GROUND and (not _NAME.fullmatch(node) or node == "gnd"):
                raise ValueError(f"node name {node!r} is not [a-z][a-z0-9_]* (and never 'gnd')")


@dataclass(frozen=True, slots=True)
class Model:
    """A built-in device model: ``Model("d4148", "D", (("IS", 2.5e-9), …))``."""

    name: str
    type: Literal["D", "NPN", "PNP", "NMOS", "PMOS", "NJF", "PJF", "SW"]
    arguments: tuple[tuple[str, Value], ...]


@dataclass(frozen=True, slots=True)
class Circuit:
    """A complete circuit; `libraries` names the files of `models/` its X elements come from.

    `drawn` are parts whose effect is read off the traces by their data: the schematic shows them,
    no simulator sees them.
    """

    title: str
    elements: tuple[Element, ...]
    models: tuple[Model, ...] = ()
    libraries: tuple[str, ...] = ()
    drawn: tuple[Element, ...] = ()

    def __post_init__(self) -> None:
        seen: set[str] = set()
        for element in self.pictured:
            folded = element.reference.lower()
            if folded in seen:
                raise ValueError(f"two elements are called {element.reference}")
            seen.add(folded)

    @property
    def pictured(self) -> tuple[Element, ...]:
        """Return all elements of the schematic: those simulated and those only drawn."""
        return (*self.elements, *self.drawn)

    def element(self, reference: str) -> Element:
        """Return the element called `reference`; KeyError when there is none."""
        for element in self.elements:
            if element.reference == reference:
                return element
        raise KeyError(reference)

    def parameters(self) -> frozenset[str]:
        """Return the names of all `Param`s used, those inside B expressions included."""
        found: set[str] = set()
        for value in _values(self):
            if isinstance(value, Param):
                found.add(value.name)
            elif isinstance(value, str):
                found.update(re.findall(r"\{([a-z][a-z0-9_]*)\}", value))
        return frozenset(found)


def _values(circuit: Circuit) -> Iterator[object]:
    for element in circuit.elements:
        yield element.initial
        yield from (value for _, value in element.arguments)
        yield from _stimulus_values(element.value)
    for model in circuit.models:
        yield from (value for _, value in model.arguments)


def _stimulus_values(value: object) -> Iterator[object]:
    if isinstance(value, Pwl):
        yield from (value.delay_s, value.scale)
        for pair in value.points:
            yield from pair
    elif isinstance(value, Dc | Sine | Pulse):
        yield from (getattr(value, name) for name in value.__slots__)
    else:
        yield value


Method = Literal["trap", "gear"]


@dataclass(frozen=True, slots=True)
class Transient:
    """A transient analysis and its numerical settings.

    `stop_s` and `step_s` (the largest internal step; always given, since ngspice's own default
    is span/50) may be parameters. `initial` sets node voltages (``.ic``); with `use_initial`
    the operating point is skipped. `record_from_s` drops the start.
    """

    stop_s: Value
    step_s: Value
    record_from_s: Value = 0.0
    method: Method = "trap"
    reltol: float = 1e-4
    trtol: float = 1.0
    abstol: float = 1e-10
    vntol: float = 1e-6
    use_initial: bool = False
    initial: tuple[tuple[str, Value], ...] = ()
    step_divisor: float = 1.0


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """A DC operating point: traces of length one."""

    reltol: float = 1e-6
    abstol: float = 1e-12
    vntol: float = 1e-9


@dataclass(frozen=True, slots=True)
class DcSweep:
    """A DC sweep of one independent source, from `start` to `stop` by `step`/`step_divisor`."""

    source: str
    start: Value
    stop: Value
    step: Value
    reltol: float = 1e-6
    abstol: float = 1e-12
    vntol: float = 1e-9
    step_divisor: float = 1.0


Analysis = Transient | OperatingPoint | DcSweep


@dataclass(frozen=True, slots=True)
class Experiment:
    """What a worker needs to turn a row of parameters into values; all of it pickles.

    `saves` are the wanted traces, ``v(node)`` or ``i(vsource)``. `reducer` is
    ``analog.some.module:function``, called in the worker with the run's traces and the row:
    ``reduce(run: Run, row: Mapping[str, float]) -> Mapping[str, float]``; it must return every
    name in `outputs`, NaN standing for "it never happened". The reserved parameter
    ``ambient_c`` sets the simulation temperature in °C (25 when absent).
    """

    circuit: Circuit
    analysis: Analysis
    saves: tuple[str, ...]
    reducer: str
    outputs: tuple[str, ...]
    readings: tuple[tuple[str, str], ...] = field(default=())
    """(output name, the text of an ngspice ``.meas`` line without its dot-word and name) for
    those outputs an exported netlist can measure by itself."""
    shown: str = ""
    """``analog.some.module:function`` that makes the run to be plotted of the run simulated,
    ``shown(run: Run, row) -> Run``, adding traces that come from data; empty to plot it as it
    is."""
