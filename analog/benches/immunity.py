"""Noise immunity: pulses and sines in series with the filter's input, and what they do.

The noise stands between the sensed point and the series resistor: whatever comes along the
sense line, from the mains or from the board's own wiring. One run holds a train of pulses, one
in each cycle and each a little later in it than the last, so that it tries every phase.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.edge_counts import COUNTS
from analog.benches.line_receiver import Receiver
from analog.benches.threshold_pairs import pair_rows
from analog.circuits.disturbances import LARGEST_STEP_S
from analog.circuits.own_input import STAGE_KEY
from analog.circuits.record import (
    Circuit,
    Element,
    Experiment,
    Param,
    Pulse,
    Sine,
    Stimulus,
    Transient,
)
from analog.circuits.sense_fronts import TAP_KEY
from analog.circuits.space import Floats, Space

MEASURE = "noise_immunity"

PHASES = 14
"""Phases of the mains at which a pulse is tried in the scan."""

FLANK_SHARE = 0.01
"""A pulse's flanks as a share of its width at half height."""

SINE_POINTS = 20
"""Steps in a period of a sine, at the least."""

SINE_KEY = "line_sense.series_resistor"
"""The element at whose input the noise stands, or `TAP_KEY` before a user's own sub-circuit."""

COUNTER = "analog.benches.edge_counts:counts"

Row = Mapping[str, float]
Derive = Callable[[Mapping[str, Floats]], Mapping[str, Floats]]


@dataclass(frozen=True, slots=True)
class Immunity:
    """The noise experiments of a design, made from its settled line-sense scene.

    `settling` is how many cycles an interference needs to be forgotten, at least 1.
    """

    pulses: Experiment
    sines: Experiment
    receiver: Receiver
    space: Space
    derive: Derive
    settling: int

    def rows(self, point: Floats) -> dict[str, float]:
        """Return the row of one point (axes,) of the line-sense space, thresholds included."""
        values = self.space.decode(point[None, :])
        rows = {**self.derive(values)}
        rows |= pair_rows(self.receiver, np.atleast_1d(np.asarray(rows["v_rail"])))
        return {name: float(np.ravel(value)[0]) for name, value in rows.items()}

    def pulse_row(
        self, row: Row, height_v: float, width_s: float, first: float, step: float, count: int
    ) -> dict[str, float]:
        """Return the row of `count` pulses, the first at the share `first` of the cycle behind
        the crest and each `step` of a cycle later than the one before."""
        cycle, flank = 1 / row["f_mains"], FLANK_SHARE * width_s
        start = row["t_start"] + (first % 1.0) * cycle
        period = (self.settling + step) * cycle
        stop = start + (count - 1) * period + width_s + 1.3 * cycle
        return {
            **row,
            "v_noise": height_v,
            "t_noise": start,
            "t_flank": flank,
            "t_flat": width_s - flank,
            "t_period": period,
            **self._times(row, stop),
        }

    def sine_row(self, row: Row, height_v: float, hertz: float, cycles: int) -> dict[str, float]:
        """Return the row of a sine of peak `height_v` that lasts for whole mains cycles."""
        stop = row["t_start"] + (cycles + 0.3) / row["f_mains"]
        times = self._times(row, stop)
        finest = min(times["t_step"], 1 / (SINE_POINTS * hertz))
        return {**row, "v_noise": height_v, "f_noise": hertz, **times, "t_step": finest}

    def _times(self, row: Row, stop: float) -> dict[str, float]:
        cycle = 1 / row["f_mains"]
        return {
            "t_stop": stop,
            "t_step": min(row["t_step"], LARGEST_STEP_S),
            "t_from": row["t_start"] + 0.1 * cycle,
            "t_to": stop - 0.3 * cycle,
        }


def immunity_of(
    circuit: Circuit, space: Space, derive: Derive, receiver: Receiver, settling_cycles: int
) -> Immunity:
    """Return the noise experiments on a circuit of the line sense, with its space and rows.

    `settling_cycles` is for how long the filter remembers. KeyError without a series resistor.
    """
    pulse = Pulse(
        0.0,
        Param("v_noise"),
        Param("t_noise"),
        Param("t_flank"),
        Param("t_flank"),
        Param("t_flat"),
        Param("t_period"),
    )
    sine = Sine(Param("v_noise"), Param("f_noise"))
    return Immunity(
        _experiment(circuit, pulse),
        _experiment(circuit, sine),
        receiver,
        space,
        derive,
        1 + (settling_cycles + 1) // 2,
    )


def _experiment(circuit: Circuit, noise: Stimulus) -> Experiment:
    # What is inside a sub-circuit of the user's starts from the operating point.
    stated = not any(one.key in (TAP_KEY, STAGE_KEY) for one in circuit.elements)
    analysis = Transient(
        Param("t_stop"), Param("t_step"), reltol=1e-3, trtol=7.0, use_initial=stated
    )
    return Experiment(with_noise(circuit, noise), analysis, ("v(pin)",), COUNTER, COUNTS)


def with_noise(circuit: Circuit, noise: Stimulus) -> Circuit:
    """Return the circuit with the noise in series before its series resistor.

    KeyError when no element comes from the design's series resistor, or is where its own
    sub-circuit takes the signal.
    """
    resistor = next((one for one in circuit.elements if one.key in (SINE_KEY, TAP_KEY)), None)
    if resistor is None:
        raise KeyError(SINE_KEY)
    before = resistor.nodes[0]
    source = Element("VNOISE", "V", ("noisy", before), noise)
    moved = replace(resistor, nodes=("noisy", *resistor.nodes[1:]))
    others = tuple(one for one in circuit.elements if one is not resistor)
    return replace(circuit, elements=(*others, source, moved))
