"""The line-sense filter: a front off the winding, capacitor, second stage, clamps, receiver's pin.

    front ── R1 ──┬── (R3 ──┬──) ──┬─────┬──── receiver pin
                  C1       (C3)    │     ├─ D5 (to the rail)
                                   Z     └─ D6 (from ground)

What stands before R1 is the topology (`analog.circuits.sense_fronts`). A second stage R3, C3
makes the first capacitor's node ``joint``. What clamps the pin outside of it is one function of
`CLAMPS`: nothing, two diodes to the rails, or a Zener diode to ground.

The winding is a Thevenin source: open-circuit voltage and one resistance. Every value is a
parameter of the row, in SI units: ``v_peak`` (V, open circuit), ``f_mains``, ``r_source``,
``r_series``, ``c_filter``, ``r_bleed``, ``r_second``, ``c_second``, ``v_rail``, and with a supply
``c_reservoir``, ``i_load``; the capacitors start at ``pin_start``, ``joint_start`` and
``raw_start`` (V). Nodes: ``sense`` the point that R1 hangs on, ``pin`` the receiver's terminal,
``vdd`` the rail, ``raw`` the reservoir.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from analog.circuits.own_stage import own_picture, own_stage
from analog.circuits.record import GROUND, Dc, Element, Model, Param, Symbol
from analog.circuits.sense_fronts import front, front_models, other_end
from analog.circuits.sense_parts import FilterParts

PROTECTION = Model("dprotect", "D", (("IS", 1e-14), ("N", 1.05), ("RS", 20.0)))
"""Protection diode on the chip, the same as in models/schmitt.lib: 0.69 V at 1 mA (from
memory)."""

INPUT_OHM = {"4000B": 1000.0, "74HC": 100.0}
"""Resistance between an input's terminal and its protection diodes and gate, by family (from
memory; not tabulated by makers)."""

CLAMP_MODEL = "dclamp"

BREAKDOWN = Model("dbreak", "D", (("IS", Param("i_zener")), ("N", Param("n_zener"))))
"""The breakdown of a Zener diode as a branch of its own, held at 25 °C."""


def line_filter(parts: FilterParts) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return elements and models from the winding to the receiver's terminal, rail included."""
    stage, models = _stage(parts)
    elements = [
        *front(parts).build(parts),
        *stage,
        *CLAMPS[parts.clamp](_clamp_x(parts)),
    ]
    models += front_models(parts)
    if parts.clamp_device:
        models.append(Model(CLAMP_MODEL, "D", parts.clamp_device))
    if parts.clamp == "zener":
        models.append(BREAKDOWN)
    return tuple(elements), tuple(models)


def filter_picture(parts: FilterParts) -> tuple[Element, ...]:
    """Return what the schematic shows of the filter besides its elements: a user's own as a box."""
    if parts.own is None:
        return ()
    return (own_picture(parts.own, other_end(parts), front(parts).stage_x(parts)),)


def receiver_x(parts: FilterParts) -> float:
    """Return the grid column in which the receiver's pin begins."""
    return _clamp_x(parts) + (2.0 if parts.clamp_device else 0.0)


def receiver_pin(family: str, label: str, x: float) -> tuple[Element, ...]:
    """Return the input of a receiver whose thresholds are data: resistor, capacitance, diodes.

    Parameters: ``c_in`` (F), ``i_leak`` (A, into the gate when positive). ``i(vpin)`` is the
    current into the terminal. The protection is always there, clamp diodes outside or not.
    Uses the model `PROTECTION`.
    """
    leak = Element("ILEAK", "I", (GROUND, "gate"), Dc(Param("i_leak")))
    return (*schmitt_pin(family, label, x), leak)


