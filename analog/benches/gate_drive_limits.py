"""What the measures of the gate-drive bench are judged against, and what the report must add."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from analog.benches.gate_drive_parts import FLAT_RATIO, ratio_curve
from analog.benches.gate_drive_space import IRON_LOSS_SHARE, GateNetwork
from analog.cards import Column, technology
from analog.verdicts import Limit

Limits = dict[str, tuple[Limit, ...]]

DARK_SHARE = 0.05
SATURATED_V = 0.5
DIRECT_SHARE = 0.02


def limits(networks: Sequence[GateNetwork]) -> Limits:
    """Return the limits by measure, each the hardest over the makers' columns of the design."""
    found: Limits = {
        "led_current": (_hardest(networks, _trigger), *_advised(networks)),
        "led_current_maximum": (_hardest(networks, _led_maximum),),
        "led_current_off": (_hardest(networks, _dark),),
        "gate_current_positive": (_hardest(networks, lambda n: _gate_current(n, 1)),),
        "gate_current_negative": (_hardest(networks, lambda n: _gate_current(n, 3)),),
        "half_cycles_missed": (Limit("none", None, 0.0, "every half-cycle must be conducted"),),
        "missed_after_turn_on": (Limit("none", None, 0.0, "every half-cycle must be conducted"),),
        "half_cycle_asymmetry_share": (_direct(),),
        "latching_margin": (_own_current(networks[0], "I_L", "latching"),),
        "holding_margin": (_own_current(networks[0], "I_H", "holding"),),
        "opto_peak_current": (_hardest(networks, _opto_peak),),
        "gate_resistor_power": (_resistor_power(networks[0]),),
    }
    if networks[0].drive.driver != "logic":
        source = "common practice, no source: a switch that drops more is not saturated"
        found["driver_saturation"] = (Limit("saturated", None, SATURATED_V, source),)
    if any(network.opto.has("P_max") for network in networks):
        found["opto_dissipation"] = (_hardest(networks, _opto_power),)
    return found


def notes(network: GateNetwork) -> tuple[str, ...]:
    """Return what a reader of the results must know about their reach."""
    said = [
        "The opto is fed from MT2, so only quadrants I and III are used.",
        "Trigger, latching and holding currents follow the cards' typical temperature curves from "
        "the guaranteed 25 °C figures; the triac is taken at ambient temperature, as at a cold "
        "start. Latching and holding current count at their guaranteed maximum throughout.",
        f"On the mains side the LED gets the least current it is guaranteed, "
        f"{network.led_current_a * 1e3:.3g} mA.",
        "The nominal trigger current of a triac whose sheet gives no typical one is half the "
        "maximum, less in the more sensitive quadrant: no source.",
        "A gate resistor that sees the mains when the triac does not fire must be of a fusible or "
        "flameproof type unless its rating covers the fault power.",
        _counting(network),
    ]
    if network.inductive:
        said.append(_inductive_note(network))
    if not network.opto.has("V_INH"):
        said.append(
            "The opto's peak current is what flows with the triac held off: a random-phase opto "
            "may be switched on at the crest, before the triac conducts."
        )
    return tuple(said)


def _counting(network: GateNetwork) -> str:
    if not network.inductive:
        return (
            "One mains cycle is simulated from a zero of the mains: with a resistive load each "
            "half-cycle starts from the same state."
        )
    return (
        f"One mains cycle is counted after {network.settling_cycles} to let the switch-on offset "
        "of the inductance die away."
    )


def _inductive_note(network: GateNetwork) -> str:
    stated = network.load.parallel_resistance
    loss = (
        f"{stated:g} Ω as stated"
        if stated
        else f"taken as {IRON_LOSS_SHARE:.0%} of the power (common practice, no source)"
    )
    return (
        f"The inductive load's parallel loss is {loss}, its winding capacitance "
        f"{network.load.winding_capacitance * 1e12:g} pF."
    )


def _hardest(networks: Sequence[GateNetwork], rule: Callable[[GateNetwork], Limit]) -> Limit:
    """Return the limit with the highest minimum, or else the lowest maximum."""
    return max((rule(network) for network in networks), key=_hardness)


def _hardness(limit: Limit) -> float:
    if limit.minimum is not None:
        return limit.minimum
    return -math.inf if limit.maximum is None else -limit.maximum


