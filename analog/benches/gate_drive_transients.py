"""A ring wave and a fast burst on the mains while the triac is off: reported, not judged.

The wave stands in series with the mains at its crest, behind its generator's resistance, once on
the design and once without snubber and varistor. What rises across the triac faster than its
static guarantee may fire it for one half-cycle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Curve, Measure, Plot
from analog.benches.gate_drive_off import OffRows, axes_of
from analog.benches.gate_drive_off_measures import average_slope
from analog.benches.gate_drive_phasors import blocking as steady_off
from analog.benches.gate_drive_space import GateNetwork
from analog.benches.gate_drive_states import state_parts
from analog.circuits.disturbances import FAST_BURST, RING_WAVE, Waveform, corners
from analog.circuits.record import Circuit, Element, Experiment, Param, Pwl, Transient
from analog.circuits.space import Floats, Space
from analog.circuits.triac_states import blocking
from analog.engine import Run

LEAD_S, LASTS_S = 1e-6, 40e-6
LARGEST_STEP_S = 0.1e-6

OUTPUTS = ("peak_v", "slope_v_per_s")

_HARD = {
    "mains.voltage": 1.0,
    "load.power": -1.0,
    "gate_drive.snubber_resistor": 1.0,
    "gate_drive.snubber_capacitor": -1.0,
    "gate_drive.varistor.V_1mA": 1.0,
}
"""Coordinates at which most reaches the triac; the others are nominal."""


@dataclass(frozen=True, slots=True)
class Wave:
    """A wave of a standard at one level: its form, open-circuit peak (V) and generator (Ω)."""

    name: str
    words: str
    form: Waveform
    peak_v: float
    source_ohm: float


WAVES = (
    Wave("ring_wave", "ring wave, 500 V behind 12 Ω", RING_WAVE, 500.0, 12.0),
    Wave("burst", "burst pulse, 1 kV behind 50 Ω", FAST_BURST, 1000.0, 50.0),
)
"""Line to line, level 2 of IEC 61000-4-12 and, as if it were not common mode, of IEC 61000-4-4
(both from memory)."""


@dataclass(frozen=True, slots=True)
class OffTransient:
    """One wave on one circuit: what the trial needs. `bare` is without snubber and varistor."""

    network: GateNetwork
    wave: Wave
    bare: bool
    experiment: Experiment
    space: Space

    @property
    def identifier(self) -> str:
        return f"{self.wave.name.replace('_', '-')}{'-bare' if self.bare else ''}"

    @property
    def title(self) -> str:
        without = ", snubber and varistor left out" if self.bare else ""
        return f"Off at the crest: {self.wave.words}{without}"

    @property
    def measures(self) -> tuple[tuple[str, str], ...]:
        """Return (measure, output) of this trial."""
        ending = "_bare" if self.bare else ""
        return (
            (f"{self.wave.name}_peak{ending}", "peak_v"),
            (f"{self.wave.name}_dvdt{ending}", "slope_v_per_s"),
        )

    @property
    def plots(self) -> tuple[Plot, ...]:
        curve = Curve("v(mt2)", "across the triac", "V")
        return (Plot(self.title, self.measures[0][0], (curve,)),)

    def derive(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows: the steady state at the crest, and the wave."""
        rows = OffRows(self.network).common(values)
        rows["r_source"] = rows["r_source"] + self.wave.source_ohm
        phase = np.full(np.shape(rows["period"]), math.pi / 2)
        fixed = {
            "mains_phase_deg": 90.0,
            "t_wave": LEAD_S,
            "v_wave": self.wave.peak_v,
            "stop": LASTS_S,
            "step": LARGEST_STEP_S,
        }
        filled = {name: np.full(np.shape(phase), value) for name, value in fixed.items()}
        return rows | steady_off(rows).start(phase) | filled

    def points(self) -> tuple[Floats, Floats]:
        """Return the nominal and the hard corner; shape (axes,) each."""
        keys = self.space.keys
        return np.zeros(len(keys)), np.array([_HARD.get(key, 0.0) for key in keys])

    def row(self, point: Floats) -> dict[str, float]:
        """Return the row at one point (axes,)."""
        rows = self.derive(self.space.decode(point[None, :]))
        return {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def off_transients(network: GateNetwork) -> tuple[OffTransient, ...]:
    """Return the trials: each wave on the design, and without snubber and varistor if there are."""
    drive = network.drive
    bare = unprotected(network)
    held = network.snubber or drive.varistor is not None
    kinds = [(network, False), (bare, True)] if held else [(network, False)]
    return tuple(
        OffTransient(of, wave, left_out, _experiment(of, wave), Space(tuple(axes_of(of))))
        for wave in WAVES
        for of, left_out in kinds
    )


def unprotected(network: GateNetwork) -> GateNetwork:
    """Return the network without snubber and varistor."""
    nothing = {"snubber_resistor": None, "snubber_capacitor": None, "varistor": None}
    return replace(network, drive=network.drive.model_copy(update=nothing))


def _experiment(network: GateNetwork, wave: Wave) -> Experiment:
    shape = Pwl(corners(wave.form), Param("t_wave"), Param("v_wave"))
    elements = [
        replace(part, nodes=("sm", part.nodes[1])) if part.reference == "VMAINS" else part
        for part in blocking(state_parts(network))
    ]
    elements.append(Element("VWAVE", "V", ("sa", "sm"), shape))
    return Experiment(
        Circuit(f"Gate drive: {wave.words}", tuple(elements)),
        Transient(Param("stop"), Param("step"), reltol=1e-5, use_initial=True),
        ("v(mt2)",),
        f"{__name__}:rise",
        OUTPUTS,
    )


def rise(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the highest voltage across the triac (V) and the average slope of its rise (V/s)."""
    time, volts = run.time, run.trace("v(mt2)")
    start = float(np.interp(row["t_wave"], time, volts))
    highest = float(np.max(volts))
    after = time >= row["t_wave"]
    slope = average_slope(time[after], volts[after] - start, highest - start)
    return {"peak_v": highest, "slope_v_per_s": slope}


def transient_measures(trials: tuple[OffTransient, ...]) -> tuple[Measure, ...]:
    """Return the measures of the trials; none has a limit unless the design sets one."""
    found = []
    for trial in trials:
        (peak, slope), without = (name for name, _ in trial.measures), ""
        if trial.bare:
            without = ", snubber and varistor left out"
        said = f"at the mains' crest, {trial.wave.words}{without}; reported only"
        found += [
            Measure(peak, "V", f"peak across the triac, {trial.wave.words}{without}", "max",
                    trial.wave.peak_v, said),
            Measure(slope, "V/s", f"rise across the triac, {trial.wave.words}{without}", "max",
                    1e9, f"10 to 63 % of the rise, {said}"),
        ]  # fmt: skip
    return tuple(found)
