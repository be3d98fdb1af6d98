"""The conditioner: thresholds and edges of the simulated part, and the whole chain.

Of a Schmitt part two scenes per maker: a slow ramp on the part alone, and filter, part and load
on the mains. V_P and V_N are drawn jointly from what the maker guarantees together with V_H. A
plain gate has one scene, as a whole model on the mains. Which kind of card is judged how stands
in `STAGES`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, spread_axis
from analog.benches.base import Bench, Curve, Level, Mark, Measure, Plan, Plot, Scene
from analog.benches.conditioner_chain import chain_scene
from analog.benches.conditioner_gate import NOTE, gate_scene
from analog.benches.conditioner_measures import RAMP_OUTPUTS
from analog.benches.conditioner_own import NOTE as OWN_NOTE
from analog.benches.conditioner_own import own_scene
from analog.benches.conditioner_stage import Stage, stages
from analog.benches.conditioner_transistor import NOTE as TRANSISTOR_NOTE
from analog.benches.conditioner_transistor import transistor_scene
from analog.benches.line_limits import edge_limit, transition_limits
from analog.benches.line_network import LineNetwork, line_network
from analog.benches.line_receiving import receiver_of
from analog.benches.line_trials import trial_limits, trial_measures, trial_notes, trials_of
from analog.circuits.rail_source import rail_source
from analog.circuits.record import (
    GROUND,
    Circuit,
    Element,
    Experiment,
    Param,
    Pwl,
    Symbol,
    Transient,
)
from analog.circuits.schmitt_stage import schmitt_stage
from analog.circuits.space import Axis, Floats, Space
from analog.design import Design
from analog.verdicts import Limit

USUAL_EDGE_S = 10e-6
"""Scale of an output edge where no maker states one: a transistor's."""

RAMP_S = 20e-3
"""Time of the ramp from ground to the rail: slow against the delay, as the filter's edges are."""

_REDUCERS = "analog.benches.conditioner_measures"


@dataclass(frozen=True, slots=True)
class RampRows:
    """Rows of parameters of the ramp on the part alone."""

    stage: Stage
    ambient_key: str = AMBIENT

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        ambient = values[self.ambient_key]
        rail = values[self.stage.rail.key]
        same = np.ones(np.shape(rail))
        return {
            "ambient_c": ambient,
            "v_rail": rail,
            **self.stage.rows(values, ambient),
            "c_in": same * self.stage.receiver.capacitance_axis().nominal,
            "t_top": same * RAMP_S,
            "t_stop": same * 2 * RAMP_S,
            "t_last": same * 2 * RAMP_S * (1 - 1e-6),  # ngspice 44 reads nothing at the very end
            "t_step": same * RAMP_S / 100,
            "v_10": 0.1 * rail,
            "v_90": 0.9 * rail,
        }


def plan(design: Design) -> Plan:
    """Return the conditioner bench of `design`, a bench without scenes for part "none".

    ValueError without the sections conditioner, clocked, line_sense and mains.
    """
    conditioner, clocked = design.conditioner, design.clocked
    if conditioner is None or clocked is None:
        raise ValueError("the conditioner bench needs the sections conditioner and clocked")
    tried, trials = trial_measures(design), trials_of(design)
    if conditioner.part == "none":
        limits = trial_limits()
        note = "There is no conditioner: the line-sense bench judges the edge at the clocked part."
        notes = (note, *trial_notes())
        return Plan("conditioner", "Schmitt conditioner", tried, (), limits, notes, trials)
    network, receiver = line_network(design), receiver_of(design)
    fitted = stages(design, receiver, conditioner, clocked)
    kind = STAGES[receiver.kind]
    scenes = tuple(scene for stage in fitted for scene in kind.scenes(network, stage))
    shown = {measure for scene in scenes for measure in scene.measures}
    measures = (one for one in _measures(fitted[0], kind.threshold) if one.identifier in shown)
    return Plan(
        "conditioner",
        kind.title,
        (*measures, *tried),
        scenes,
        _limits(network, fitted[0]) | trial_limits(),
        (*kind.notes, *receiver.notes, *trial_notes()),
        trials,
    )


