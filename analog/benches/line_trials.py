"""The trials of the sense line and its receiver, made from the settled line-sense scene.

That scene gives circuit, space and rows, so that whatever it knows of topologies and parts holds
here as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from analog.benches import line_sense
from analog.benches.base import Measure, Scene
from analog.benches.disturbances import GROUPS, SERVICE, Disturbance
from analog.benches.disturbances_fast import STRAY_F, Transformer, fast_disturbances
from analog.benches.disturbances_slow import Line, load_switching, slow_disturbances
from analog.benches.immunity import immunity_of
from analog.benches.line_network import LineNetwork, line_network
from analog.benches.line_receiving import receiver_of
from analog.benches.trials import Trials
from analog.cards import transformer_for
from analog.circuits.mains_side import LINE
from analog.circuits.record import GROUND, Sine
from analog.design import Design
from analog.verdicts import Limit

NOISE = "noise_immunity"
EXTRA, MISSING = "extra_edges", "missing_edges"

MAINS_OHM, MAINS_REACTANCE_OHM, MAINS_OHM_AT_V = 0.4, 0.25, 230.0
"""Reference impedance of a public supply of 230 V (IEC 60725, from memory); for other voltages
scaled to the same short-circuit power."""

COLD_FILAMENT_SHARE = 0.1
"""Cold resistance of a filament over its hot one, where the design does not say (from memory)."""


def trials_of(design: Design) -> Trials:
    """Return the trials of a design; ValueError without line_sense, mains or a receiver."""
    scene, network = line_sense.plan(design).scenes[0], line_network(design)
    circuit, settling = scene.experiment.circuit, network.settling_cycles
    noise = immunity_of(circuit, scene.space, scene.derive, receiver_of(design), settling)
    return Trials(noise, tuple(_disturbances(scene, network)))


def _disturbances(scene: Scene, network: LineNetwork) -> Iterator[Disturbance]:
    line = _line(scene, network)
    yield from slow_disturbances(line)
    if network.design.load is not None:
        yield _own_load(line, network)
    yield from fast_disturbances(line, _transformer(network))


def _line(scene: Scene, network: LineNetwork) -> Line:
    source = scene.experiment.circuit.element(LINE)
    if not isinstance(source.value, Sine) or not isinstance(source.value.phase_deg, float | int):
        raise ValueError("the sensed winding is no sine of a known phase")
    top, low = source.nodes
    saves = (f"v({top})",) if low == GROUND else (f"v({top})", f"v({low})")
    return Line(scene.experiment.circuit, saves, float(source.value.phase_deg), network.mains)


def _transformer(network: LineNetwork) -> Transformer:
    """Return the transformer with its usual leakage and its largest interwinding capacitance."""
    winding, mains = network.winding, network.mains
    column = transformer_for(winding.rating_va).columns[0]
    share = column.figure("leakage_share").centre
    return Transformer(
        share * winding.rated_ohm / (2 * math.pi * mains.frequency),
        column.figure("interwinding_capacitance").high,
        winding.voltage_v * (1 + winding.regulation[1]) / mains.voltage,
    )


def _own_load(line: Line, network: LineNetwork) -> Disturbance:
    design, mains = network.design, network.mains
    load = design.load
    if load is None:
        raise ValueError("the design has no load")
    factor = load.power_factor
    current = load.power.high / (load.voltage or mains.voltage) / factor
    if load.kind == "filament":
        current /= load.cold_resistance or COLD_FILAMENT_SHARE
    scale = (mains.voltage / MAINS_OHM_AT_V) ** 2
    drop = MAINS_OHM * factor + MAINS_REACTANCE_OHM * math.sqrt(1 - factor**2)
    share = min(0.9, current * scale * drop / mains.voltage)
    switched = design.supply.switched_current
    more_a = 0.0 if switched is None else switched.high
    words = (
        f"{current:.2g} A switched, which lowers the mains by {100 * share:.2g} %, and "
        f"{1e3 * more_a:g} mA more from the supply"
    )
    return load_switching(line, share, more_a, words, "IEC 60725, from memory")


def trial_measures(design: Design) -> tuple[Measure, ...]:
    """Return the measures that the trials give."""
    rail_v = design.supply.rail.nominal
    noise = Measure(
        NOISE,
        "V",
        "smallest pulse that makes an extra edge",
        "min",
        rail_v,
        "peak of a pulse in series with the filter's input, before the series resistor, at the "
        "most harmful width, phase and polarity of those tried",
    )
    return noise, *(one for group in GROUPS for one in _edge_measures(group))


def measure_name(kind: str, group: str) -> str:
    """Return the measure of extra or missing edges in a group of disturbances."""
    return f"{kind}_{group}" if group else kind


def _edge_measures(group: str) -> Iterator[Measure]:
    words = GROUPS[group]
    for kind, title, what in (
        (EXTRA, "extra edges", "a second edge where one is due"),
        (MISSING, "missing edges", "no edge where one is due"),
    ):
        yield Measure(
            measure_name(kind, group),
            "1",
            f"{title} {words}",
            "max",
            1.0,
            f"{what}, the most in any one disturbance and guaranteed part",
        )


def trial_notes() -> tuple[str, ...]:
    """Return what the trials leave out or take for granted."""
    return (
        "Noise and disturbances are tried at nominal and at stated corners (fast and slow filter, "
        "low and high mains), with typical and guaranteed thresholds read off the same trace.",
        "Slow disturbances stand in series with the winding's open-circuit voltage; fast ones come "
        "through turns ratio, leakage inductance and the largest interwinding capacitance of the "
        f"transformer's card, with {1e12 * STRAY_F:g} pF from the circuit to the plane (common "
        "practice, no source). Saturation of the core would lessen them and is left out.",
        "The rail holds in dips and bursts; interruptions of seconds are the reset's.",
    )


def trial_limits() -> dict[str, tuple[Limit, ...]]:
    """Return the limits of edges under what every public supply brings: none may stray."""
    none = Limit("none", None, 0.0, "one count per mains cycle is the circuit's purpose")
    return {measure_name(kind, SERVICE): (none,) for kind in (EXTRA, MISSING)}
