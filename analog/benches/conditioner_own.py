"""A user's own sub-circuit as the conditioner: filter, sub-circuit and load on the mains."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.conditioner_gate import OUTPUTS
from analog.benches.conditioner_measures import gate
from analog.benches.conditioner_stage import Stage
from analog.benches.conditioner_started import started
from analog.benches.line_network import LineNetwork
from analog.benches.line_own_stage import OwnReceiver
from analog.circuits.line_filter import filter_picture, line_filter, receiver_x
from analog.circuits.own_input import WIDTH
from analog.circuits.record import Circuit, Experiment
from analog.circuits.schmitt_stage import stage_load
from analog.circuits.sense_fronts import front_libraries
from analog.circuits.space import Floats, Space
from analog.engine import Run

NOTE = (
    "The stage is a sub-circuit of the user's own, read by a grammar of what is allowed and "
    "simulated in names of ours. What is high and low at its input is as the design states it; "
    "the thresholds here are those at which its output passes half the rail."
)

_SWAPPED = (
    ("output_rise_time", "output_fall_time"),
    ("output_high_level", "output_low_level"),
    ("t_out_rise", "t_out_fall"),
)


@dataclass(frozen=True, slots=True)
class OwnRows:
    """Rows of parameters of filter, sub-circuit and load on the mains."""

    network: LineNetwork
    stage: Stage
    receiver: OwnReceiver

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.rows(values)
        rail = rows["v_rail"]
        low, high = self.receiver.plain_ends(self.stage.column, rail)
        return {
            **rows,
            **self.receiver.input_rows(values, rows["ambient_c"]),
            **self.stage.load_rows(values, rows["ambient_c"]),
            "p_max": high,
            "n_min": low,
            "h_min": np.zeros(np.shape(rail)),
            "inverts": np.full(np.shape(rail), 1.0 if self.receiver.inverts else -1.0),
        }


def own_scene(network: LineNetwork, stage: Stage) -> Scene:
    """Return the scene of the stage; TypeError when its receiver is no sub-circuit."""
    receiver = stage.receiver
    if not isinstance(receiver, OwnReceiver):
        raise TypeError("the stage is no sub-circuit")
    axes = [*network.axes(detailed=False), *receiver.axes(), *stage.load_axes()]
    return Scene(
        "subcircuit",
        "Filter, sub-circuit and load on the mains",
        _experiment(network, stage, receiver),
        Space(tuple(axes)),
        OwnRows(network, stage, receiver),
        OUTPUTS[:9],
        (_plot(),),
    )


def own_stage_values(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the measures of one settled cycle behind the stage.

    One that does not invert is read upside down: its rising edges answer those at the pin.
    """
    if row["inverts"] > 0:
        return gate(run, row)
    turned = row["v_rail"] - run.trace("v(out)")
    found = gate(replace(run, traces={**run.traces, "v(out)": turned}), row)
    found["duty_cycle"] = 1 - found["duty_cycle"]
    for one, other in _SWAPPED:
        found[one], found[other] = found[other], found[one]
    for level in ("output_high_level", "output_low_level"):
        found[level] = row["v_rail"] - found[level]
    return found


def _experiment(network: LineNetwork, stage: Stage, receiver: OwnReceiver) -> Experiment:
    elements, models = line_filter(network.parts)
    x = receiver_x(network.parts)
    pin, own = receiver.pin(x)
    load = stage_load(stage.clocked.identifier, x + WIDTH - 4)
    circuit = Circuit(
        "Sub-circuit on the mains",
        (*elements, *pin, *load),
        (*models, *own),
        front_libraries(network.parts),
        (*filter_picture(network.parts), *receiver.picture(x)),
    )
    return started(circuit, network, f"{__name__}:own_stage_values", OUTPUTS)


def _plot() -> Plot:
    return Plot(
        "Receiver pin and clock",
        "output_rise_time",
        (Curve("v(pin)", "receiver pin", "V"), Curve("v(out)", "clock", "V")),
        (Level("stated high", "p_max", "V"), Level("stated low", "n_min", "V")),
        (Mark("rises", "t_out_rise", "v(out)"), Mark("falls", "t_out_fall", "v(out)")),
    )
