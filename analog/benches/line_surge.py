"""The series resistor under a surge on the mains, at either crest.

The surge stands in series with the winding's open-circuit voltage, stepped down by the turns
ratio. Leakage inductance, saturation and the generator's own impedance would only lessen it and
are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from analog.benches.base import Curve, Mark, Measure, Plot, Scene
from analog.benches.line_network import MAINS_V, LineNetwork, saves
from analog.benches.line_sense_measures import series_drop
from analog.circuits.disturbances import LARGEST_STEP_S, SURGE_VOLTAGE, corners
from analog.circuits.record import Circuit, Element, Experiment, Param, Pwl, Sine, Transient
from analog.circuits.sense_fronts import CREST_DEG
from analog.circuits.space import Axis, Floats, Space
from analog.engine import Run
from analog.measures import peak

MEASURE = "series_resistor_surge"

SURGE_V = 1000.0
"""Open-circuit peak between the lines: level 2 of IEC 61000-4-5, what IEC 61000-6-1 asks of the
mains input of household equipment (both from memory)."""

LEAD_S = 20e-6
"""From the crest to the surge."""

LASTS_S = 150e-6
"""After the second crest: the surge has fallen under an eighth of its peak by then."""

OUTPUTS = (MEASURE, "t_worst")


@dataclass(frozen=True, slots=True)
class SurgeDerive:
    """The rows of the settled cycle, with those of the surge."""

    settled: Callable[[Mapping[str, Floats]], Mapping[str, Floats]]
    network: LineNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = dict(self.settled(values))
        half_cycle = 0.5 / rows["f_mains"]
        crest_v = math.sqrt(2) * values[MAINS_V]
        return rows | {
            "v_surge": SURGE_V * rows["v_peak"] / crest_v,
            "v_sink": -SURGE_V * rows["v_peak"] / crest_v,
            "t_surge": 0 * half_cycle + LEAD_S,
            "t_sink": half_cycle + LEAD_S,
            "t_stop": half_cycle + LASTS_S,
            "t_step": 0 * half_cycle + LARGEST_STEP_S,
        }


def surge_scene(
    network: LineNetwork,
    circuit: Circuit,
    axes: tuple[Axis, ...],
    settled: Callable[[Mapping[str, Floats]], Mapping[str, Floats]],
) -> Scene:
    """Return the scene of one surge at each crest, on the filter `circuit`."""
    plot = Plot(
        "Surge at the crest of the mains",
        MEASURE,
        (Curve("v(sense)", "sensed point", "V"), Curve("v(pin)", "receiver pin", "V")),
        marks=(Mark("worst", "t_worst", "v(sense)"),),
    )
    return Scene(
        "surge",
        "A surge on the mains, at either crest",
        _experiment(circuit, saves(network.parts)),
        Space(axes),
        SurgeDerive(settled, network),
        (MEASURE,),
        (plot,),
    )


def surge_measure(network: LineNetwork) -> Measure:
    """Return the measure; its scale is the surge as it stands at the winding."""
    return Measure(
        MEASURE,
        "V",
        "surge across the series resistor",
        "max",
        SURGE_V * network.winding.voltage_v / network.mains.voltage,
        f"largest instantaneous value with {SURGE_V:g} V, 1.2/50 µs, between the mains lines",
    )


def largest_across(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the largest voltage (V) across the series resistor and when it stands there (s)."""
    del row
    across = series_drop(run)
    return {MEASURE: peak(across), "t_worst": float(run.time[abs(across).argmax()])}


def _experiment(circuit: Circuit, saved: tuple[str, ...]) -> Experiment:
    return Experiment(
        _surged(circuit),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-5, trtol=3.0, use_initial=True),
        saved,
        f"{__name__}:largest_across",
        OUTPUTS,
    )


def _surged(circuit: Circuit) -> Circuit:
    """Return the circuit with both surges in series with the winding's voltage."""
    line = circuit.element("VLINE")
    if not isinstance(line.value, Sine):
        raise ValueError("the sensed winding is no sine source")
    at_crest = replace(line.value, phase_deg=CREST_DEG)
    top, bottom = line.nodes
    shape = corners(SURGE_VOLTAGE)
    added = (
        replace(line, nodes=(top, "lifted"), value=at_crest),
        Element("VSURGE", "V", ("lifted", "sunk"), Pwl(shape, Param("t_surge"), Param("v_surge"))),
        Element("VSINK", "V", ("sunk", bottom), Pwl(shape, Param("t_sink"), Param("v_sink"))),
    )
    others = tuple(one for one in circuit.elements if one.reference != "VLINE")
    return replace(circuit, elements=(*added, *others))
