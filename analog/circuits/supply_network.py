"""The supply: winding, rectifier, reservoir with its series resistance, regulator, load.

    winding ── RW ── rectifier ──┬── raw ── regulator ──┬── vdd
                                RESR                    load
                                 C2
                               ground

The winding is a Thevenin source: open-circuit voltage and one resistance. Every value is a
parameter of the row, in SI units: ``v_peak`` (V, open circuit), ``f_mains``, ``phase_deg``,
``r_source``, ``c_reservoir``, ``r_esr``, ``i_load`` (A, constant while there is a rail) and,
with a regulator, the arguments of models/regulator.lib. Nodes: ``raw`` the reservoir's
terminal, ``vdd`` the rail. A mains that comes and goes is the sine times the level of a node.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analog.circuits.record import (
    GROUND,
    Circuit,
    Dc,
    Element,
    Model,
    Param,
    Pwl,
    Sine,
    Symbol,
)
from analog.circuits.rectifier_diodes import MODEL, rectifier_diodes

SpiceArguments = tuple[tuple[str, float], ...]

REGULATOR_ARGUMENTS = ("v_o", "i_o", "v_drop", "i_drop", "v_d0", "i_lim", "i_q", "r_out", "line")
"""What models/regulator.lib takes; all of them are parameters of the row."""

DECOUPLING_F = 1e-6
"""What stands on any rail of a logic board: some 100 nF beside the parts, and what the makers of
regulators ask for at the output (common practice)."""


@dataclass(frozen=True, slots=True)
class SupplyParts:
    """Which parts the supply has; the rectifier's diodes by their SPICE parameters."""

    rectifier: Literal["half-wave", "full-wave", "bridge"]
    diode: SpiceArguments
    regulated: bool
    polarised: bool = True
    regulator: str = ""

    @property
    def in_series(self) -> int:
        """Return how many diodes each charging pulse passes."""
        return 2 if self.rectifier == "bridge" else 1

    @property
    def pulses(self) -> int:
        """Return the charging pulses per mains cycle."""
        return 1 if self.rectifier == "half-wave" else 2

    @property
    def rail(self) -> str:
        """Return the node of the rail: the reservoir itself without a regulator."""
        return "vdd" if self.regulated else "raw"


def supply_network(title: str, parts: SupplyParts, presence: Pwl | None = None) -> Circuit:
    """Return the supply; with `presence` (1 for the full mains) the mains comes and goes.

    ``i(vwind)`` is the winding's current and ``i(vcap)`` what charges the reservoir.
    """
    elements = [
        *_winding(parts, presence),
        *rectifier_diodes(parts.rectifier, "near", ((5, 7), (5, 10))),
        *_reservoir(parts),
        *_regulator(parts),
        _load(parts),
    ]
    libraries = ("regulator",) if parts.regulated else ()
    return Circuit(title, tuple(elements), (Model(MODEL, "D", parts.diode),), libraries)


def _winding(parts: SupplyParts, presence: Pwl | None) -> list[Element]:
    low_end = "far" if parts.rectifier == "bridge" else GROUND
    sine = Sine(Param("v_peak"), Param("f_mains"), Param("phase_deg"))
    key, symbol = "supply.transformer_voltage", Symbol("sine", ((0, 6), (0, 4)), "winding")
    elements = [
        Element("VWIND", "V", ("open", "turned"), Dc(0.0)),
        Element(
            "RW",
            "R",
            ("turned", "near"),
            Param("r_source"),
            key="supply.transformer_regulation",
            symbol=Symbol("resistor", ((1, 6), (4, 6)), "winding"),
        ),
    ]
    if presence is None:
        elements.append(Element("VLINE", "V", ("open", low_end), sine, key=key, symbol=symbol))
    else:
        elements += [
            Element("VWAVE", "V", ("wave", GROUND), sine),
            Element("VHERE", "V", ("here", GROUND), presence),
            Element(
                "BLINE",
                "B",
                ("open", low_end),
                "v = v(wave)*v(here)",
                key=key,
                symbol=symbol,
            ),
        ]
    if parts.rectifier == "full-wave":
        elements += [
            Element("ELINE", "E", ("other", GROUND), -1.0, control=("open", GROUND)),
            Element("RW2", "R", ("other", "second"), Param("r_source")),
        ]
    return elements


def _reservoir(parts: SupplyParts) -> list[Element]:
    shape = "electrolytic" if parts.polarised else "capacitor"
    return [
        Element("VCAP", "V", ("raw", "plus"), Dc(0.0)),
        Element(
            "RESR",
            "R",
            ("plus", "store"),
            Param("r_esr"),
            key="supply.reservoir_esr",
            symbol=Symbol("resistor", ((11, 10), (11, 7)), "ESR"),
        ),
        Element(
            "C2",
            "C",
            ("store", GROUND),
            Param("c_reservoir"),
            key="supply.reservoir",
            symbol=Symbol(shape, ((11, 6), (11, 3))),
        ),
    ]


def _regulator(parts: SupplyParts) -> list[Element]:
    if not parts.regulated:
        return []
    arguments = tuple((name, Param(name)) for name in REGULATOR_ARGUMENTS)
    return [
        Element(
            "XREG",
            "X",
            ("raw", GROUND, "vdd"),
            model="regulator",
            arguments=arguments,
            key="supply.regulator",
            symbol=Symbol("box", ((14, 10), (15.5, 8), (17, 10)), parts.regulator),
        ),
        Element("CRAIL", "C", ("vdd", GROUND), DECOUPLING_F),
    ]


def _load(parts: SupplyParts) -> Element:
    # tanh: a constant current that ends while the rail is not there yet.
    rail = parts.rail
    return Element(
        "BLOAD",
        "B",
        (rail, GROUND),
        f"i = {{i_load}}*tanh(2*v({rail}))",
        key="supply.load_current",
        symbol=Symbol("current", ((19, 10), (19, 7)), "load"),
    )