@dataclass(frozen=True, slots=True)
class StageKind:
    """How a kind of part is judged: bench title, scenes of one maker's, words and notes.

    `threshold` says how a threshold is read.
    """

    title: str
    scenes: Callable[[LineNetwork, Stage], tuple[Scene, ...]]
    threshold: str
    notes: tuple[str, ...]


def _schmitt_scenes(network: LineNetwork, stage: Stage) -> tuple[Scene, ...]:
    return _ramp(stage, network.design), chain_scene(network, stage)


def _transistor_scenes(network: LineNetwork, stage: Stage) -> tuple[Scene, ...]:
    return (transistor_scene(network, stage),)


def _own_scenes(network: LineNetwork, stage: Stage) -> tuple[Scene, ...]:
    return (own_scene(network, stage),)


def _gate_scenes(network: LineNetwork, stage: Stage) -> tuple[Scene, ...]:
    return (gate_scene(network, stage),)


CONDITIONER = Bench("conditioner", "Schmitt conditioner", "conditioner", plan)


def _ramp(stage: Stage, design: Design) -> Scene:
    axes: list[Axis] = [
        ambient_axis(design.environment),
        spread_axis(stage.rail, "V"),
        *stage.threshold_axes(),
        stage.drive_axis(),
        *stage.load_axes(),
    ]
    return Scene(
        f"ramp-{stage.column.maker.lower()}",
        f"A slow ramp into the part ({stage.column.maker})",
        _ramp_experiment(stage),
        Space(tuple(axes)),
        RampRows(stage),
        RAMP_OUTPUTS[:7],
        _ramp_plots(),
    )


def _ramp_experiment(stage: Stage) -> Experiment:
    triangle = Pwl(((0.0, 0.0), (Param("t_top"), Param("v_rail")), (Param("t_stop"), 0.0)))
    sources = (
        Element("VIN", "V", ("pin", GROUND), triangle, symbol=Symbol("ramp", ((0, 5), (0, 2)))),
        rail_source(-2),
    )
    card, shape = stage.receiver.card, stage.receiver.shape
    clocked = stage.clocked.identifier
    return Experiment(
        Circuit(
            f"Conditioner: ramp on {card.identifier}",
            (*sources, *schmitt_stage(card.library, card.identifier, clocked, 2, shape)),
            (),
            (card.library,),
        ),
        # Gear: in one run of forty the trapezoidal rule takes the whole edge in a single step.
        Transient(Param("t_stop"), Param("t_step"), method="gear", reltol=1e-5),
        ("v(pin)", "v(out)"),
        f"{_REDUCERS}:ramp",
        RAMP_OUTPUTS,
        (
            ("threshold_rising", "tran find v(pin) when v(out)={v_half} fall=1"),
            ("threshold_falling", "tran find v(pin) when v(out)={v_half} rise=1"),
            (
                "output_fall_time",
                "tran trig v(out) val={v_90} fall=1 targ v(out) val={v_10} fall=1",
            ),
            (
                "output_rise_time",
                "tran trig v(out) val={v_10} rise=1 targ v(out) val={v_90} rise=1",
            ),
            ("output_high_level", "tran find v(out) at={t_last}"),
            ("output_low_level", "tran find v(out) at={t_top}"),
        ),
    )


def _ramp_plots() -> tuple[Plot, ...]:
    out = Curve("v(out)", "output", "V")
    tens = (Level("10 % of the rail", "v_10", "V"), Level("90 % of the rail", "v_90", "V"))
    return (
        Plot(
            "Thresholds of the part on a slow ramp",
            "hysteresis",
            (Curve("v(pin)", "input", "V"), out),
            (Level("V_P", "v_p", "V"), Level("V_N", "v_n", "V")),
            (Mark("switches", "t_fall", "v(pin)"), Mark("switches back", "t_rise", "v(pin)")),
        ),
        Plot(
            "Falling output edge into its load",
            "output_fall_time",
            (out,),
            tens,
            (Mark("90 %", "t_fall_from", "v(out)"), Mark("10 %", "t_fall_to", "v(out)")),
            ("t_fall_from", "t_fall_to"),
        ),
        Plot(
            "Rising output edge into its load",
            "output_rise_time",
            (out,),
            tens,
            (Mark("10 %", "t_rise_from", "v(out)"), Mark("90 %", "t_rise_to", "v(out)")),
            ("t_rise_from", "t_rise_to"),
        ),
    )


