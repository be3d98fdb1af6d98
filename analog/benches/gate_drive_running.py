"""The triac conducting in steady work: how much heat it makes, how steeply its current ends.

One cycle of the load's steady current through the on-state line, from a zero of the current.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, spread_axis
from analog.benches.base import Curve, Measure, Plot, Scene
from analog.benches.gate_drive_parts import FigureAxis
from analog.benches.gate_drive_phasors import conducting as steady
from analog.benches.gate_drive_space import MAINS, GateNetwork, mains_axis
from analog.benches.gate_drive_states import source_rows, state_parts, state_rows
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.space import Axis, Floats, Space
from analog.circuits.triac_states import conducting
from analog.engine import Run
from analog.measures import mean, rms

JUNCTION_RESERVE_K = 15.0
"""How far below its maximum a heatsink is dimensioned to keep the junction: common practice, no
source."""

INTERFACE_K_PER_W = 0.5
"""Case to heatsink with thermal paste, screwed: common practice, no source."""

FREE_AIR_K_PER_W = 60.0
"""Junction to air of a TO-220 without heatsink, where a card says nothing (from memory)."""

R_TH_JA = "gate_drive.triac.R_th_ja"

OUTPUTS = (
    "triac_dissipation",
    "junction_temperature",
    "junction_temperature_bare",
    "heatsink_required",
    "commutating_didt",
    "running_load_rms",
)


def running_scene(network: GateNetwork, suffix: str) -> Scene:
    """Return the scene of one cycle of steady work."""
    measures = [name for name in OUTPUTS if name in {m.identifier for m in measures_of(network)}]
    circuit = Circuit("Gate drive: triac conducting", conducting(state_parts(network)))
    experiment = Experiment(
        circuit,
        Transient(Param("stop"), Param("step"), reltol=1e-5, use_initial=True),
        ("i(vload)", "v(mt2)"),
        f"{__name__}:heat",
        OUTPUTS,
    )
    axes: list[Axis] = [
        mains_axis(network.mains),
        ambient_axis(network.environment),
        spread_axis(network.load.power, "W"),
    ]
    if network.triac.has("R_th_ja"):
        figure = network.triac.figure("R_th_ja")
        axes.append(FigureAxis(R_TH_JA, "K/W", figure.low, figure.centre, figure.high))
    plot = Plot(
        "Current through the triac",
        "triac_dissipation",
        (Curve("i(vload)", "load current", "A"),),
    )
    return Scene(
        f"running{suffix}",
        "One cycle of steady work, triac conducting",
        experiment,
        Space(tuple(axes)),
        RunningRows(network),
        tuple(measures),
        (plot,),
    )


@dataclass(frozen=True, slots=True)
class RunningRows:
    """Rows that start at a zero of the load current, everything in its steady state."""

    network: GateNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network = self.network
        rows = state_rows(network, values) | source_rows(values[MAINS])
        state = steady(rows)
        phase = -np.angle(state.current)
        bare = values.get(R_TH_JA, 0.0 * values[MAINS] + FREE_AIR_K_PER_W)
        sink = network.drive.heatsink
        case = _case_k_per_w(network)
        path = bare if sink is None else 0.0 * bare + case + INTERFACE_K_PER_W + sink
        return rows | state.start(phase) | {
            "mains_phase_deg": np.degrees(phase),
            "stop": rows["period"],
            "step": rows["period"] / 400,
            "air_c": values[AMBIENT],
            "r_th_bare": bare,
            "r_th_path": path,
            "r_th_inside": 0.0 * bare + case + INTERFACE_K_PER_W,
            "t_wanted_c": 0.0 * bare + wanted_c(network),
        }  # fmt: skip


def wanted_c(network: GateNetwork) -> float:
    """Return the junction temperature (°C) that a heatsink is dimensioned for."""
    return junction_limit_c(network) - JUNCTION_RESERVE_K


def junction_limit_c(network: GateNetwork) -> float:
    """Return the junction's absolute maximum (°C); 125 where the card says nothing."""
    triac = network.triac
    return triac.figure("T_j_max").high if triac.has("T_j_max") else 125.0


def _case_k_per_w(network: GateNetwork) -> float:
    """Return junction to case (K/W): what the card allows at most."""
    triac = network.triac
    return triac.figure("R_th_jc").high if triac.has("R_th_jc") else 0.0


def heat(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return heat (W), temperatures (°C), the heatsink needed (K/W) and dI/dt at zero (A/s)."""
    time, current = run.time, run.trace("i(vload)")
    average, effective = mean(time, np.abs(current)), rms(time, current)
    watts = row["v_t0"] * average + row["r_on"] * effective**2
    return {
        "triac_dissipation": watts,
        "junction_temperature": row["air_c"] + watts * row["r_th_path"],
        "junction_temperature_bare": row["air_c"] + watts * row["r_th_bare"],
        "heatsink_required": (row["t_wanted_c"] - row["air_c"]) / watts - row["r_th_inside"],
        "commutating_didt": zero_slope(time, current, row["period"]),
        "running_load_rms": effective,
    }


def zero_slope(time: Floats, current: Floats, period_s: float) -> float:
    """Return how steeply (A/s) the current falls to its zero in the middle of the cycle.

    Between a tenth and a fiftieth of its peak: the last volt of the mains, which the on-state drop
    takes, bends the end.
    """
    middle = (time > 0.25 * period_s) & (time < 0.75 * period_s)
    peak = float(np.max(current))
    moments = [_falls(time[middle], current[middle], share * peak) for share in (0.1, 0.02)]
    span = moments[1] - moments[0]
    return 0.08 * peak / span if span > 0 else math.nan


def _falls(time: Floats, current: Floats, level: float) -> float:
    """Return when the current last falls through `level`; NaN when it never does."""
    below = np.flatnonzero((current[:-1] > level) & (current[1:] <= level))
    if not len(below):
        return math.nan
    at = int(below[-1])
    share = (current[at] - level) / (current[at] - current[at + 1])
    return float(time[at] + share * (time[at + 1] - time[at]))


def measures_of(network: GateNetwork) -> tuple[Measure, ...]:
    """Return the measures of steady work."""
    limit_c = junction_limit_c(network)
    load_a = network.load_current_a
    own = (
        Measure("triac_dissipation", "W", "heat made in the triac", "max", 1.0,
                "V_T0 times the mean and R_d times the square of the rms load current, mains "
                "maximum"),
        Measure("junction_temperature", "°C", "junction temperature", "max", limit_c,
                "at the ambient in the enclosure, with the design's heatsink or none"),
        Measure("heatsink_required", "K/W", "heatsink needed, to air at most", "min", 10.0,
                f"that keeps the junction at {wanted_c(network):g} °C, "
                f"{INTERFACE_K_PER_W:g} K/W between case and heatsink"),
        Measure("commutating_didt", "A/s", "slope of the load current at its zero", "max",
                math.sqrt(2) * load_a * 2 * math.pi * network.mains.frequency,
                "in steady work, mains maximum"),
    )  # fmt: skip
    if network.drive.heatsink is None:
        return own
    bare = Measure("junction_temperature_bare", "°C", "junction temperature without heatsink",
                   "max", limit_c, "what happens with none: no limit")  # fmt: skip
    return (*own[:2], bare, *own[2:])
