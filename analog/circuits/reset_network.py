"""The power-up reset network: rail, one of the topologies, and everything that hangs on the pin.

    rail ── topology ──┬── RPIN ──┬── receiver pin, its own diodes to rail and ground
                       │          └── leakage and capacitance of the input
                  push-button
             across the capacitor

The receiver's gate draws a leakage current in proportion to the rail and has a capacitance; its
thresholds are data and are not simulated. All values are parameters of one row, in SI units:
those of the topology (`analog/circuits/reset_topologies.py`), ``r_pin``, ``r_button`` (Ω),
``c_pin`` (F), ``g_pin`` (S, pin leakage at full rail over full rail).
"""

from __future__ import annotations

from analog.circuits.record import (
    GROUND,
    Circuit,
    Dc,
    Element,
    Param,
    Pulse,
    Stimulus,
    Symbol,
)
from analog.circuits.reset_parts import CONTACT_OHM, PIN_DIODE, ResetParts
from analog.circuits.reset_topologies import TOPOLOGIES, device

__all__ = ("CONTACT_OHM", "PIN_DIODE", "ResetParts", "press_at", "reset_network")


def reset_network(
    title: str, parts: ResetParts, rail: Stimulus, press: Stimulus | None = None
) -> Circuit:
    """Return the network on a rail that follows `rail`; `press` closes the button at 1 V."""
    symbol = Symbol("ramp", ((0, 6), (0, 0)), "rail")
    source = Element("VRAIL", "V", ("vdd", GROUND), rail, key="supply.rail", symbol=symbol)
    own, models = TOPOLOGIES[parts.topology](parts)
    elements = [source, *own, *_pin(parts)]
    if parts.button:
        elements += _button(parts, press or Dc(0.0))
    libraries = tuple({part.model: None for part in elements if part.kind == "X"})
    return Circuit(title, tuple(elements), (device(PIN_DIODE, parts), *models), libraries)


def press_at(delay_s: Param, edge_s: Param, width_s: Param, period_s: Param) -> Pulse:
    """Return the hand on the button: it closes at `delay_s`, within `edge_s`, for `width_s`.

    `period_s` must exceed edges and width together: ngspice can stand still on a pulse that is
    longer than its period.
    """
    return Pulse(0.0, 1.0, delay_s, edge_s, edge_s, width_s, period_s)


def _pin(parts: ResetParts) -> list[Element]:
    # The ammeter stands before the one diode that a falling rail makes conduct: the other's
    # charge is no part of that current.
    upper, lower = ("pin", "clamp") if parts.high else ("clamp", "pin")
    elements = [
        Element("VPIN", "V", ("pin", "clamp"), Dc(0.0)),
        Element(
            "DHIGH",
            "D",
            (upper, "vdd"),
            model="dpin",
            symbol=Symbol("diode", ((10, 3), (10, 6)), "in the pin"),
        ),
        Element(
            "DLOW",
            "D",
            (GROUND, lower),
            model="dpin",
            symbol=Symbol("diode", ((10, 0), (10, 3)), "in the pin"),
        ),
        Element(
            "GLEAK",
            "G",
            ("pin", GROUND),
            Param("g_pin"),
            control=("vdd", GROUND),
            key="reset.receiver",
            symbol=Symbol("box", ((12, 3), (12, 0)), parts.receiver),
        ),
    ]
    if parts.strays:
        elements.append(Element("CPIN", "C", ("pin", GROUND), Param("c_pin")))
    if parts.pin_resistor:
        elements.append(_pin_resistor())
    return elements


def _pin_resistor() -> Element:
    return Element(
        "R2",
        "R",
        ("rc", "pin"),
        Param("r_pin"),
        key="reset.pin_resistor",
        symbol=Symbol("resistor", ((7, 3), (9, 3))),
    )


def _button(parts: ResetParts, press: Stimulus) -> list[Element]:
    top, bottom = ("vdd", parts.junction) if parts.high else (parts.junction, GROUND)
    foot = "foot" if parts.button_resistor else bottom
    across = "v(contact)" if foot == GROUND else f"v(contact,{foot})"
    low = 3.0 if parts.high else 0.0
    elements = [
        Element("VHAND", "V", ("hand", GROUND), press),
        Element("VBUTTON", "V", (top, "contact"), Dc(0.0)),
        # A conductance that follows the hand: a switch element would snap half-way through a step.
        Element(
            "BPUSH",
            "B",
            ("contact", foot),
            f"i = {across}*v(hand)/{CONTACT_OHM}",
            key="reset.button",
            symbol=Symbol("button", ((2, low + 3), (2, low))),
        ),
    ]
    if parts.button_resistor:
        elements.append(
            Element(
                "R3",
                "R",
                ("foot", bottom),
                Param("r_button"),
                key="reset.button_resistor",
                symbol=Symbol("resistor", ((2, low), (2, low - 3))),
            )
        )
    return elements
