"""Disturbances between the mains and a line-sense circuit, by changing the circuit's winding.

Slow ones (harmonics, signals, notches, dips) stand in series with the winding's open-circuit
voltage ``VLINE``, stepped down like the mains itself: the leakage inductance of a small
transformer is nothing beside the filter below some 10 kHz. Fast ones (burst, surge, ring wave) are
fed into the mains conductors by the standards' generators and reach the winding through turns
ratio, leakage inductance and the capacitance between the windings:

    VMAINS ── decoupling ──┬── live      neutral ──┬── decoupling ── VMAINS
                    coupling capacitors, generator against the other line or the plane
    plane ── stray capacitance (or an earth wire) ── circuit ground

Parameters of the fast ones: ``ratio`` (winding's open-circuit voltage over the mains'),
``v_mains`` (V, peak), ``l_leak`` (H, seen from the winding), ``r_leak`` (Ω, damps it), ``c_iw`` and
``c_winding`` (F, between the windings and across the secondary), ``c_stray`` (F) and ``r_plane``
(Ω) from circuit ground to the reference plane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analog.circuits.disturbances import Generator
from analog.circuits.record import GROUND, Circuit, Element, Param, Pwl, Sine, Stimulus

LINE, COPPER = "VLINE", "RW"
"""The winding's open-circuit voltage and its resistance, by their references."""

BOND_OHM = 1.0
"""From the mains' neutral to the reference plane, upstream of the test."""

BLEED_OHM = 1e9
"""Keeps what hangs on capacitors alone from floating."""


@dataclass(frozen=True, slots=True)
class Decoupling:
    """What keeps a test wave from the mains: an inductance in each conductor, with its loss."""

    inductance_h: float
    loss_ohm: float
    source: str


SURGE_DECOUPLING = Decoupling(1.5e-3, 200.0, "IEC 61000-4-5, from memory; the loss is ours")
BURST_DECOUPLING = Decoupling(100e-6, 2000.0, "IEC 61000-4-4, from memory; the loss is ours")


def in_series(circuit: Circuit, sources: tuple[tuple[str, Stimulus], ...]) -> Circuit:
    """Return the circuit with voltage sources (reference, wave) in series with the winding's."""
    line = circuit.element(LINE)
    top, bottom = line.nodes
    joints = [f"joint_{number}" for number in range(len(sources))]
    lifted = replace(line, nodes=(top, joints[0]))
    added = [
        Element(reference, "V", (above, below), wave)
        for (reference, wave), above, below in zip(
            sources, joints, [*joints[1:], bottom], strict=True
        )
    ]
    return _exchanged(circuit, line, (lifted, *added))


def dipped(circuit: Circuit, envelope: Pwl) -> Circuit:
    """Return the circuit with the winding's voltage less its product with an envelope."""
    line = circuit.element(LINE)
    top, bottom = line.nodes
    added = (
        replace(line, nodes=(top, "lifted")),
        Element("VDEPTH", "V", ("depth", GROUND), envelope),
        Element("BDIP", "B", ("lifted", bottom), f"v = -v(depth)*v({top},lifted)"),
    )
    return _exchanged(circuit, line, added)


def of_changing_frequency(circuit: Circuit) -> Circuit:
    """Return the circuit with a mains whose frequency changes.

    By ``f_change`` (Hz) in a straight line over ``t_change`` (s) from ``t_changes`` (s) on, its
    phase going on unbroken.
    """
    line = circuit.element(LINE)
    start_deg = _sine(line).phase_deg
    if isinstance(start_deg, Param):
        raise TypeError("the winding's phase is a parameter")
    since = "max(time-{t_changes},0)"
    ramp = f"min({since},{{t_change}})"
    cycles = (
        f"{{f_mains}}*time+{{f_change}}*(0.5*{ramp}*{ramp}/{{t_change}}+{since}-{ramp})"
        f"+{start_deg / 360.0!r}"
    )
    wave = f"v = {{v_peak}}*sin(6.283185307179586*({cycles}))"
    changes = Pwl(((0.0, 0.0), (Param("t_changes"), 0.0), (Param("t_changed"), 1.0)))
    added = (
        Element("BLINE", "B", line.nodes, wave, key=line.key),
        # An expression of time sets no breakpoints: this source sets them where it bends.
        Element("VTIMES", "V", ("times", GROUND), changes),
    )
    return _exchanged(circuit, line, added)


