"""The mains side of a triac output with the triac plainly conducting, or plainly blocking.

What heats the triac, what rushes in, what remains on the load and what the triac must block do not
need its gate: with its place taken by an on-state line, or by its leakage and capacitance, the
circuit is nearly linear, quick to simulate and can start in a known state::

    mains ── source R, L ── live ── load ── ammeter ── mt2 ──┬── on-state line, or
                                                             ├── leakage, capacitance
                                                             ├── snubber R ─ C
                                                             ├── varistor
                                                             └── gate resistor ─ opto's capacitor

The load is that of `analog.circuits.triac_output`, or a filament with its own heat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from analog.circuits.record import GROUND, Dc, Element, Param, Pulse, Sine, Symbol
from analog.circuits.triac_output import keyed, load_elements, placed, snubber_elements

LoadShape = Literal["resistive", "inductive", "filament"]

ON_STATE = (
    "i = (v(mt2)+0.5*(sqrt((v(mt2)-{v_t0})*(v(mt2)-{v_t0})+1e-4)"
    "-sqrt((v(mt2)+{v_t0})*(v(mt2)+{v_t0})+1e-4)))*{g_on}"
)
"""The on-state line: nothing within ±V_T0, R_d beyond it, rounded over 10 mV. Expressions here
multiply by parameters and never divide by them: a run that starts without an operating point may
find them 0 at first."""

VARISTOR = "i = 1e-3*sgn(v(mt2))*exp(min(14,{mov_exponent}*ln(max(abs(v(mt2))*{per_v_mov},1e-3))))"
"""I = 1 mA·(V/V_1mA)^α, the usual law of a metal-oxide varistor between 1 mA and its test pulse;
bounded at 1.2 kA, which only an iteration on its way ever meets."""


@dataclass(frozen=True, slots=True)
class StateParts:
    """Which parts stand around the triac. `keys` are (reference, dotted design key)."""

    load: LoadShape
    snubber: bool = False
    varistor: str = ""
    opto_capacitor: bool = False
    keys: tuple[tuple[str, str], ...] = ()


def conducting(parts: StateParts) -> tuple[Element, ...]:
    """Return the circuit with the triac on: mains, load and the on-state line.

    The load's inductance starts with the current ``i_load_start``, its winding capacitance at
    ``v_wind_start`` and the source's inductance at ``i_source_start`` (0 where left out).
    """
    shape = Symbol("on_state", ((11, 5), (11, 3)), "triac on")
    on = Element("BTRIAC", "B", ("mt2", GROUND), ON_STATE, symbol=shape)
    return _labelled(parts, (*_mains(), *_load(parts), _ammeter(), on, *_pacer()))


def blocking(parts: StateParts) -> tuple[Element, ...]:
    """Return the circuit with the triac off, its capacitance and the snubber's charged.

    They start at ``v_triac_start`` and ``v_snubber_start``; the load as in `conducting`.
    """
    off = [
        placed("ROFF", "R", ("mt2", GROUND), Param("r_off"), "resistor", ((11, 6), (11, 2)), "off"),
        Element("COFF", "C", ("mt2", GROUND), Param("c_off"), initial=Param("v_triac_start")),
    ]
    if parts.snubber:
        resistor, capacitor = snubber_elements()
        off += [resistor, replace(capacitor, initial=Param("v_snubber_start"))]
    if parts.varistor:
        shape = Symbol("varistor", ((17, 7), (17, 2)), parts.varistor)
        off.append(Element("BMOV", "B", ("mt2", GROUND), VARISTOR, symbol=shape))
    if parts.opto_capacitor:
        off += _opto_capacitor()
    return _labelled(parts, (*_mains(), *_load(parts), _ammeter(), *off, *_pacer()))


def _pacer() -> list[Element]:
    """Return a source on its own whose edge makes the first steps short: what starts out of
    balance moves within nanoseconds, and the first step is not judged by its error."""
    edge = Pulse(0.0, 1.0, 0.0, 1e-9, 1e-9, 1.0, 3.0)
    return [
        Element("VPACE", "V", ("pace", GROUND), edge),
        Element("RPACE", "R", ("pace", GROUND), 1e6),
    ]


def _opto_capacitor() -> list[Element]:
    """Return the gate resistor and the capacitor that eases the opto's own voltage rise."""
    upper, lower = ((9, 7), (9, 5)), ((9, 4), (9, 1))
    capacitor = placed("COPTO", "C", ("om", GROUND), Param("c_opto"), "capacitor", lower)
    return [
        placed("RGATE", "R", ("mt2", "om"), Param("r_gate"), "resistor", upper),
        replace(capacitor, initial=Param("v_triac_start")),
    ]


def _mains() -> list[Element]:
    mains = Sine(Param("mains_peak"), Param("mains_hz"), Param("mains_phase_deg"))
    inductance = placed(
        "LSOURCE", "L", ("sb", "live"), Param("l_source"), "inductor", ((-3, 8), (-1, 8))
    )
    return [
        placed("VMAINS", "V", ("sa", GROUND), mains, "sine", ((-7, 8), (-7, 0)), "mains"),
        placed("RSOURCE", "R", ("sa", "sb"), Param("r_source"), "resistor", ((-6, 8), (-4, 8))),
        replace(inductance, initial=Param("i_source_start")),
        Element("RDAMP", "R", ("sb", "live"), Param("r_damp")),
    ]


def _ammeter() -> Element:
    return Element("VLOAD", "V", ("lb", "mt2"), Dc(0.0))


def _load(parts: StateParts) -> list[Element]:
    if parts.load == "filament":
        return filament_elements()
    starts = {"LLOAD": Param("i_load_start"), "CWIND": Param("v_wind_start")}
    return [
        replace(element, initial=starts[element.reference])
        if element.reference in starts
        else element
        for element in load_elements(parts.load == "inductive")
    ]


def filament_elements() -> list[Element]:
    """Return a tungsten filament from ``live`` to ``lb`` whose resistance follows its heat.

    With θ the temperature over that of normal work: R = θ^1.2/``g_load`` (tungsten's resistivity,
    from memory), and what heats it is the power taken less the radiation, θ^4, both over the
    rated power: ``heat_time``·dθ/dt = p − θ^4. ``heat_time`` (s) is the heat stored at normal
    work over the rated power, ``per_v_rated_square`` (1/V²) one over the square of the rated
    voltage, ``theta_start`` the cold filament's θ. The node ``theta`` stands for θ.
    """
    hot = "exp(1.2*ln(max(v(theta),0.02)))"
    lamp = Symbol("lamp", ((2, 8), (6, 8)), "filament")
    power = f"v(live,lb)*v(live,lb)*{{per_v_rated_square}}/{hot}"
    radiated = "v(theta)*v(theta)*v(theta)*v(theta)"
    return [
        Element("BLOAD", "B", ("live", "lb"), f"i = v(live,lb)*{{g_load}}/{hot}", symbol=lamp),
        Element("BHEAT", "B", (GROUND, "theta"), f"i = {power}-{radiated}"),
        Element("CHEAT", "C", ("theta", GROUND), Param("heat_time"), initial=Param("theta_start")),
    ]


def _labelled(parts: StateParts, elements: tuple[Element, ...]) -> tuple[Element, ...]:
    keys = dict(parts.keys)
    return tuple(keyed(element, keys) for element in elements)
