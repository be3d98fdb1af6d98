"""The line-sense filter: winding, the supply it shares, series resistor, capacitor, clamps.

half-wave, one winding end on circuit ground:

    winding ── RW ──┬────┬── R1 ──┬─────┬──── receiver pin
                    │    │        │     ├─ D (to the rail)
                 supply  R2       C1    └─ D (from ground)

bridge-leg, the sensed point is one AC leg of the supply's bridge (R2 is the bleed without which
the leg floats between the bridge's conduction peaks).

The winding is a Thevenin source: open-circuit voltage and one resistance. Every value is a
parameter of the row, in SI units: ``v_peak`` (V, open circuit), ``f_mains``, ``r_source``,
``r_series``, ``c_filter``, ``r_bleed``, ``v_rail``, and with a supply ``c_reservoir``,
``i_load``; the capacitors start at ``pin_start`` and ``raw_start`` (V). Nodes: ``sense`` the
winding's end or the leg, ``pin`` the receiver's terminal, ``vdd`` the rail, ``raw`` the
reservoir. The sine starts at its positive crest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analog.circuits.record import GROUND, Dc, Element, Model, Param, Sine, Symbol
from analog.circuits.rectifier_diodes import MODEL, rectifier_diodes

SpiceArguments = tuple[tuple[str, float], ...]

CREST_DEG = 90.0
"""Phase at which every run starts: at the crest the filter and the bridge are nearly at rest."""

PROTECTION = Model("dprotect", "D", (("IS", 1e-14), ("N", 1.05), ("RS", 20.0)))
"""Protection diode on the chip, the same as in models/schmitt.lib: 0.69 V at 1 mA (from
memory)."""

INPUT_OHM = {"4000B": 1000.0, "74HC": 100.0}
"""Resistance between an input's terminal and its protection diodes and gate, by family (from
memory; not tabulated by makers)."""


@dataclass(frozen=True, slots=True)
class FilterParts:
    """Which parts the network has.

    `supply` says how the sensed winding feeds the logic: a ``bridge``, a single diode
    (``half-wave``), two diodes and a centre tap (``full-wave``), or ``none``. Diodes are given
    by their SPICE parameters.
    """

    supply: Literal["none", "half-wave", "full-wave", "bridge"]
    bleed: bool
    rectifier: SpiceArguments = ()
    clamp: SpiceArguments | None = None
    polarised_reservoir: bool = True

    @property
    def right_x(self) -> float:
        """Return the grid column in which the part behind the series resistor begins."""
        return 12.0 if self.supply == "bridge" else 8.0


def line_filter(parts: FilterParts) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return elements and models from the winding to the receiver's terminal, rail included."""
    elements = [*_winding(parts), *_filter(parts)]
    models = []
    if parts.supply != "none":
        elements += [
            *rectifier_diodes(parts.supply, "sense", ((5, 6), (5, 9))),
            *_supply_load(parts),
        ]
        models.append(Model(MODEL, "D", parts.rectifier))
    if parts.clamp is not None:
        elements += _clamps(parts)
        models.append(Model("dclamp", "D", parts.clamp))
    return tuple(elements), tuple(models)


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


def _winding(parts: FilterParts) -> list[Element]:
    low_end = "far" if parts.supply == "bridge" else GROUND
    sine = Sine(Param("v_peak"), Param("f_mains"), CREST_DEG)
    key = "supply.transformer_voltage"
    bottom = 4 if parts.supply == "bridge" else 2
    top = 6 if parts.supply == "bridge" else 5
    elements = [
        Element(
            "VLINE",
            "V",
            ("open", low_end),
            sine,
            key=key,
            symbol=Symbol("sine", ((0, top), (0, bottom)), "winding"),
        ),
        Element(
            "RW",
            "R",
            ("open", "sense"),
            Param("r_source"),
            key="supply.transformer_regulation",
            symbol=Symbol("resistor", ((1, top), (4, top)), "winding"),
        ),
        Element(
            "VRAIL",
            "V",
            ("vdd", GROUND),
            Dc(Param("v_rail")),
            key="supply.rail",
            symbol=Symbol("source", ((-2, 5), (-2, 2)), "rail"),
        ),
    ]
    if parts.supply == "full-wave":
        # The other half of the centre-tapped winding; it only helps to feed the reservoir.
        elements += [
            Element("ELINE", "E", ("other", GROUND), -1.0, control=("open", GROUND)),
            Element("RW2", "R", ("other", "second"), Param("r_source")),
        ]
    return elements


def _filter(parts: FilterParts) -> list[Element]:
    x = parts.right_x
    elements = [
        Element(
            "R1",
            "R",
            ("sense", "pin"),
            Param("r_series"),
            key="line_sense.series_resistor",
            symbol=Symbol("resistor", ((x, 5), (x + 3, 5))),
        ),
        Element(
            "C1",
            "C",
            ("pin", GROUND),
            Param("c_filter"),
            initial=Param("pin_start"),
            key="line_sense.capacitor",
            symbol=Symbol("capacitor", ((x + 4, 5), (x + 4, 2))),
        ),
    ]
    if parts.bleed:
        elements.append(
            Element(
                "R2",
                "R",
                ("sense", GROUND),
                Param("r_bleed"),
                key="line_sense.bleed_resistor",
                symbol=Symbol("resistor", ((x - 1, 5), (x - 1, 2))),
            )
        )
    return elements


def _clamps(parts: FilterParts) -> list[Element]:
    x = parts.right_x + 6
    key = "line_sense.clamp_diode"
    return [
        Element(
            "D5",
            "D",
            ("pin", "vdd"),
            model="dclamp",
            key=key,
            symbol=Symbol("diode", ((x, 5), (x, 8))),
        ),
        Element(
            "D6",
            "D",
            (GROUND, "pin"),
            model="dclamp",
            key=key,
            symbol=Symbol("diode", ((x, 2), (x, 5))),
        ),
    ]


def _supply_load(parts: FilterParts) -> list[Element]:
    x = 11 if parts.supply == "bridge" else 7
    shape = "electrolytic" if parts.polarised_reservoir else "capacitor"
    return [
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