def loaded(circuit: Circuit, current: Pwl) -> Circuit:
    """Return the circuit with a further current (A) out of the reservoir, where there is one."""
    if not any("raw" in element.nodes for element in circuit.elements):
        return circuit
    extra = Element("ISWITCHED", "I", ("raw", GROUND), current)
    return replace(circuit, elements=(*circuit.elements, extra))


def between_lines(circuit: Circuit, generator: Generator, wave: Pwl) -> Circuit:
    """Return the circuit with a generator from live to neutral."""
    coupling = _injected("neutral", generator, wave)
    return _fed(circuit, SURGE_DECOUPLING, (*coupling, _surge_coupling(generator)))


def to_earth(circuit: Circuit, generator: Generator, wave: Pwl) -> Circuit:
    """Return the circuit with a generator from the plane to the live conductor."""
    coupling = _injected("plane", generator, wave)
    return _fed(circuit, SURGE_DECOUPLING, (*coupling, _surge_coupling(generator)))


def common_mode(circuit: Circuit, generator: Generator, wave: Pwl) -> Circuit:
    """Return the circuit with a generator from the plane to both conductors alike."""
    coupling = (
        *_injected("plane", generator, wave),
        _coupling("CLIVE", ("live", "coupled"), generator, "v_coupled"),
        _coupling("CNEUTRAL", ("neutral", "coupled"), generator, 0.0),
    )
    return _fed(circuit, BURST_DECOUPLING, coupling)


def _injected(against: str, generator: Generator, wave: Pwl) -> tuple[Element, ...]:
    """Return a generator from the node `against` to the node ``coupled``."""
    return (
        Element("VWAVE", "V", ("wave", against), wave),
        Element("RWAVE", "R", ("wave", "coupled"), generator.resistance_ohm),
    )


def _surge_coupling(generator: Generator) -> Element:
    return _coupling("CWAVE", ("live", "coupled"), generator, "v_coupled")


def _coupling(
    reference: str, nodes: tuple[str, str], generator: Generator, charge: str | float
) -> Element:
    initial = Param(charge) if isinstance(charge, str) else charge
    return Element(reference, "C", nodes, generator.coupling_f, initial=initial)


def _fed(circuit: Circuit, decoupling: Decoupling, coupling: tuple[Element, ...]) -> Circuit:
    line, copper = circuit.element(LINE), circuit.element(COPPER)
    low, end = line.nodes[1], copper.nodes[1]
    sine = _sine(line)
    mains = Sine(Param("v_mains"), sine.frequency_hz, sine.phase_deg)
    added = (
        Element("VMAINS", "V", ("supply_l", "supply_n"), mains),
        *_decoupled("L", ("supply_l", "live"), decoupling),
        *_decoupled("N", ("supply_n", "neutral"), decoupling),
        *coupling,
        Element("RBOND", "R", ("supply_n", "plane"), BOND_OHM),
        Element("CSTRAY", "C", ("plane", GROUND), Param("c_stray")),
        Element("RPLANE", "R", ("plane", GROUND), Param("r_plane")),
        Element(
            "EWINDING", "E", line.nodes, Param("ratio"), control=("live", "neutral"), key=line.key
        ),
        replace(copper, nodes=(copper.nodes[0], "copper")),
        Element("LLEAK", "L", ("copper", end), Param("l_leak")),
        Element("RLEAK", "R", ("copper", end), Param("r_leak")),
        Element("CWINDING", "C", (end, low), Param("c_winding")),
        Element("CIWA", "C", ("live", end), Param("c_iw")),
        Element("CIWB", "C", ("neutral", low), Param("c_iw")),
    )
    return _exchanged(_exchanged(circuit, copper, ()), line, added)


def _decoupled(name: str, nodes: tuple[str, str], by: Decoupling) -> tuple[Element, Element]:
    return (
        Element(f"LD{name}", "L", nodes, by.inductance_h),
        Element(f"RD{name}", "R", nodes, by.loss_ohm),
    )


def _sine(line: Element) -> Sine:
    if not isinstance(line.value, Sine):
        raise TypeError("the winding's open-circuit voltage is no sine")
    return line.value


def _exchanged(circuit: Circuit, old: Element, new: tuple[Element, ...]) -> Circuit:
    kept = tuple(one for one in circuit.elements if one is not old)
    return replace(circuit, elements=(*new, *kept))