def _trigger(network: GateNetwork) -> Limit:
    """I_FT max × ageing × cold, the cold factor at the coldest ambient."""
    opto, cold = network.opto, network.environment.ambient_minimum
    figure = opto.figure("I_FT")
    ageing, ageing_note = 1.0, ""
    if opto.has("led_ageing_factor"):
        factor = opto.figure("led_ageing_factor")
        ageing, ageing_note = factor.high, factor.note("high")
    ratio = float(np.interp(cold, *ratio_curve(opto, "I_FT_ratio")))
    source = (
        f"I_FT of {network.drive.opto} ({figure.source}) × {ageing:g} for ageing "
        f"× {ratio:.3g} at {cold:g} °C"
    )
    unsure = "ageing and cold factors are not guaranteed figures"
    note = _joined(figure.note("high"), unsure, ageing_note and f"ageing {ageing_note}")
    return Limit("trigger", figure.high * ageing * max(1.0, ratio), None, source, note)


def _advised(networks: Sequence[GateNetwork]) -> tuple[Limit, ...]:
    with_factor = [n for n in networks if n.opto.has("led_drive_factor")]
    return (_hardest(with_factor, _advised_drive),) if with_factor else ()


def _advised_drive(network: GateNetwork) -> Limit:
    factor, trigger = (network.opto.figure(name) for name in ("led_drive_factor", "I_FT"))
    source = f"{factor.low:g} × I_FT: {factor.source}"
    return Limit("advised", trigger.high * factor.low, None, source, trigger.note("high"))


def _led_maximum(network: GateNetwork) -> Limit:
    figure = network.opto.figure("I_F_max")
    return Limit("absolute", None, figure.high, str(figure.source), figure.note("high"))


def _dark(network: GateNetwork) -> Limit:
    trigger = network.opto.figure("I_FT")
    source = f"common practice, no source: {DARK_SHARE:.0%} of the trigger grade"
    return Limit("dark", None, DARK_SHARE * trigger.high, source, trigger.note("high"))


def _gate_current(network: GateNetwork, quadrant: int) -> Limit:
    cold = network.environment.ambient_minimum
    figure = network.triac.figure(f"I_GT_{quadrant}")
    curve = ratio_curve(network.triac, "I_GT_ratio")
    ratio = float(np.interp(cold, *curve))
    name = {1: "I", 3: "III"}[quadrant]
    source = (
        f"I_GT max, quadrant {name}, of {network.drive.triac} ({figure.source}) × {ratio:.4g} "
        f"at {cold:g} °C{_curve_source(network.triac, curve)}"
    )
    note = _joined(figure.note("high"), "rests on a typical figure (temperature ratio)")
    return Limit("cold_trigger", figure.high * ratio, None, source, note)


def _curve_source(column: Column, curve: object) -> str:
    return "" if curve is FLAT_RATIO else f" ({column.curves['I_GT_ratio'].source})"


def _direct() -> Limit:
    source = (
        "common practice, no source: IEC 61000-3-2 forbids half-wave control of the mains "
        "directly, and a share this large heats a transformer"
    )
    return Limit("direct_component", None, DIRECT_SHARE, source)


def _own_current(network: GateNetwork, name: str, word: str) -> Limit:
    figure = network.triac.figure(name)
    source = f"above the {word} current of {network.drive.triac} at the ambient: {figure.source}"
    note = _joined(figure.note("high"), "rests on a typical figure (temperature ratio)")
    return Limit(word, 0.0, None, source, note)


def _opto_peak(network: GateNetwork) -> Limit:
    figure = network.opto.figure("I_TSM_repetitive")
    source = f"{figure.source}, {figure.conditions}"
    return Limit("repetitive", None, figure.high, source, figure.note("high"))


def _opto_power(network: GateNetwork) -> Limit:
    figure = network.opto.figure("P_max")
    source = f"{figure.source}, {figure.conditions}"
    return Limit("detector", None, figure.high, source, figure.note("high"))


def _resistor_power(network: GateNetwork) -> Limit:
    part = network.drive.gate_resistor
    if part.rating is not None:
        return Limit("rating", None, part.rating, f"rating stated in {part.key}")
    make = technology(part.technology)
    note = "rating not stated in the design"
    return Limit("rating", None, make.rating_default, str(make.rating_source), note)


def _joined(*words: str) -> str:
    return "; ".join(word for word in words if word)
