"""What rushes through the triac when the load is switched on cold, and when it is shorted.

The triac is its on-state line; the surge is counted to the first zero of the current, where a
triac could let go.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, spread_axis
from analog.benches.base import Curve, Level, Measure, Plot, Scene
from analog.benches.gate_drive_space import MAINS, GateNetwork, mains_axis
from analog.benches.gate_drive_states import source_rows, state_parts, state_rows
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.space import Axis, Floats, RangeAxis, Space
from analog.circuits.triac_states import StateParts, conducting
from analog.engine import Run

PHASE = "gate_drive.switch_on_phase"

COLD_RESISTANCE = 0.071
"""Cold over hot resistance of a filament: tungsten's R ∝ T^1.2 (from memory) from 2 700 K to
298 K."""

HEAT_TIME_S = 0.1
"""Heat stored in a working filament over its power: 17 mg of tungsten at 160 J/(kg·K) and 2 700 K
for 60 W, 0.12 s (wire of a 120 V lamp, from memory), rounded down."""

RESISTIVITY_POWER = 1.2

SHORT_OHM, SHORT_H_OHM = 0.4, 0.25
"""Resistance and reactance (at 50 Hz) of the mains into a short circuit: the reference impedance of
IEC 60725, phase and neutral (from memory). A mains close to its transformer has less."""

EARLY = 0.02
"""Share of a period in which a zero of the current does not end the surge."""

WIRE_OHM = 1e-3
"""What is left of a shorted load."""

OUTPUTS = ("inrush_i2t", "inrush_peak_current", "surge_end")
SHORT_OUTPUTS = ("short_circuit_i2t", "short_circuit_peak", "surge_end")

_SAVES = ("i(vload)", "v(live)")


def inrush_scenes(network: GateNetwork, suffix: str) -> tuple[Scene, Scene]:
    """Return the scenes of a cold start and of a shorted load."""
    return _cold(network, suffix), _shorted(network, suffix)


def _experiment(
    parts: StateParts, words: str, reducer: str, outputs: tuple[str, ...]
) -> Experiment:
    return Experiment(
        Circuit(f"Gate drive: {words}", conducting(parts)),
        Transient(Param("stop"), Param("step"), reltol=1e-5, use_initial=True),
        _SAVES,
        f"{__name__}:{reducer}",
        outputs,
    )


def _cold(network: GateNetwork, suffix: str) -> Scene:
    axes: list[Axis] = [mains_axis(network.mains), spread_axis(network.load.power, "W")]
    if network.load.kind == "filament":
        axes.append(ambient_axis(network.environment))
    if not network.opto.has("V_INH"):
        axes.append(RangeAxis(PHASE, "°", 0.0, 90.0, 180.0))
    surge = network.triac.figure("I_TSM").high if network.triac.has("I_TSM") else None
    levels = () if surge is None else (Level("I_TSM of the triac", surge, "A"),)
    plot = Plot(
        "Load current from a cold start",
        "inrush_i2t",
        (Curve("i(vload)", "load current", "A"),),
        levels,
    )
    parts = state_parts(network, cold=True)
    measures = OUTPUTS[:2]
    return Scene(
        f"inrush{suffix}",
        "The load switched on cold",
        _experiment(parts, "the load switched on cold", "inrush", OUTPUTS),
        Space(tuple(axes)),
        ColdRows(network),
        measures,
        (plot,),
    )


def _shorted(network: GateNetwork, suffix: str) -> Scene:
    parts = StateParts("resistive", keys=(("VMAINS", "mains.voltage"),))
    axes = (mains_axis(network.mains),)
    return Scene(
        f"shorted{suffix}",
        "The load shorted",
        _experiment(parts, "the load shorted", "shorted", SHORT_OUTPUTS),
        Space(axes),
        ShortRows(network),
        ("short_circuit_i2t",),
    )


@dataclass(frozen=True, slots=True)
class ColdRows:
    """Rows with nothing stored in the load and a filament cold."""

    network: GateNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network, load = self.network, self.network.load
        rows = state_rows(network, values) | source_rows(values[MAINS])
        rated = load.voltage or network.mains.voltage
        cold = load.cold_resistance or COLD_RESISTANCE
        fixed = {
            "i_source_start": 0.0,
            "i_load_start": 0.0,
            "v_wind_start": 0.0,
            "per_v_rated_square": 1 / rated**2,
            "heat_time": load.heat_time or HEAT_TIME_S,
        }
        shape = np.shape(values[MAINS])
        # A filament as warm as its surroundings: the ambient in kelvin over 298 K.
        warm = (values.get(AMBIENT, np.full(shape, 25.0)) + 273.15) / 298.15
        theta = cold ** (1 / RESISTIVITY_POWER) * warm
        return rows | {name: np.full(shape, value) for name, value in fixed.items()} | {
            "theta_start": theta,
            "g_load": 1 / rows["r_load"],
            "mains_phase_deg": values.get(PHASE, np.zeros(shape)),
            "stop": 1.1 * rows["period"],
            "step": rows["period"] / 400,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class ShortRows:
    """Rows of a shorted load, from the zero of the mains, behind the mains' own impedance."""

    network: GateNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        power = self.network.load.power
        usual = {power.key: np.full(np.shape(values[MAINS]), power.nominal)}
        rows = state_rows(self.network, {**values, **usual}) | source_rows(values[MAINS])
        shape = np.shape(values[MAINS])
        fixed = {
            "r_load": WIRE_OHM,
            "r_source": SHORT_OHM,
            "l_source": SHORT_H_OHM / (2 * math.pi * 50.0),
            "r_damp": 1e3,
            "i_source_start": 0.0,
            "mains_phase_deg": 0.0,
            "fuse_clearing": self.network.load.fuse_clearing or math.inf,
        }
        fixed["fuse_clearing"] = min(fixed["fuse_clearing"], 1e12)
        return rows | {name: np.full(shape, value) for name, value in fixed.items()} | {
            "stop": rows["period"],
            "step": rows["period"] / 400,
        }  # fmt: skip