def _measures(stage: Stage, part: str) -> tuple[Measure, ...]:
    rail_v = stage.rail.nominal
    named = stage.column.has("t_transition")
    edge_s = stage.column.figure("t_transition", vdd=rail_v).centre if named else USUAL_EDGE_S
    into = "10-90 % of the rail into wiring and clocked inputs"
    return (
        Measure("threshold_rising", "V", "rising threshold", "max", rail_v, part),
        Measure("threshold_falling", "V", "falling threshold", "min", rail_v, part),
        Measure("hysteresis", "V", "hysteresis", "min", rail_v, part),
        Measure(
            "hysteresis_margin",
            "V",
            "hysteresis over the pin's largest turn back",
            "min",
            rail_v,
            "guaranteed hysteresis − largest reversal at the pin between V_N min and V_P max",
        ),
        Measure("output_rise_time", "s", "rise of the clock", "max", edge_s, into),
        Measure("output_fall_time", "s", "fall of the clock", "max", edge_s, into),
        Measure("output_high_level", "V", "high level of the clock", "min", rail_v, "under load"),
        Measure("output_low_level", "V", "low level of the clock", "max", rail_v, "under load"),
        Measure(
            "edges_per_cycle",
            "1",
            "clock edges per mains cycle",
            "both",
            1.0,
            "falling edges of the output, each answering a rising edge at the pin",
        ),
        Measure(
            "duty_cycle",
            "1",
            "share of the cycle the clock is high",
            "both",
            1.0,
            "from edge to edge at half the rail, over a whole cycle",
        ),
    )


def _limits(network: LineNetwork, stage: Stage) -> dict[str, tuple[Limit, ...]]:
    edges = transition_limits(stage.clocked, stage.clocked_columns, stage.rail)
    limits = {
        "hysteresis_margin": (
            Limit("guaranteed", 0.0, None, "a turn back as large as the hysteresis is an edge"),
        ),
        "output_rise_time": edges,
        "output_fall_time": edges,
        "output_high_level": (_level_limit(stage, "V_IH"),),
        "output_low_level": (_level_limit(stage, "V_IL"),),
        "edges_per_cycle": (edge_limit(network.front.edges),),
    }
    return {measure: found for measure, found in limits.items() if found}


def _level_limit(stage: Stage, name: str) -> Limit:
    """Return the clocked part's V_IH or V_IL at the lowest rail, where the output is lowest."""
    vdd = stage.rail.low
    figures = [(column, column.figure(name, vdd=vdd)) for column in stage.clocked_columns]
    if name == "V_IH":
        column, figure = max(figures, key=lambda entry: entry[1].low)
    else:
        column, figure = min(figures, key=lambda entry: entry[1].high)
    note = "; ".join(
        word
        for word in (
            f"{column.maker}, at {vdd:g} V",
            figure.note("low" if name == "V_IH" else "high"),
        )
        if word
    )
    low, high = (figure.low, None) if name == "V_IH" else (None, figure.high)
    return Limit(name.lower().replace("_", ""), low, high, str(figure.source), note)


STAGES: Mapping[str, StageKind] = {
    "schmitt": StageKind(
        "Schmitt conditioner",
        _schmitt_scenes,
        "on the simulated part, input ramp of one rail in 20 ms",
        (
            "V_P, V_N and V_H of each maker are taken jointly; no column is mixed with another.",
            "Delay and transition of the output follow its drive: slow where the current is least.",
            "On the mains the part's thresholds are read off the pin's trace as data, and the "
            "clock is drawn from them with the delay of a regenerative stage to so slow an input.",
        ),
    ),
    "own": StageKind(
        "Conditioner, a sub-circuit",
        _own_scenes,
        "at the pin when the output passes half",
        (OWN_NOTE,),
    ),
    "gate": StageKind(
        "Conditioner, a plain gate", _gate_scenes, "at the pin when the output passes half", (NOTE,)
    ),
    "npn": StageKind(
        "Conditioner, a transistor",
        _transistor_scenes,
        "at the pin when the output passes half",
        (TRANSISTOR_NOTE,),
    ),
}
