"""What heat, inrush, blocking and turn-off are judged against: the ratings of triac, opto, snubber
and load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from analog.benches.base import Measure
from analog.benches.gate_drive_inrush import SHORT_H_OHM, SHORT_OHM
from analog.benches.gate_drive_inrush import measures_of as inrush_measures
from analog.benches.gate_drive_running import (
    FREE_AIR_K_PER_W,
    INTERFACE_K_PER_W,
    JUNCTION_RESERVE_K,
    junction_limit_c,
)
from analog.benches.gate_drive_running import measures_of as running_measures
from analog.benches.gate_drive_space import GateNetwork
from analog.benches.gate_drive_states import SOURCE_H
from analog.cards import Column, Figure, technology
from analog.design import PartValue
from analog.verdicts import Limit

End = Literal["low", "high"]
Found = dict[str, tuple[Limit, ...]]


def state_measures(network: GateNetwork) -> tuple[Measure, ...]:
    """Return the measures of all scenes with a plainly conducting or blocking triac."""
    peak_v = math.sqrt(2) * network.mains.voltage_maximum
    own = (
        Measure("load_voltage_on", "V", "voltage on the load when on", "min",
                network.mains.voltage, "rms over a cycle after late firing; mains minimum"),
        Measure("off_state_peak_voltage", "V", "peak across the triac as it lets go", "max", peak_v,
                "with the load current chopped at up to I_H, snubber and varistor in place; mains "
                "maximum"),
        Measure("off_state_load_voltage", "V", "voltage left on the load when off", "max",
                network.mains.voltage, "rms, through snubber and leakage; mains maximum, hot"),
        Measure("off_state_load_current", "A", "current through the load when off", "max",
                network.load_current_a, "rms, of the same"),
        Measure("off_state_dvdt", "V/s", "rise across the triac as the mains comes on", "max", 1e6,
                "mains switched on at its crest: 10 to 63 % average slope"),
        Measure("commutating_dvdt", "V/s", "rise across the triac as it lets go", "max", 1e6,
                "recovery after the current's zero: 10 to 63 % average slope, or the mains' own "
                "where the load has no lag"),
        Measure("snubber_resistor_power", "W", "power in the snubber's resistor", "max", 0.25,
                "mean over a cycle, on or off; mains maximum"),
        Measure("turn_on_didt", "A/s", "slope of the triac's current as it turns on", "max", 1e6,
                "the snubber discharged from the mains' peak within 1 µs, plus the load"),
    )  # fmt: skip
    return (*own, *running_measures(network), *inrush_measures(network))


def state_limits(network: GateNetwork) -> Found:
    """Return the limits of those measures for one pair of opto and triac columns."""
    found = _heat(network) | _blocking(network) | _turn_off(network) | _surge(network)
    least = network.load.minimum_voltage
    if least is not None:
        source = "what the load needs, load.minimum_voltage of the design"
        found["load_voltage_on"] = (Limit("load", least, None, source),)
    return {name: limits for name, limits in found.items() if limits}


def state_notes(network: GateNetwork) -> tuple[str, ...]:
    """Return what the scenes with a plainly conducting or blocking triac take for granted."""
    load = network.load
    said = [
        "Heat, inrush, blocking and turn-off are simulated with the triac as its on-state line, or "
        "as its leakage and capacitance, from the steady state before. V_T0 and R_d count as the "
        "sheet's own dissipation curve uses them.",
        f"The mains is hard: {SOURCE_H * 1e6:g} µH, as in the worked example of Fairchild AN-3004, "
        "page 6. Behind it the step of a mains switched on at its crest is steeper than most "
        "triacs bear without a snubber; what follows is one half-cycle of load.",
        "The triac is taken to let go at anything up to its guaranteed holding current.",
        f"A short circuit is fed through the reference impedance of IEC 60725, {SHORT_OHM:g} Ω and "
        f"{SHORT_H_OHM:g} Ω of reactance (from memory); closer to the transformer it is less.",
    ]
    if load.fuse_clearing is None:
        said.append(
            "No fuse is stated: into a shorted load the current flows until its first zero, more "
            "than a triac of this size bears."
        )
    if load.kind == "filament":
        said.append(
            "The filament's resistance follows its temperature to the power of 1.2 and its heat "
            "the power taken less radiation; cold share and heat time from memory unless stated."
        )
    return tuple(said)


def hardest(of: Sequence[Found]) -> Found:
    """Return the hardest limit of each name over several pairs of columns."""
    names = {measure: None for found in of for measure in found}
    return {measure: _hardest([found[measure] for found in of if measure in found])
            for measure in names}  # fmt: skip


def _hardest(of: Sequence[tuple[Limit, ...]]) -> tuple[Limit, ...]:
    best: dict[str, Limit] = {}
    for limit in (each for limits in of for each in limits):
        kept = best.get(limit.identifier)
        if kept is None or _hardness(limit) > _hardness(kept):
            best[limit.identifier] = limit
    return tuple(best.values())


def _hardness(limit: Limit) -> float:
    if limit.minimum is not None:
        return limit.minimum
    return -math.inf if limit.maximum is None else -limit.maximum


def _from(name: str, figure: Figure, end: End = "high", note: str = "") -> Limit:
    """Return a maximum out of a figure's high end, or out of a guaranteed minimum."""
    value = figure.low if end == "low" else figure.high
    source = f"{figure.source}, {figure.conditions}" if figure.conditions else str(figure.source)
    words = "; ".join(part for part in (figure.note(end), note) if part)
    return Limit(name, None, value, source, words)


