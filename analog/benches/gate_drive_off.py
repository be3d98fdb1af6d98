"""The triac blocking: what remains on the load, what the mains' switch-on steps across it, and what
rises when the current of an inductive load stops.

Three scenes on one circuit, each from a known state: the steady state, the moment the mains is
switched on at its crest, and the moment the triac lets go.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import ambient_axis, part_axis, spread_axis
from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.gate_drive_parts import FigureAxis, figure_axis, ratio_curve
from analog.benches.gate_drive_phasors import blocking as steady_off
from analog.benches.gate_drive_phasors import conducting as steady_on
from analog.benches.gate_drive_space import MAINS, GateNetwork, mains_axis
from analog.benches.gate_drive_states import off_rows, source_rows, state_parts, state_rows
from analog.cards import find_card
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.space import Axis, Floats, Space
from analog.circuits.triac_states import blocking

_REDUCERS = "analog.benches.gate_drive_off_measures"
_SAVES = ("v(sa)", "v(live)", "v(lb)", "v(mt2)", "i(vload)")

VARISTOR_V, CHOP = "gate_drive.varistor.V_1mA", "gate_drive.triac.I_H"

LARGEST_STEP_S = 10e-6
RELTOL = 1e-5

Rows = Callable[[Mapping[str, Floats]], Mapping[str, Floats]]


def off_scenes(network: GateNetwork, suffix: str) -> tuple[Scene, ...]:
    """Return the three scenes; identifiers end in `suffix` where there are several makers."""
    return _left(network, suffix), _switch_on(network, suffix), _let_go(network, suffix)


def _scene(
    network: GateNetwork,
    name: tuple[str, str],
    words: str,
    axes: list[Axis],
    rows: Rows,
    outputs: tuple[str, ...],
    measures: tuple[str, ...],
    plots: tuple[Plot, ...],
) -> Scene:
    circuit = Circuit(f"Gate drive: {words}", blocking(state_parts(network)))
    saves = (*_SAVES, "v(sn)") if network.snubber else _SAVES
    reducer = f"{_REDUCERS}:{name[0].replace('-', '_')}"
    settings = Transient(Param("stop"), Param("step"), reltol=RELTOL, use_initial=True)
    return Scene(
        "".join(name),
        words[0].upper() + words[1:],
        Experiment(circuit, settings, saves, reducer, outputs),
        Space(tuple(axes)),
        rows,
        measures,
        plots,
    )


def axes_of(network: GateNetwork) -> list[Axis]:
    """Return mains, ambient, load power, snubber and varistor."""
    drive = network.drive
    found: list[Axis] = [
        mains_axis(network.mains),
        ambient_axis(network.environment),
        spread_axis(network.load.power, "W"),
    ]
    if drive.snubber_resistor is not None and drive.snubber_capacitor is not None:
        found += [part_axis(drive.snubber_resistor), part_axis(drive.snubber_capacitor)]
    if drive.varistor is not None:
        found.append(figure_axis(VARISTOR_V, find_card(drive.varistor).columns[0].figure("V_1mA")))
    return found


def varistor_exponent(name: str) -> float:
    """Return α of I = 1 mA·(V/V_1mA)^α through the card's clamping voltage."""
    column = find_card(name).columns[0]
    ratio = column.figure("V_clamp").high / column.figure("V_1mA").high
    return math.log(column.figure("I_clamp").centre / 1e-3) / math.log(ratio)


