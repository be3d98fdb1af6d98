"""The power-up reset network: R to the rail, C to ground, and everything that hangs on the pin.

    rail ──┬──────┬───────────────┬──── the pin's own diode to the rail
           R      D (discharge)   │
           ├──────┴──── RPIN ─────┴──── receiver pin
           C ∥ leakage            │
           │  ∥ push-button       └──── the pin's own diode to ground
         ground

The receiver's gate draws a leakage current in proportion to the rail and has a capacitance; its
thresholds are data and are not simulated. All values are parameters of one row, in SI units:

``r_reset``, ``r_pin``, ``r_button`` (Ω), ``c_reset``, ``c_pin`` (F), ``leak_c`` (A, constant
above some tenths of a volt), ``g_pin`` (S, pin leakage at full rail over full rail).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analog.circuits.record import (
    GROUND,
    Circuit,
    Dc,
    Element,
    Model,
    Param,
    Pulse,
    Stimulus,
    Symbol,
)

CONTACT_OHM = 0.05
"""Resistance of a closed push-button: from memory, catalogues of tactile switches state at
most 100 mΩ new; half of that makes the larger current."""

PIN_DIODE = Model("dpin", "D", (("IS", 1e-14), ("N", 1.0), ("RS", 10.0), ("CJO", 1e-12)))
"""A protection diode on the chip, about 0.65 V at 1 mA (from memory): at the low end of its
forward voltage, so that it takes more current than most."""

_CHARGES = frozenset({"CJO", "TT"})


@dataclass(frozen=True, slots=True)
class ResetParts:
    """Which parts the network has; `discharge_diode` holds its SPICE parameters.

    Without `strays` the picofarads of junctions and input are left out: over nanoseconds the
    simulator's step control takes its own rounding for a signal in them and hardly moves on.
    """

    discharge_diode: tuple[tuple[str, float], ...] | None = None
    pin_resistor: bool = False
    button: bool = False
    button_resistor: bool = False
    polarised: bool = False
    strays: bool = True
    receiver: str = ""

    @property
    def junction(self) -> str:
        """Return the node of resistor and capacitor: the pin itself without a pin resistor."""
        return "rc" if self.pin_resistor else "pin"


def reset_network(
    title: str, parts: ResetParts, rail: Stimulus, press: Stimulus | None = None
) -> Circuit:
    """Return the network on a rail that follows `rail`; `press` closes the button at 1 V."""
    elements = [*_rail_and_rc(rail, parts), *_pin(parts)]
    models = [_diode(PIN_DIODE, parts)]
    if parts.discharge_diode is not None:
        elements += _discharge_diode(parts.junction)
        models.append(_diode(Model("ddis", "D", parts.discharge_diode), parts))
    if parts.button:
        elements += _button(parts, press or Dc(0.0))
    return Circuit(title, tuple(elements), tuple(models))


def _diode(model: Model, parts: ResetParts) -> Model:
    kept = tuple(pair for pair in model.arguments if parts.strays or pair[0] not in _CHARGES)
    return replace(model, arguments=kept)


def press_at(delay_s: Param, edge_s: Param, width_s: Param, period_s: Param) -> Pulse:
    """Return the hand on the button: it closes at `delay_s`, within `edge_s`, for `width_s`.

    `period_s` must exceed edges and width together: ngspice can stand still on a pulse that is
    longer than its period.
    """
    return Pulse(0.0, 1.0, delay_s, edge_s, edge_s, width_s, period_s)


def _rail_and_rc(rail: Stimulus, parts: ResetParts) -> list[Element]:
    junction = parts.junction
    return [
        Element(
            "VRAIL",
            "V",
            ("vdd", GROUND),
            rail,
            key="supply.rail",
            symbol=Symbol("ramp", ((0, 6), (0, 0)), "rail"),
        ),
        Element(
            "R1",
            "R",
            ("vdd", junction),
            Param("r_reset"),
            key="reset.resistor",
            symbol=Symbol("resistor", ((4, 6), (4, 3))),
        ),
        Element(
            "C1",
            "C",
            (junction, GROUND),
            Param("c_reset"),
            key="reset.capacitor",
            symbol=Symbol("electrolytic" if parts.polarised else "capacitor", ((4, 3), (4, 0))),
        ),
        # tanh: the leakage is what the card allows, but it cannot charge the capacitor backwards.
        Element("BLEAK", "B", (junction, GROUND), f"i = {{leak_c}}*tanh(v({junction})/0.1)"),
    ]


def _discharge_diode(junction: str) -> list[Element]:
    return [
        Element("VDIS", "V", (junction, "dis"), Dc(0.0)),
        Element(
            "D1",
            "D",
            ("dis", "vdd"),
            model="ddis",
            key="reset.discharge_diode",
            symbol=Symbol("diode", ((6, 3), (6, 6))),
        ),
    ]


def _pin(parts: ResetParts) -> list[Element]:
    elements = [
        Element("VPIN", "V", ("pin", "clamp"), Dc(0.0)),
        Element(
            "DHIGH",
            "D",
            ("clamp", "vdd"),
            model="dpin",
            symbol=Symbol("diode", ((10, 3), (10, 6)), "in the pin"),
        ),
        Element(
            "DLOW",
            "D",
            (GROUND, "pin"),
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
        elements.append(
            Element(
                "R2",
                "R",
                ("rc", "pin"),
                Param("r_pin"),
                key="reset.pin_resistor",
                symbol=Symbol("resistor", ((7, 3), (9, 3))),
            )
        )
    return elements


def _button(parts: ResetParts, press: Stimulus) -> list[Element]:
    foot = "foot" if parts.button_resistor else GROUND
    across = "v(contact,foot)" if parts.button_resistor else "v(contact)"
    elements = [
        Element("VHAND", "V", ("hand", GROUND), press),
        Element("VBUTTON", "V", (parts.junction, "contact"), Dc(0.0)),
        # A conductance that follows the hand: a switch element would snap half-way through a step.
        Element(
            "BPUSH",
            "B",
            ("contact", foot),
            f"i = {across}*v(hand)/{CONTACT_OHM}",
            key="reset.button",
            symbol=Symbol("button", ((2, 3), (2, 0))),
        ),
    ]
    if parts.button_resistor:
        elements.append(
            Element(
                "R3",
                "R",
                ("foot", GROUND),
                Param("r_button"),
                key="reset.button_resistor",
                symbol=Symbol("resistor", ((2, 0), (2, -3))),
            )
        )
    return elements