def _rated(column: Column, figure: str, name: str, end: End = "high") -> tuple[Limit, ...]:
    return (_from(name, column.figure(figure), end),) if column.has(figure) else ()


def _heat(network: GateNetwork) -> Found:
    triac, sink = network.triac, network.drive.heatsink
    typical = "V_T0, R_d and the thermal resistance as the sheet gives them"
    if triac.has("T_j_max"):
        junction = _from("absolute", triac.figure("T_j_max"), note=typical)
    else:
        junction = Limit("absolute", None, junction_limit_c(network), "from memory", typical)
    return {
        "junction_temperature": (junction,),
        "heatsink_required": (_sink(network, sink),),
    }


def _sink(network: GateNetwork, sink: float | None) -> Limit:
    """The heatsink there is, or the bare tab, must not exceed what is needed."""
    why = f"to stay {JUNCTION_RESERVE_K:g} K under the maximum: common practice, no source"
    if sink is not None:
        source = f"gate_drive.heatsink of the design, {why}"
        return Limit("heatsink", sink, None, source)
    triac, notes = network.triac, []
    bare, inside = FREE_AIR_K_PER_W, 0.0
    if triac.has("R_th_ja"):
        figure = triac.figure("R_th_ja")
        bare = figure.high
        notes.append(figure.note("high"))
    if triac.has("R_th_jc"):
        figure = triac.figure("R_th_jc")
        inside = figure.high
        notes.append(figure.note("high"))
    least = max(0.0, bare - inside - INTERFACE_K_PER_W)
    source = f"the bare case of {network.drive.triac} to air, {why}"
    return Limit("bare_case", least, None, source, "; ".join(n for n in notes if n))


def _blocking(network: GateNetwork) -> Found:
    triac, opto = network.triac, network.opto
    found: Found = {
        "off_state_peak_voltage": (
            *_rated(triac, "V_DRM", "triac"),
            *_rated(opto, "V_DRM", "opto"),
        ),
        "off_state_dvdt": (
            *_rated(triac, "dvdt_static", "triac", "low"),
            *_rated(opto, "dvdt_static", "opto", "low"),
        ),
        "turn_on_didt": _rated(triac, "didt_on", "repetitive"),
    }
    resistor = network.drive.snubber_resistor
    if resistor is not None:
        found["snubber_resistor_power"] = (_power(resistor),)
    return found


def _power(part: PartValue) -> Limit:
    if part.rating is not None:
        return Limit("rating", None, part.rating, f"rating stated in {part.key}")
    make = technology(part.technology)
    note = "rating not stated in the design"
    return Limit("rating", None, make.rating_default, str(make.rating_source), note)


def _turn_off(network: GateNetwork) -> Found:
    """The guarantee of commutation that the recovery allows to be used.

    A sheet gives the slope of the current together with that of the voltage: one pair, or for
    logic-level triacs two (0.1 and 10 V/µs), or the current's alone ("without snubber").
    """
    triac = network.triac
    own_slope = math.sqrt(2) * network.mains.voltage_maximum * 2 * math.pi * network.mains.frequency
    if triac.has("didt_c_10V_per_us"):
        gentle = not network.inductive and own_slope <= _GENTLE
        name = "didt_c" if gentle else "didt_c_10V_per_us"
        slope = _GENTLE if gentle else _STEEP
        figure = triac.figure(name)
        dvdt = Limit("guarantee", None, slope, f"{figure.source}, {figure.conditions}",
                     figure.note("low"))  # fmt: skip
        return {
            "commutating_didt": _rated(triac, name, "guarantee", "low"),
            "commutating_dvdt": (dvdt,),
        }
    return {
        "commutating_didt": _rated(triac, "didt_c", "guarantee", "low"),
        "commutating_dvdt": _rated(triac, "dvdt_c", "guarantee", "low"),
    }


_GENTLE, _STEEP = 0.1e6, 10e6
"""Recovery slopes (V/s) at which logic-level triacs have their commutation guaranteed."""


def _surge(network: GateNetwork) -> Found:
    triac, load = network.triac, network.load
    inrush = [*_rated(triac, "I2t", "triac")]
    if load.fuse_melting is not None:
        source = "load.fuse_melting of the design: the fuse must not melt at switch-on"
        inrush.append(Limit("fuse", None, load.fuse_melting, source))
    found: Found = {
        "inrush_i2t": tuple(inrush),
        "inrush_peak_current": _rated(triac, "I_TSM", "surge"),
    }
    if load.fuse_clearing is not None:
        found["short_circuit_i2t"] = _rated(triac, "I2t", "triac")
    return found