@dataclass(frozen=True, slots=True)
class OffRows:
    """The rows all three scenes share, with the steady state they start from."""

    network: GateNetwork

    def common(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network, like = self.network, values[MAINS]
        rows = state_rows(network, values) | source_rows(like)
        rows |= off_rows(network, values)
        varistor = network.drive.varistor
        if varistor is not None:
            rows["per_v_mov"] = 1 / values[VARISTOR_V]
            rows["mov_exponent"] = np.full(np.shape(like), varistor_exponent(varistor))
        return rows


class LeftRows(OffRows):
    """One cycle of the steady state with the triac off."""

    __slots__ = ()

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.common(values)
        phase = 0.0 * rows["period"]
        return rows | steady_off(rows).start(phase) | {
            "mains_phase_deg": phase,
            "stop": rows["period"],
            "step": rows["period"] / 400,
        }  # fmt: skip


class SwitchOnRows(OffRows):
    """The mains at its crest, everything else empty."""

    __slots__ = ()

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.common(values)
        empty = dict.fromkeys(_STARTS, 0.0 * rows["period"])
        return rows | empty | {
            "mains_phase_deg": 0.0 * rows["period"] + 90.0,
            "stop": rows["period"] / 4,
            "step": 0.0 * rows["period"] + LARGEST_STEP_S,
        }  # fmt: skip


_STARTS = ("i_source_start", "i_load_start", "v_wind_start", "v_triac_start", "v_snubber_start")


class LetGoRows(OffRows):
    """From where the falling load current reaches what the triac lets go at, for one cycle."""

    __slots__ = ()

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.common(values)
        state = steady_on(rows)
        chopped = np.minimum(values[CHOP], 0.999 * np.abs(state.current))
        past = math.pi - np.arcsin(chopped / np.abs(state.current))
        phase = past - np.angle(state.current)
        return rows | state.start(phase) | {
            "i_chopped": chopped,
            "mains_phase_deg": np.degrees(phase),
            "stop": rows["period"],
            "step": 0.0 * rows["period"] + LARGEST_STEP_S,
        }  # fmt: skip


def _left(network: GateNetwork, suffix: str) -> Scene:
    outputs = ["off_state_load_voltage", "off_state_load_current"]
    if network.snubber:
        outputs.append("snubber_resistor_power")
    plot = Plot(
        "What remains on the load",
        "off_state_load_voltage",
        (Curve("v(mt2)", "across the triac", "V"), Curve("i(vload)", "load current", "A")),
    )
    return _scene(
        network, ("off", suffix), "the triac off", axes_of(network),
        LeftRows(network), tuple(outputs), tuple(outputs), (plot,),
    )  # fmt: skip


def _switch_on(network: GateNetwork, suffix: str) -> Scene:
    measures = ["off_state_dvdt"]
    if network.snubber:
        measures.append("turn_on_didt")
    outputs = (*measures, "step_peak", "step_overshoot", "step_steepest")
    plot = Plot(
        "Mains switched on at its crest",
        "off_state_dvdt",
        (Curve("v(mt2)", "across the triac", "V"),),
    )
    return _scene(
        network, ("switch-on", suffix), "the mains switched on at its crest",
        axes_of(network), SwitchOnRows(network), outputs, tuple(measures), (plot,),
    )  # fmt: skip


def _let_go(network: GateNetwork, suffix: str) -> Scene:
    measures = ("off_state_peak_voltage", "commutating_dvdt")
    curve = ratio_curve(network.triac, "I_H_ratio")
    most = network.triac.figure("I_H").high
    axes = [*axes_of(network), FigureAxis(CHOP, "A", 0.0, 0.5 * most, most, curve)]
    blocked = network.triac.figure("V_DRM").high
    levels = [Level("V_DRM of the triac", blocked, "V"), Level("V_DRM of the triac", -blocked, "V")]
    least = network.opto.figure("V_DRM").high
    if least != blocked:
        levels += [Level("V_DRM of the opto", sign * least, "V") for sign in (1, -1)]
    plot = Plot(
        "Across the triac as it lets go",
        "off_state_peak_voltage",
        (Curve("v(mt2)", "across the triac", "V"), Curve("v(sa)", "mains", "V")),
        tuple(levels),
        (Mark("peak", "peak_time", "v(mt2)"),),
    )
    return _scene(
        network, ("let-go", suffix), "the triac letting go of the load", axes,
        LetGoRows(network), (*measures, "peak_time"), measures, (plot,),
    )  # fmt: skip
