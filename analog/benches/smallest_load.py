"""The smallest load the triac output works with: every half-cycle conducted, and latched.

The load's power is taken down from its rated one, its power factor kept, until a half-cycle is
missed or the triac no longer latches; the search closes in on the boundary.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Measure
from analog.benches.gate_drive_mains import firing_experiment
from analog.benches.gate_drive_space import GateNetwork
from analog.circuits.record import Experiment
from analog.circuits.space import Floats, Space

MEASURE = "smallest_load"
OUTPUTS = ("half_cycles_missed", "latching_margin")

MOST_RATIO = 64.0
"""Down to this part of the rated power the search goes."""

_HARD_AT_LOW = ("mains.voltage", "environment.ambient")


@dataclass(frozen=True, slots=True)
class SmallestLoad:
    """What the search needs: the triac at work, the space of its parts, the load's power (W)."""

    network: GateNetwork
    experiment: Experiment
    space: Space
    power_w: float

    def derive(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of the triac at work."""
        return self.network.firing(values)

    def points(self) -> tuple[Floats, Floats]:
        """Return the nominal and the corner at which every part is hard; shape (axes,) each."""
        keys = self.space.keys
        return np.zeros(len(keys)), np.array([-1.0 if k in _HARD_AT_LOW else 1.0 for k in keys])

    def row(self, point: Floats, power_w: float) -> dict[str, float]:
        """Return the row at one point (axes,) with the load's power (W)."""
        values = self.space.decode(point[None, :])
        values[self.network.load.power.key] = np.array([power_w])
        return {name: float(np.ravel(value)[0]) for name, value in self.derive(values).items()}


def smallest_load(network: GateNetwork) -> SmallestLoad:
    """Return the search for a network."""
    power = network.load.power.nominal
    experiment = firing_experiment(network, OUTPUTS)
    return SmallestLoad(network, experiment, network.space(held=False), power)


def works(found: dict[str, float]) -> bool:
    """Tell whether every half-cycle is conducted and latched; no data is no work."""
    return found["half_cycles_missed"] == 0 and found["latching_margin"] >= 0


def smallest_measure(network: GateNetwork) -> Measure:
    """Return the measure."""
    return Measure(
        MEASURE,
        "W",
        "smallest load that works",
        "max",
        network.load.power.nominal,
        "searched down from the load's power at its power factor: every half-cycle conducted and "
        f"latched; tried down to a {MOST_RATIO:g}th",
    )
