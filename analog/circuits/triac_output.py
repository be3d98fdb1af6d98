"""The mains side of a triac output: load, triac, opto-triac and the gate path between them.

MT1 being the reference node (the logic is isolated from it; both sides share node 0
in the simulation, where no current can flow between them)::

    live ── load ── ammeter ──┬──────────── MT2
                              ├─ snubber R ─ C ── MT1
                              └─ gate resistor ─ ammeter ─ opto ─┬─ gate
                                                                 └─ shunt ── MT1

The opto may have a snubber of its own: a further resistor before it, and a capacitor from between
the two resistors to MT1 (Fairchild AN-3003, figure 3).

Load: a resistance, or R and L in series with a loss resistance and a winding capacitance across
both. All values are parameters of a row; their names stand beside the elements.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analog.circuits.record import (
    GROUND,
    Dc,
    Element,
    Kind,
    Param,
    Pulse,
    Sine,
    Stimulus,
    Symbol,
)

TRIAC_PARAMETERS = (
    ("IGT1", "i_gt_1"),
    ("IGT2", "i_gt_2"),
    ("IGT3", "i_gt_3"),
    ("IGT4", "i_gt_4"),
    ("VGT", "v_gt"),
    ("IL", "i_l"),
    ("IH", "i_h"),
    ("VT0", "v_t0"),
    ("RD", "r_on"),
    ("DVDT", "dvdt"),
    ("DIDTC", "didt_c"),
    ("HELD", "held"),
)
OPTO_PARAMETERS = (
    ("IFT", "i_ft"),
    ("VF", "v_f"),
    ("IFV", "i_f_test"),
    ("VTM", "v_tm"),
    ("ITM", "i_tm_test"),
    ("RD", "r_opto"),
    ("IL", "i_l_opto"),
    ("IH", "i_h_opto"),
    ("VINH", "v_inh"),
)


@dataclass(frozen=True, slots=True)
class OutputParts:
    """Which parts the mains side has, and their names for the schematic."""

    inductive: bool
    shunt: bool
    snubber: bool
    triac: str
    opto: str
    opto_snubber: bool = False
    keys: tuple[tuple[str, str], ...] = ()
    """(reference, dotted design key) of the parts that the design file gives."""


def mains_side(parts: OutputParts, led: Stimulus) -> tuple[Element, ...]:
    """Return mains, load, gate path and triac, the LED fed by the current source `led`."""
    mains = Sine(Param("mains_peak"), Param("mains_hz"))
    elements = [
        placed("VMAINS", "V", ("live", GROUND), mains, "sine", ((0, 8), (0, 0)), "mains"),
        *load_elements(parts.inductive),
        Element("VLOAD", "V", ("lb", "mt2"), Dc(0.0)),
        *_gate_path(parts),
        Element("VGATE", "V", ("og", "ot"), Dc(0.0)),
        *_opto(parts, led),
        _triac(parts),
        *_shunt(parts),
        *(snubber_elements() if parts.snubber else ()),
    ]
    keys = dict(parts.keys)
    return tuple(keyed(element, keys) for element in elements)


def led_current(pulsed: bool) -> Stimulus:
    """Return the LED's current: on from the start, or a pulse from each zero of the mains."""
    if not pulsed:
        return Dc(Param("i_led"))
    edge = Param("pulse_edge")
    return Pulse(0.0, Param("i_led"), 0.0, edge, edge, Param("pulse_width"), Param("half_period"))


def placed(
    reference: str,
    kind: Kind,
    nodes: tuple[str, ...],
    value: Param | Stimulus,
    shape: str,
    terminals: tuple[tuple[float, float], ...],
    label: str = "",
) -> Element:
    """Return an element and where the schematic draws it."""
    symbol = Symbol(shape, terminals, label)
    return Element(reference, kind, nodes, value, symbol=symbol)


def keyed(element: Element, keys: dict[str, str]) -> Element:
    """Return the element with the design key that its reference has in `keys`, if any."""
    key = keys.get(element.reference, element.key)
    return element if key == element.key else replace(element, key=key)


def load_elements(inductive: bool) -> list[Element]:
    """Return the load from ``live`` to ``lb``."""
    if not inductive:
        ends = ((2, 8), (6, 8))
        return [placed("RLOAD", "R", ("live", "lb"), Param("r_load"), "load", ends, "load")]
    return [
        placed("RLOAD", "R", ("live", "la"), Param("r_load"), "load", ((2, 8), (4, 8)), "load"),
        placed("LLOAD", "L", ("la", "lb"), Param("l_load"), "inductor", ((5, 8), (7, 8))),
        placed("RLOSS", "R", ("live", "lb"), Param("r_loss"), "resistor", ((2, 11), (7, 11))),
        placed("CWIND", "C", ("live", "lb"), Param("c_wind"), "capacitor", ((2, 13), (7, 13))),
    ]


def _gate_path(parts: OutputParts) -> list[Element]:
    """Return the gate resistor from ``mt2`` to ``og``, with the opto's own snubber in between."""
    if not parts.opto_snubber:
        ends = ((9, 6), (6, 6))
        return [placed("RGATE", "R", ("mt2", "og"), Param("r_gate"), "resistor", ends)]
    first, second, lower = ((10, 6), (8, 6)), ((7, 6), (5, 6)), ((8, 5), (8, 2))
    return [
        placed("RGATE", "R", ("mt2", "om"), Param("r_gate"), "resistor", first),
        placed("ROPTO", "R", ("om", "og"), Param("r_opto_snubber"), "resistor", second),
        placed("COPTO", "C", ("om", GROUND), Param("c_opto"), "capacitor", lower),
    ]


def _opto(parts: OutputParts, led: Stimulus) -> list[Element]:
    arguments = tuple((name, Param(value)) for name, value in OPTO_PARAMETERS)
    return [
        placed("ILED", "I", (GROUND, "an"), led, "current", ((-1, 2), (-1, 4)), "LED driver"),
        Element(
            "XOPTO",
            "X",
            ("an", GROUND, "ot", "gate"),
            model="opto_triac",
            arguments=arguments,
            symbol=Symbol("opto_triac", ((1, 4), (1, 3), (5, 4), (5, 3)), parts.opto),
        ),
    ]


def _triac(parts: OutputParts) -> Element:
    return Element(
        "XTRIAC",
        "X",
        ("mt2", GROUND, "gate"),
        model="triac",
        arguments=tuple((name, Param(value)) for name, value in TRIAC_PARAMETERS),
        symbol=Symbol("triac", ((11, 4), (11, 2), (10, 2.5)), parts.triac),
    )


def _shunt(parts: OutputParts) -> list[Element]:
    if not parts.shunt:
        return []
    ends = ((8, 2), (8, 0))
    return [placed("RGK", "R", ("gate", GROUND), Param("r_gk"), "resistor", ends)]


def snubber_elements() -> list[Element]:
    """Return resistor and capacitor in series across the triac, meeting at ``sn``."""
    upper, lower = ((14, 8), (14, 5)), ((14, 4), (14, 1))
    return [
        placed("RSNUB", "R", ("mt2", "sn"), Param("r_snubber"), "resistor", upper),
        placed("CSNUB", "C", ("sn", GROUND), Param("c_snubber"), "capacitor", lower),
    ]