def schmitt_pin(family: str, label: str, x: float) -> tuple[Element, ...]:
    """Return the same without leakage: the input side of models/schmitt.lib, node for node."""
    return (
        Element("VPIN", "V", ("pin", "inside"), Dc(0.0)),
        Element(
            "RPIN",
            "R",
            ("inside", "gate"),
            INPUT_OHM[family],
            symbol=Symbol("resistor", ((x, 5), (x + 3, 5)), "in the pin"),
        ),
        Element(
            "DHIGH",
            "D",
            ("gate", "vdd"),
            model=PROTECTION.name,
            symbol=Symbol("diode", ((x + 4, 5), (x + 4, 8)), "in the pin"),
        ),
        Element(
            "DLOW",
            "D",
            (GROUND, "gate"),
            model=PROTECTION.name,
            symbol=Symbol("diode", ((x + 4, 2), (x + 4, 5)), "in the pin"),
        ),
        Element(
            "CPIN",
            "C",
            ("gate", GROUND),
            Param("c_in"),
            initial=Param("pin_start"),
            symbol=Symbol("capacitor", ((x + 6, 5), (x + 6, 2)), label),
        ),
    )


def _clamp_x(parts: FilterParts) -> float:
    return front(parts).stage_x(parts) + (10.0 if parts.second_stage else 6.0)


def _stage(parts: FilterParts) -> tuple[list[Element], list[Model]]:
    if parts.own is None:
        return _capacitors(parts), []
    elements, models = own_stage(parts.own, other_end(parts))
    return list(elements), list(models)


def _capacitors(parts: FilterParts) -> list[Element]:
    x = front(parts).stage_x(parts) + 4
    start = "joint_start" if parts.second_stage else "pin_start"
    elements = [_capacitor("C1", parts.output, "c_filter", start, "line_sense.capacitor", x)]
    if parts.second_stage:
        elements += [
            Element(
                "R3",
                "R",
                ("joint", "pin"),
                Param("r_second"),
                key="line_sense.second_resistor",
                symbol=Symbol("resistor", ((x + 0.5, 5), (x + 3.5, 5))),
            ),
            _capacitor("C3", "pin", "c_second", "pin_start", "line_sense.second_capacitor", x + 4),
        ]
    return elements


def _capacitor(name: str, node: str, value: str, start: str, key: str, x: float) -> Element:
    return Element(
        name,
        "C",
        (node, GROUND),
        Param(value),
        initial=Param(start),
        key=key,
        symbol=Symbol("capacitor", ((x, 5), (x, 2))),
    )


def _nothing(x: float) -> list[Element]:
    del x  # the pin's own protection clamps alone
    return []


def _diodes(x: float) -> list[Element]:
    return [
        _clamp("D5", ("pin", "vdd"), "line_sense.clamp_diode", "diode", ((x, 5), (x, 8))),
        _clamp("D6", (GROUND, "pin"), "line_sense.clamp_diode", "diode", ((x, 2), (x, 5))),
    ]


def _zener(x: float) -> list[Element]:
    """A Zener diode: DZ1 is its junction, the hidden branch beside it its breakdown.

    The breakdown's current grows e-fold with every ``n_zener`` thermal voltages, far softer than
    a junction's; ``i_zener`` and ``v_zener`` place the curve (see `analog.benches.line_devices`).
    """
    at_25_c = (("temp", 25.0),)
    return [
        _clamp("DZ1", (GROUND, "pin"), "line_sense.clamp_zener", "zener", ((x, 2), (x, 5))),
        Element("DBREAK", "D", ("pin", "knee"), model=BREAKDOWN.name, arguments=at_25_c),
        Element("VBREAK", "V", ("knee", GROUND), Dc(Param("v_zener"))),
    ]


CLAMPS: Mapping[str, Callable[[float], list[Element]]] = {
    "input": _nothing,
    "diodes": _diodes,
    "zener": _zener,
}


def _clamp(
    name: str,
    nodes: tuple[str, str],
    key: str,
    shape: str,
    place: tuple[tuple[float, float], tuple[float, float]],
) -> Element:
    return Element(name, "D", nodes, model=CLAMP_MODEL, key=key, symbol=Symbol(shape, place))
