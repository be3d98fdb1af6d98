"""The trials of the sense line and its receiver, made from the settled line-sense scene.

That scene gives circuit, space and rows, so that whatever it knows of topologies and parts holds
here as well.
"""

from __future__ import annotations

from analog.benches import line_sense
from analog.benches.base import Measure
from analog.benches.immunity import immunity_of
from analog.benches.line_network import line_network
from analog.benches.line_receiver import receiver_of
from analog.benches.trials import Trials
from analog.design import Design

NOISE = "noise_immunity"


def trials_of(design: Design) -> Trials:
    """Return the trials of a design; ValueError without line_sense, mains or a receiver."""
    line = line_sense.plan(design).scenes[0]
    circuit, settling = line.experiment.circuit, line_network(design).settling_cycles
    noise = immunity_of(circuit, line.space, line.derive, receiver_of(design), settling)
    return Trials(noise)


def trial_measures(design: Design) -> tuple[Measure, ...]:
    """Return the measures that the trials give."""
    return (
        Measure(
            NOISE,
            "V",
            "smallest pulse that makes an extra edge",
            "min",
            design.supply.rail.nominal,
            "peak of a pulse in series with the filter's input, before the series resistor, at the "
            "most harmful width, phase and polarity of those tried",
        ),
    )
