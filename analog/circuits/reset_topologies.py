"""What stands between the rail and the reset pin: one function and one line per topology.

    rc-low     R to the rail, C to ground: the pin is low until C has charged
    rc-high    C to the rail, R to ground: the same upside down, the pin is high first
    gated      rc-low, and a transistor that empties C while the rail is below a Zener's voltage
    detector   an open-drain voltage detector with its delay capacitor, and a pull-up R

Every function gets the parts and returns elements and models. Values are parameters of one row:
``r_reset`` (Ω), ``c_reset`` (F), ``leak_c`` (A), ``r_series`` (Ω, in series with C), ``r_zener``,
``r_base``, ``r_collector`` (Ω), ``v_zener`` (V), ``beta``, and the detector's own as
`DETECTOR_ARGUMENTS` names them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from analog.circuits.record import GROUND, Dc, Element, Model, Param, Symbol
from analog.circuits.reset_parts import ResetParts

Built = tuple[list[Element], list[Model]]
Point = tuple[float, float]

DETECTOR_ARGUMENTS = ("v_det", "v_hys", "r_delay", "share", "k_out", "k_cd")

_CHARGES = frozenset({"CJO", "TT", "CJE", "CJC", "TF", "TR", "CJS"})


def rc(parts: ResetParts) -> Built:
    """Return R, C with its leakage and series resistor, and the discharge diode."""
    near, far = ("vdd", GROUND) if parts.high else (GROUND, "vdd")
    elements = [_resistor(parts, far), *_capacitor(parts, parts.charged, near)]
    if parts.capacitor_resistor:
        ends: tuple[Point, Point] = ((2, 4), (4, 3)) if parts.high else ((2, 2), (4, 3))
        symbol = Symbol("resistor", ends)
        nodes = (parts.charged, parts.junction)
        value, key = Param("r_series"), "reset.capacitor_resistor"
        elements.append(Element("R4", "R", nodes, value, key=key, symbol=symbol))
    if parts.discharge_diode is None:
        return elements, []
    elements += _discharge_diode(parts)
    return elements, [device(Model("ddis", "D", parts.discharge_diode), parts)]


def gated(parts: ResetParts) -> Built:
    """Return rc-low and the transistors: Q1 conducts over the Zener's voltage and holds Q2 off."""
    elements, models = rc(parts)
    beta = (("BF", Param("beta")), ("ISE", 0.0))
    kept = tuple(pair for pair in parts.transistor if pair[0] not in ("BF", "ISE"))
    models += [
        device(Model("qgate", "NPN", (*kept, *beta)), parts),
        device(Model("dgate", "D", _zener(parts)), parts),
    ]

    def part(
        ref: str, nodes: tuple[str, str], row: str, key: str, ends: tuple[Point, Point]
    ) -> Element:
        return Element(ref, "R", nodes, Param(row), key=key, symbol=Symbol("resistor", ends))

    def transistor(ref: str, nodes: tuple[str, str, str], x: float) -> Element:
        ports = ((x, 2.0), (x - 1, 1.0), (x, 0.0))
        symbol = Symbol("npn", ports, parts.active)
        return Element(ref, "Q", nodes, model="qgate", key="reset.transistor", symbol=symbol)

    zener = Symbol("zener", ((-6, 4), (-6, 6)))
    return [
        *elements,
        Element("DZ", "D", ("nz", "vdd"), model="dgate", key="reset.zener", symbol=zener),
        part("RZ", ("nz", "b1"), "r_zener", "reset.zener_resistor", ((-6, 4), (-6, 1))),
        part("RB", ("b1", GROUND), "r_base", "reset.base_resistor", ((-6, 1), (-6, -1))),
        part("RC", ("vdd", "b2"), "r_collector", "reset.collector_resistor", ((-3, 6), (-3, 3))),
        transistor("Q1", ("b2", "b1", GROUND), -3.0),
        transistor("Q2", (parts.junction, "b2", GROUND), 1.0),
    ], models


def detector(parts: ResetParts) -> Built:
    """Return the detector, its delay capacitor and the pull-up at its output."""
    box = Symbol("box", ((-2, 3), (-3, 4), (-3, 2), (-4, 3)), parts.active)
    arguments = tuple((name, Param(name)) for name in DETECTOR_ARGUMENTS)
    unit = Element(
        "XDET",
        "X",
        (parts.junction, "vdd", GROUND, parts.charged),
        model="detector",
        arguments=arguments,
        key="reset.detector",
        symbol=box,
    )
    leak = Element(
        "BOFF", "B", (parts.junction, GROUND), f"i = {{leak_out}}*tanh(v({parts.junction})/0.1)"
    )
    return [_resistor(parts, "vdd"), *_capacitor(parts, parts.charged, GROUND), unit, leak], []


TOPOLOGIES: dict[str, Callable[[ResetParts], Built]] = {
    "rc-low": rc,
    "rc-high": rc,
    "gated": gated,
    "detector": detector,
}


def device(model: Model, parts: ResetParts) -> Model:
    """Return a model without its stored charge where the strays are left out."""
    kept = tuple(pair for pair in model.arguments if parts.strays or pair[0] not in _CHARGES)
    return replace(model, arguments=kept)


def _resistor(parts: ResetParts, far: str) -> Element:
    ends: tuple[Point, Point] = ((4, 0), (4, 3)) if parts.high else ((4, 6), (4, 3))
    symbol = Symbol("resistor", ends)
    nodes, value = (far, parts.junction), Param("r_reset")
    return Element("R1", "R", nodes, value, key="reset.resistor", symbol=symbol)


def _capacitor(parts: ResetParts, charged: str, near: str) -> list[Element]:
    detecting = parts.topology == "detector"
    x: float = -5 if detecting else 2 if parts.capacitor_resistor else 4
    middle = 3.0 if x in (4, -5) else (4.0 if parts.high else 2.0)
    shape = "electrolytic" if parts.polarised else "capacitor"
    # A polarised capacitor's plus lies towards the rail.
    hot, cold = (near, charged) if parts.high else (charged, near)
    ends: tuple[Point, Point] = ((x, 6), (x, middle)) if parts.high else ((x, middle), (x, 0))
    across = f"v({hot},{cold})" if parts.high else f"v({hot})"
    return [
        Element(
            "C1",
            "C",
            (hot, cold),
            Param("c_reset"),
            key="reset.capacitor",
            symbol=Symbol(shape, ends),
        ),
        # tanh: the leakage is what the card allows, but it cannot charge the capacitor backwards.
        Element("BLEAK", "B", (hot, cold), f"i = {{leak_c}}*tanh({across}/0.1)"),
    ]


def _discharge_diode(parts: ResetParts) -> list[Element]:
    ends: tuple[Point, Point] = ((6, 0), (6, 3)) if parts.high else ((6, 3), (6, 6))
    start, end = (GROUND, parts.junction) if parts.high else (parts.junction, "vdd")
    return [
        Element("VDIS", "V", (start, "dis"), Dc(0.0)),
        Element(
            "D1",
            "D",
            ("dis", end),
            model="ddis",
            key="reset.discharge_diode",
            symbol=Symbol("diode", ends),
        ),
    ]


def _zener(parts: ResetParts) -> tuple[tuple[str, float | Param], ...]:
    kept = tuple(pair for pair in parts.zener if pair[0] != "BV")
    return (*kept, ("BV", Param("v_zener")))
