"""The fronts of a line sense: how its signal is taken off the winding, one function each.

half-wave, one winding end on circuit ground:

    winding ── RW ──┬────┬── R1 ──
                 supply  R2

bridge-leg, the sensed point is one AC leg of the supply's bridge (R2 is the bleed without which
the leg floats between the bridge's conduction peaks).

full-wave, two diodes from both ends of the winding (the legs of a bridge, or the halves of a
centre-tapped winding) keep the sensed point apart from the reservoir; only the bleed pulls it
down again:

    winding ── RW ──┬── D7 ──┬────┬── R1 ──
                 supply     R2    │
    other end ───────── D8 ───────┘

optocoupler, the LED hangs across the winding (or the bridge's legs) by way of R1, and the
transistor pulls the output down against R4; with two LEDs back to back in both half-waves:

    winding ── RW ──┬── R1 ──┬──┬─┐          rail ── R4 ──┬──
                 supply     D9 LED│  (light)          transistor
    other end ───┴───────────┴──┴─┘                   ground

A front's function returns everything from the winding to the first capacitor's node,
``parts.output``. A new topology is one such function and one line in `FRONTS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analog.circuits.rail_source import rail_source
from analog.circuits.record import GROUND, Dc, Element, Model, Param, Sine, Symbol
from analog.circuits.rectifier_diodes import MODEL, rectifier_diodes
from analog.circuits.sense_parts import CouplerParts, FilterParts

CREST_DEG = 90.0
"""Phase at which a run starts: at the crest the filter and the bridge are nearly at rest."""

ISOLATING, ANTIPARALLEL = "dsense", "dreverse"

COUPLER_LIBRARY = "optocoupler"
COUPLER_PARAMETERS = (
    ("ctr", "ctr"),
    ("sym", "ctr_symmetry"),
    ("v_f", "led_v_f"),
    ("i_ceo", "dark_current"),
)
"""Arguments of models/optocoupler.lib that a row sets, and the row's parameters."""

TAP_KEY = "line_sense.subcircuit_ports"
"""Where a user's own sub-circuit takes the signal: what would be the series resistor's end."""

FLOATING_OHM = 1e9
"""What ties a floating winding to circuit ground: insulation."""


@dataclass(frozen=True, slots=True)
class Front:
    """A topology: its circuit up to the first capacitor, and what its signal looks like.

    `edges` are the pin's rising edges per mains cycle, `start_deg` the phase of the winding's
    voltage at which the pin is high and nearly at rest. `ends` tells whether diodes join both
    winding ends; `before` and `behind` are the grid columns that the front takes before R1 and
    between it and the first capacitor.
    """

    build: Callable[[FilterParts], list[Element]]
    edges: int = 1
    start_deg: float = CREST_DEG
    ends: bool = False
    before: float = 0.0
    behind: float = 0.0

    def series_x(self, parts: FilterParts) -> float:
        """Return the grid column in which R1 begins."""
        return (12.0 if parts.supply == "bridge" else 8.0) + self.before

    def stage_x(self, parts: FilterParts) -> float:
        """Return the column 4 before the first capacitor's."""
        return self.series_x(parts) + self.behind

    def zero_share(self, polarity: str) -> float:
        """Return where in the cycle after the start the mains rises through zero (0 to 1).

        `polarity` is that of the sensed end: ``negative`` when the transformer inverts it.
        """
        turned = 0.5 if polarity == "negative" else 0.0
        return ((360.0 - self.start_deg) / 360.0 + turned) % 1.0


def front(parts: FilterParts) -> Front:
    """Return the front of a network; KeyError for a topology that is not registered."""
    return FRONTS[parts.topology]


def front_models(parts: FilterParts) -> list[Model]:
    """Return the diode models that a front's elements use."""
    models = []
    if parts.supply != "none":
        models.append(Model(MODEL, "D", parts.rectifier))
    if parts.isolating:
        models.append(Model(ISOLATING, "D", parts.isolating))
    if parts.coupler is not None and parts.coupler.antiparallel:
        models.append(Model(ANTIPARALLEL, "D", parts.coupler.antiparallel))
    return models


