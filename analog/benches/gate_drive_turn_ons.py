"""Over fifty half-cycles after turn-ons all round the mains' cycle, every part at its hard end.

The LED goes on six times, each a sixth of a cycle later in the mains' phase than the time before.
Two runs tell: one nominal, one cold, at the mains minimum, trigger currents and voltages at their
most.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Curve, Measure, Plot
from analog.benches.gate_drive_mains import firing_experiment
from analog.benches.gate_drive_space import PULSE_EDGE_S, GateNetwork
from analog.circuits.record import Circuit, Experiment, Param, Pulse
from analog.circuits.space import Floats, Space
from analog.engine import Run

MEASURE = "missed_after_turn_on"

TURN_ONS = 6
ON_CYCLES, OFF_CYCLES = 5.5, 1.5 + 1.0 / TURN_ONS
"""A turn-on leaves at least ten whole half-cycles; while off a lagging load comes to rest."""

_HARD = {"mains.voltage": -1.0, "environment.ambient": -1.0}
"""Coordinates of what is hard at its low end; everything else is hard at its high end."""


def _experiment(network: GateNetwork) -> Experiment:
    made = firing_experiment(network)
    on = Pulse(0.0, Param("i_led"), Param("first_on"), Param("led_edge"), Param("led_edge"),
               Param("on_for"), Param("on_period"))  # fmt: skip
    elements = tuple(
        replace(element, value=on) if element.reference == "ILED" else element
        for element in made.circuit.elements
    )
    return replace(
        made,
        circuit=Circuit("Gate drive: six turn-ons", elements, (), made.circuit.libraries),
        saves=("i(vload)",),
        reducer=f"{__name__}:missed",
        outputs=(MEASURE, "half_cycles_counted"),
        readings=(),
    )


@dataclass(frozen=True, slots=True)
class TurnOns:
    """What the trial needs: the triac at work with an LED that goes on and off, and its parts."""

    network: GateNetwork
    experiment: Experiment
    space: Space

    @property
    def identifier(self) -> str:
        return "turn-ons"

    @property
    def title(self) -> str:
        return "Six turn-ons, every part at its hard end"

    @property
    def measures(self) -> tuple[tuple[str, str], ...]:
        """Return (measure, output)."""
        return ((MEASURE, MEASURE),)

    @property
    def plots(self) -> tuple[Plot, ...]:
        curve = Curve("i(vload)", "load current", "A")
        return (Plot("Turn-ons all round the cycle", MEASURE, (curve,)),)

    def derive(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows: those of the triac at work, over all turn-ons."""
        rows = self.network.firing(values)
        period = rows["period"]
        fixed = {
            "first_on": 0.25,
            "on_for": ON_CYCLES,
            "on_period": ON_CYCLES + OFF_CYCLES,
            "stop": TURN_ONS * (ON_CYCLES + OFF_CYCLES),
        }
        times = {name: cycles * period for name, cycles in fixed.items()}
        return rows | times | {"led_edge": PULSE_EDGE_S + 0.0 * period}

    def points(self) -> tuple[Floats, Floats]:
        """Return the nominal and the corner at which every part is hard; shape (axes,) each.

        The least load takes the least current.
        """
        hard = {**_HARD, self.network.load.power.key: -1.0}
        keys = self.space.keys
        return np.zeros(len(keys)), np.array([hard.get(key, 1.0) for key in keys])

    def row(self, point: Floats) -> dict[str, float]:
        """Return the row at one point (axes,)."""
        rows = self.derive(self.space.decode(point[None, :]))
        return {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def turn_ons(network: GateNetwork) -> TurnOns:
    """Return the trial for a network with a continuous LED."""
    return TurnOns(network, _experiment(network), network.space(held=False))


def missed(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Count half-cycles under half of their steady charge after each first firing."""
    half = row["period"] / 2
    full = 2 * row["mains_peak"] / row["load_impedance"] / (2 * math.pi / row["period"])
    charge = _running_charge(run)
    found = counted = 0
    for index in range(TURN_ONS):
        on = row["first_on"] + index * row["on_period"]
        off = on + row["on_for"]
        first = _first_firing(run, on, off, row)
        if math.isnan(first):
            found, counted = found + 10, counted + 10
            continue
        start = math.ceil((first - row["lag"]) / half)
        while (start + 1) * half + row["lag"] <= min(off, run.time[-1]):
            ends = row["lag"] + half * np.array([start, start + 1])
            taken = np.diff(np.interp(ends, run.time, charge))[0] * (1 - 2 * (start % 2))
            found += int(taken < 0.5 * full)
            counted += 1
            start += 1
    return {MEASURE: float(found), "half_cycles_counted": float(counted)}


def _running_charge(run: Run) -> Floats:
    """Return the charge (A·s) that has passed at each moment."""
    current = run.trace("i(vload)")
    steps = np.diff(run.time) * (current[1:] + current[:-1]) / 2
    return np.concatenate(([0.0], np.cumsum(steps)))


def _first_firing(run: Run, on: float, off: float, row: Mapping[str, float]) -> float:
    """Return when the load current first passes the latching current; NaN when it never does."""
    peak = row["mains_peak"] / row["load_impedance"]
    enough = np.abs(run.trace("i(vload)")) > min(row["i_l"], 0.5 * peak)
    inside = np.flatnonzero(enough & (run.time > on) & (run.time < off))
    return float(run.time[inside[0]]) if len(inside) else math.nan


def turn_on_measure() -> Measure:
    """Return the measure."""
    return Measure(
        MEASURE,
        "1",
        "half-cycles missed after turn-ons",
        "max",
        1.0,
        f"of some sixty after {TURN_ONS} turn-ons all round the cycle, each counted from its first "
        "firing: under half of the charge the load would take straight from the mains",
    )
