"""The measures of the reset bench in words, and what each is counted against."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from analog.benches.base import Level, Measure
from analog.benches.reset_space import ResetNetwork
from analog.circuits.reset_network import CONTACT_OHM

LOWEST_SUPPLY = Level("lowest supply of the logic", "valid_supply", "V")
SURE_RESET = Level("certainly a reset", "pin_assert", "V")

_WORDS = (
    Measure(
        "input_at_valid_supply",
        "V",
        "pin level when the rail becomes valid",
        "max",
        1.0,
        "the pin when the rail passes the lowest supply of the driven logic for the last time",
    ),
    Measure(
        "hold_time",
        "s",
        "reset held after the rail is valid",
        "min",
        1.0,
        "from the rail's last rise through the valid supply to the pin reaching the lowest "
        "threshold the receiver may have",
    ),
    Measure(
        "release_level_margin",
        "V",
        "final pin level over the highest threshold",
        "min",
        1.0,
        "the pin after all time, with the leakage of capacitor and input, less the highest "
        "threshold the receiver may have",
    ),
    Measure(
        "release_time",
        "s",
        "latest release after switch-on",
        "max",
        1.0,
        "from the start of the rail's rise to the pin reaching the highest threshold",
    ),
    Measure(
        "discharge_current",
        "A",
        "peak in the discharge diode at power-down",
        "max",
        1.0,
        "while the rail falls to 0 in a straight line",
    ),
    Measure(
        "pin_discharge_current",
        "A",
        "peak in the pin's own diode at power-down",
        "max",
        1.0,
        "what the capacitor pushes through the receiver's protection diode into the rail",
    ),
    Measure(
        "button_current",
        "A",
        "peak through the reset button",
        "max",
        1.0,
        f"with a contact of {CONTACT_OHM * 1e3:g} mΩ and an ideal capacitor",
    ),
)
"""Their scales (1.0 here) depend on the design: `measures` fills them in."""


def measures(network: ResetNetwork, shown: frozenset[str]) -> tuple[Measure, ...]:
    """Return the measures among `shown`, each with the scale that this design gives it."""
    scales = _scales(network)
    return tuple(
        replace(measure, scale=scales[measure.identifier], worst=_worst(network, measure))
        for measure in _WORDS
        if measure.identifier in shown
    )


def _worst(network: ResetNetwork, measure: Measure) -> Literal["min", "max", "both"]:
    """Return the worst side: the pin of an active-high reset has to be high at first."""
    upside_down = measure.identifier == "input_at_valid_supply" and network.levels.high
    return "min" if upside_down else measure.worst


def _scales(network: ResetNetwork) -> dict[str, float]:
    """Return the rail for levels, R·C for times, C·dV/dt and V/R for currents."""
    reset, rail_v = network.reset, network.supply.rail.nominal
    constant_s = reset.resistor.nominal * reset.capacitor.nominal
    ramp_a = reset.capacitor.nominal * rail_v / network.runs_on.usual_fall_s
    foot_ohm = reset.button_resistor.nominal if reset.button_resistor is not None else 0.0
    return {
        "input_at_valid_supply": rail_v,
        "hold_time": constant_s,
        "release_level_margin": rail_v,
        "release_time": constant_s,
        "discharge_current": ramp_a,
        "pin_discharge_current": ramp_a,
        "button_current": rail_v / (foot_ohm + CONTACT_OHM),
    }