def other_end(parts: FilterParts) -> str:
    """Return the node of the winding's other end, where both are sensed."""
    return "far" if parts.supply == "bridge" else "second"


def front_libraries(parts: FilterParts) -> tuple[str, ...]:
    """Return the files of `models/` that a front's elements use."""
    return () if parts.coupler is None else (COUPLER_LIBRARY,)


def _single_ended(parts: FilterParts) -> list[Element]:
    """The series resistor hangs on the winding's first end, or on the bridge's first leg."""
    x = FRONTS[parts.topology].series_x(parts)
    return [
        *_winding(parts, "sense"),
        *_supply(parts, "sense"),
        *_bleed(parts, x - 1),
        _series(x, parts.output),
    ]


def _both_ends(parts: FilterParts) -> list[Element]:
    """Two diodes join both ends; a winding of its own has a centre tap on circuit ground."""
    x = FRONTS[parts.topology].series_x(parts)
    other, low = ("far", 4) if parts.supply == "bridge" else ("second", -3)
    high = 6 if parts.supply == "bridge" else 5
    return [
        *_winding(parts, "leg"),
        *_supply(parts, "leg"),
        _isolating("D7", "leg", x - 5, high),
        _isolating("D8", other, x - 5, low),
        *_bleed(parts, x - 1),
        _series(x, parts.output),
    ]


def _coupled(parts: FilterParts) -> list[Element]:
    """The winding feeds an LED; it floats unless it also feeds the supply."""
    if parts.coupler is None:
        raise ValueError(f"the topology {parts.topology} needs an optocoupler")
    x = FRONTS[parts.topology].series_x(parts)
    back = "far" if parts.supply in ("bridge", "none") else GROUND
    elements = [
        *_winding(parts, "sense"),
        *_supply(parts, "sense"),
        _series(x, "fed"),
        _coupler(parts.coupler, back, parts.output, x),
        Element(
            "R4",
            "R",
            ("vdd", parts.output),
            Param("r_pull"),
            key="line_sense.pull_up_resistor",
            symbol=Symbol("resistor", ((x + 11, 8), (x + 11, 5))),
        ),
    ]
    if parts.coupler.antiparallel:
        elements.append(_antiparallel(back, x))
    if parts.supply == "none":
        elements.append(Element("RFLOAT", "R", (back, GROUND), FLOATING_OHM))
    return elements


def _coupler(coupler: CouplerParts, back: str, output: str, x: float) -> Element:
    moving = tuple((name, Param(parameter)) for name, parameter in COUPLER_PARAMETERS)
    shape = "optocoupler_ac" if ("ac", 1.0) in coupler.fixed else "optocoupler"
    return Element(
        "XOPTO",
        "X",
        ("fed", back, output, GROUND),
        model=COUPLER_LIBRARY,
        arguments=(*coupler.fixed, *moving),
        key="line_sense.optocoupler",
        symbol=Symbol(shape, ((x + 6, 5), (x + 6, 4), (x + 10, 5), (x + 10, 4))),
    )


def _antiparallel(back: str, x: float) -> Element:
    return Element(
        "D9",
        "D",
        (back, "fed"),
        model=ANTIPARALLEL,
        key="line_sense.antiparallel_diode",
        symbol=Symbol("diode", ((x + 4, 2), (x + 4, 5))),
    )


def _tap(parts: FilterParts) -> list[Element]:
    """A sub-circuit of the user's hangs on the winding, or on the bridge's first leg."""
    return [
        *_winding(parts, "sense"),
        *_supply(parts, "sense"),
        Element("VTAP", "V", ("sense", "tap"), Dc(0.0), key=TAP_KEY),
    ]