def inrush(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the surge's ∫i²dt (A²s) and peak (A), and when it ends (s)."""
    end, joule, highest = surge(run, EARLY * row["period"])
    return {"inrush_i2t": joule, "inrush_peak_current": highest, "surge_end": end}


def shorted(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return what goes through a shorted load: until its zero, or until the fuse has cleared."""
    end, joule, highest = surge(run, EARLY * row["period"])
    let_through = min(joule, row["fuse_clearing"])
    return {
        "short_circuit_i2t": let_through,
        "short_circuit_peak": highest,
        "surge_end": end,
    }


def surge(run: Run, early_s: float) -> tuple[float, float, float]:
    """Return the end (s), ∫i²dt (A²s) and peak (A) of the current up to its first zero.

    Zeros before `early_s` are those of a winding's capacitance being charged.
    """
    time, current = run.time, run.trace("i(vload)")
    first = int(np.argmax(time > early_s))
    after = np.flatnonzero(np.sign(current[first]) * current[first:] <= 0)
    stop = first + int(after[0]) if len(after) else len(time) - 1
    joule = float(np.trapezoid(current[: stop + 1] ** 2, time[: stop + 1]))
    return float(time[stop]), joule, float(np.max(np.abs(current[: stop + 1])))


def measures_of(network: GateNetwork) -> tuple[Measure, ...]:
    """Return the measures of cold start and short circuit."""
    load_a = network.load_current_a
    half = load_a**2 / network.mains.frequency / 2
    clearing = network.load.fuse_clearing is not None
    said = "until the fuse has cleared" if clearing else "to the first zero of the current, no fuse"
    return (
        Measure("inrush_i2t", "A²s", "inrush into the cold load", "max", half,
                "∫i²dt from switch-on to the current's first zero; mains maximum, worst phase"),
        Measure("inrush_peak_current", "A", "peak of the inrush", "max", math.sqrt(2) * load_a,
                "of the same surge"),
        Measure("short_circuit_i2t", "A²s", "let through into a shorted load", "max", 100.0,
                f"∫i²dt {said}"),
    )  # fmt: skip
