"""The logic side of a triac output: the logic's own output, the LED driver, the opto's LED."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from analog.circuits.record import GROUND, Dc, Element, Model, Param, Symbol
from analog.circuits.triac_output import OPTO_PARAMETERS, keyed, placed

LOGIC_THRESHOLD_V = 1.0
"""Threshold (V) of the output transistors of CMOS logic: from memory; it hardly matters, since
their strength is set by the card's output current."""


LED_PATHS: Final = {
    "npn": ("vdd", "low"),
    "nmos": ("vdd", "low"),
    "pnp": ("high", GROUND),
    "logic": ("out", GROUND),
}
"""Node above the LED's resistor and node below the LED, by driver."""

_TYPES: Final[dict[str, Literal["NPN", "PNP", "NMOS"]]] = {
    "npn": "NPN",
    "pnp": "PNP",
    "nmos": "NMOS",
}


@dataclass(frozen=True, slots=True)
class DriverParts:
    """Which LED driver there is. `spice` holds the transistor's card parameters."""

    driver: Literal["npn", "pnp", "nmos", "logic"]
    base_resistor: bool
    opto: str
    transistor: str = ""
    spice: tuple[tuple[str, float], ...] = ()
    keys: tuple[tuple[str, str], ...] = ()


def led_side(parts: DriverParts) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return the LED's circuit and its models: rail, logic output, driver, LED resistor, LED.

    The logic output is a level-1 pair that delivers what the card states, its input ``vin`` low
    for LED on (high with a PNP switch, whose base the output pulls down). Its LED path is
    ``rail - RLED - LED - driver``, ``output - RLED - LED`` when the logic drives it directly, or
    ``rail - PNP - RLED - LED``. A resistor across the opto's unused output keeps it in place.
    """
    arguments = tuple((name, Param(value)) for name, value in OPTO_PARAMETERS)
    top, bottom = LED_PATHS[parts.driver]
    elements = [
        placed("VRAIL", "V", ("vdd", GROUND), Dc(Param("rail")), "source", ((0, 8), (0, 0))),
        *_logic_output(),
        placed("RLED", "R", (top, "led"), Param("r_led"), "resistor", ((9, 8), (9, 5))),
        Element("VLED", "V", ("led", "an"), Dc(0.0)),
        Element(
            "XOPTO",
            "X",
            ("an", bottom, "unused", GROUND),
            model="opto_triac",
            arguments=arguments,
            symbol=Symbol("opto_triac", ((10, 4), (10, 3), (14, 4), (14, 3)), parts.opto),
        ),
        Element("RUNUSED", "R", ("unused", GROUND), 1e6),
        *_switch(parts),
    ]
    keys = dict(parts.keys)
    return tuple(keyed(element, keys) for element in elements), _led_models(parts)


def _logic_output() -> list[Element]:
    return [
        Element("VIN", "V", ("vin", GROUND), Dc(Param("v_in"))),
        Element(
            "MHIGH",
            "M",
            ("out", "vin", "vdd", "vdd"),
            model="outhigh",
            symbol=Symbol("pmos", ((4, 6), (3, 6), (4, 8), (4, 8)), "output high"),
        ),
        Element(
            "MLOW",
            "M",
            ("out", "vin", GROUND, GROUND),
            model="outlow",
            symbol=Symbol("nmos", ((4, 4), (3, 3), (4, 2), (4, 2)), "output low"),
        ),
    ]


def _switch(parts: DriverParts) -> list[Element]:
    if parts.driver == "logic":
        return []
    control = "base" if parts.base_resistor else "out"
    found = []
    if parts.base_resistor:
        ends = ((5, 2), (7, 2))
        found.append(placed("RBASE", "R", ("out", "base"), Param("r_base"), "resistor", ends))
    if parts.driver == "pnp":
        ports = ((9.0, 8.0), (8.0, 9.0), (9.0, 10.0))
        symbol = Symbol("pnp", ports, parts.transistor)
        return [
            *found,
            Element("QDRIVE", "Q", ("high", control, "vdd"), model="drive", symbol=symbol),
        ]
    nodes, ports = ("low", control, GROUND), ((9.0, 3.0), (8.0, 2.0), (9.0, 1.0))
    if parts.driver == "npn":
        symbol = Symbol("npn", ports, parts.transistor)
        return [*found, Element("QDRIVE", "Q", nodes, model="drive", symbol=symbol)]
    # The fourth node is the bulk, tied to the source.
    symbol = Symbol("nmos", (*ports, ports[2]), parts.transistor)
    return [*found, Element("MDRIVE", "M", (*nodes, GROUND), model="drive", symbol=symbol)]


def _led_models(parts: DriverParts) -> tuple[Model, ...]:
    logic = (
        Model("outhigh", "PMOS", (("VTO", -LOGIC_THRESHOLD_V), ("KP", Param("kp_high")))),
        Model("outlow", "NMOS", (("VTO", LOGIC_THRESHOLD_V), ("KP", Param("kp_low")))),
    )
    if parts.driver == "logic":
        return logic
    npn = (("BF", Param("beta")), ("ISE", Param("base_leak")))
    free = npn if parts.driver in ("npn", "pnp") else (("VTO", Param("v_gs_th")),)
    names = {name for name, _ in free}
    kept = tuple(pair for pair in parts.spice if pair[0].upper() not in names)
    return (*logic, Model("drive", _TYPES[parts.driver], (*kept, *free)))


def strength(current_a: float, drop_v: float, rail_v: float) -> float:
    """Return the level-1 transconductance (A/V²) that drops `drop_v` at `current_a`.

    From I = KP·((VDD − VTO)·V − V²/2), the triode law at a gate driven to the rail.
    """
    return current_a / ((rail_v - LOGIC_THRESHOLD_V) * drop_v - drop_v**2 / 2)