FRONTS: Mapping[str, Front] = {
    "half-wave": Front(_single_ended),
    "bridge-leg": Front(_single_ended),
    "full-wave": Front(_both_ends, edges=2, ends=True, before=3.0),
    "optocoupler": Front(_coupled, start_deg=270.0, behind=9.0),
    "optocoupler-ac": Front(_coupled, edges=2, start_deg=0.0, behind=9.0),
    "subcircuit": Front(_tap, before=2.0),
    "subcircuit-both": Front(_tap, edges=2, ends=True, before=2.0),
}


def _isolating(name: str, end: str, x: float, y: float) -> Element:
    return Element(
        name,
        "D",
        (end, "sense"),
        model=ISOLATING,
        key="line_sense.isolating_diode",
        symbol=Symbol("diode", ((x, y), (x + 3, y))),
    )


def _series(x: float, output: str) -> Element:
    return Element(
        "R1",
        "R",
        ("sense", output),
        Param("r_series"),
        key="line_sense.series_resistor",
        symbol=Symbol("resistor", ((x, 5), (x + 3, 5))),
    )


def _bleed(parts: FilterParts, x: float) -> list[Element]:
    if not parts.bleed:
        return []
    return [
        Element(
            "R2",
            "R",
            ("sense", GROUND),
            Param("r_bleed"),
            key="line_sense.bleed_resistor",
            symbol=Symbol("resistor", ((x, 5), (x, 2))),
        )
    ]


def _winding(parts: FilterParts, end: str) -> list[Element]:
    """A Thevenin source from its open voltage to node `end`, and the rail.

    The other half of a centre-tapped winding is drawn when it is sensed; else it only helps to
    feed the reservoir.
    """
    bridge, here = parts.supply == "bridge", FRONTS[parts.topology]
    floats = parts.supply == "none" and parts.coupler is not None
    low = "far" if bridge or floats else GROUND
    top, bottom = (6, 4) if bridge else (5, 2)
    own = parts.supply == "none"
    section = "line_sense.winding" if own else "supply.transformer"
    label = "sense winding" if own else "winding"
    sine = Sine(Param("v_peak"), Param("f_mains"), here.start_deg)
    elements = [
        Element(
            "VLINE",
            "V",
            ("open", low),
            sine,
            key=f"{section}_voltage",
            symbol=Symbol("sine", ((0, top), (0, bottom)), label),
        ),
        Element(
            "RW",
            "R",
            ("open", end),
            Param("r_source"),
            key=f"{section}_regulation",
            symbol=Symbol("resistor", ((1, top), (4, top)), label),
        ),
        rail_source(-2),
    ]
    if parts.supply == "full-wave" or (here.ends and not bridge):
        elements += _other_half(here.ends)
    return elements


def _other_half(drawn: bool) -> list[Element]:
    source = Symbol("sine", ((0, -3), (0, 0)), "other half") if drawn else None
    copper = Symbol("resistor", ((1, -3), (4, -3)), "other half") if drawn else None
    return [
        Element("ELINE", "E", ("other", GROUND), -1.0, control=("open", GROUND), symbol=source),
        Element("RW2", "R", ("other", "second"), Param("r_source"), symbol=copper),
    ]


def _supply(parts: FilterParts, end: str) -> list[Element]:
    if parts.supply == "none":
        return []
    x = 11 if parts.supply == "bridge" else 7
    shape = "electrolytic" if parts.polarised_reservoir else "capacitor"
    return [
        *rectifier_diodes(parts.supply, end, ((5, 6), (5, 9))),
        Element(
            "C2",
            "C",
            ("raw", GROUND),
            Param("c_reservoir"),
            initial=Param("raw_start"),
            key="supply.reservoir",
            symbol=Symbol(shape, ((x, 10), (x, 7))),
        ),
        # The regulator draws a constant current; tanh ends it while the reservoir is empty.
        Element(
            "BLOAD",
            "B",
            ("raw", GROUND),
            "i = {i_load}*tanh(2*v(raw))",
            key="supply.load_current",
            symbol=Symbol("current", ((x + 2, 10), (x + 2, 7)), "supply load"),
        ),
    ]
