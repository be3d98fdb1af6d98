"""What is compared: one principal transient per bench, what is read off it, how exact it must be.

Accuracy: times within max(1 µs, 0.1 % of the 10-90 % edge they belong to), levels within 0.1 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from analog.benches import BENCHES
from analog.benches.base import Scene
from analog.benches.conditioner_chain import simulated_chain
from analog.benches.conditioner_stage import stages
from analog.benches.line_network import line_network
from analog.benches.line_receiving import receiver_of
from analog.benchmark.reducers import CHAIN_OUTPUTS
from analog.circuits.record import Experiment, Sine, Transient
from analog.design import Design

Row = Mapping[str, float]

SHORTEST_S = 1e-6
SHARE = 1e-3

# Parameters of a row that are moments of the run.
MOMENTS = ("t_start", "t_quarter", "t_end", "t_record", "t_stop")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value both sides must get right.

    `allowed` gives the largest error from the row and the exact outputs; a `moment` is a time
    counted from the start of the run, not an interval or a level.
    """

    name: str
    allowed: Callable[[Row, Row], float]
    moment: bool = False


@dataclass(frozen=True, slots=True)
class Subject:
    """A bench's principal transient.

    `whole` gives the experiment with every part simulated, where ours reads one by its data: it
    is what the usual way and the exact run simulate.
    `derived` makes quantities of what ``.meas`` printed. `settles` tells that the usual way,
    starting from nothing at t = 0, must first run whole mains cycles until the circuit repeats
    itself. `reference` replaces reducer and outputs for the exact run where more is needed.
    `exact_step_s` is the step of the exact run; None for a twentieth of the bench's own.
    """

    bench: str
    scene: str
    quantities: tuple[Quantity, ...]
    readings: tuple[tuple[str, str], ...] = ()
    derived: Callable[[Row, Row], dict[str, float]] | None = None
    settles: bool = False
    reference: tuple[str, tuple[str, ...]] | None = None
    exact_step_s: float | None = 1e-6
    whole: Callable[[Design], Experiment] | None = None

    def find_whole(self, design: Design) -> Scene:
        """Return the scene with every part simulated, for the same rows."""
        scene = self.find(design)
        return scene if self.whole is None else replace(scene, experiment=self.whole(design))

    def find(self, design: Design) -> Scene:
        """Return the scene of a design; ValueError when its bench has none of that name."""
        bench = next(bench for bench in BENCHES if bench.identifier == self.bench)
        for scene in bench.plan(design).scenes:
            if scene.identifier.startswith(self.scene):
                return scene
        raise ValueError(f"{self.bench} has no scene {self.scene}")

    def quantities_of(self, read: Row, row: Row) -> dict[str, float]:
        """Return the quantities from what was read off one run."""
        return dict(read) if self.derived is None else self.derived(read, row)


def _whole_chain(design: Design) -> Experiment:
    """Return the chain of the first maker's column with the model of its part."""
    if design.conditioner is None or design.clocked is None:
        raise ValueError("the design has no conditioner")
    fitted = stages(design, receiver_of(design), design.conditioner, design.clocked)
    return simulated_chain(line_network(design), fitted[0])


def usual_experiment(subject: Subject, scene: Scene, step_s: float, reltol: float) -> Experiment:
    """Return the scene as it is usually run: from t = 0, ngspice's own method and tolerances.

    The circuit is the same; the source starts at its zero, and no start values are given.
    """
    experiment = scene.experiment
    analysis = experiment.analysis
    if not isinstance(analysis, Transient):
        raise ValueError(f"{scene.identifier} is no transient")
    circuit = experiment.circuit
    if subject.settles:
        elements = tuple(
            replace(part, value=replace(part.value, phase_deg=0.0))
            if isinstance(part.value, Sine)
            else part
            for part in circuit.elements
        )
        circuit = replace(circuit, elements=elements)
    default = Transient(analysis.stop_s, step_s, reltol=reltol, trtol=7.0, abstol=1e-12)
    return replace(
        experiment,
        circuit=circuit,
        analysis=default,
        readings=subject.readings or experiment.readings,
    )


def usual_row(subject: Subject, row: Row, cycles: int) -> tuple[dict[str, float], float]:
    """Return the row of the usual run, and by how much (s) its moments come later."""
    if not subject.settles:
        return dict(row), 0.0
    later = (cycles + 0.25) / row["f_mains"] - row["t_start"]
    shifted = {name: row[name] + later for name in MOMENTS}
    return {**row, **shifted, "t_record": 0.0}, later


def _edge(name: str) -> Callable[[Row, Row], float]:
    def allowed(_row: Row, exact: Row) -> float:
        edge = exact[name]
        return SHORTEST_S if math.isnan(edge) else max(SHORTEST_S, SHARE * edge)

    return allowed


def _of_rail(name: str) -> Callable[[Row, Row], float]:
    return lambda row, _exact: SHARE * row[name]


def _itself(name: str) -> Callable[[Row, Row], float]:
    return lambda _row, exact: SHARE * abs(exact[name])


def _of_charging(row: Row, _exact: Row) -> float:
    """0.1 % of the 10-90 % time of the charging capacitor, RC·ln 9."""
    return max(SHORTEST_S, SHARE * math.log(9) * row["r_reset"] * row["c_reset"])


def _firing(read: Row, row: Row) -> dict[str, float]:
    positive, negative = (read.get(f"fired_{side}", math.nan) for side in ("positive", "negative"))
    return {**read, "turn_on_delay": max(positive, negative - row["period"] / 2)}


SUBJECTS = (
    Subject(
        "line_sense",
        "line",
        (
            Quantity("t_high", _edge("rise_time"), moment=True),
            Quantity("t_low", _edge("fall_time"), moment=True),
            Quantity("rise_time", _edge("rise_time")),
            Quantity("fall_time", _edge("fall_time")),
            Quantity("pin_peak", _of_rail("v_rail")),
            Quantity("pin_trough", _of_rail("v_rail")),
        ),
        settles=True,
    ),
    Subject(
        "conditioner",
        "chain",
        (
            Quantity("t_out_rise", _edge("pin_fall"), moment=True),
            Quantity("t_out_fall", _edge("pin_rise"), moment=True),
        ),
        settles=True,
        reference=("analog.benchmark.reducers:chain", CHAIN_OUTPUTS),
        whole=_whole_chain,
    ),
    Subject(
        "reset",
        "power-up",
        (
            Quantity("release_time", _of_charging),
            Quantity("hold_time", _of_charging),
            Quantity("input_at_valid_supply", _of_rail("rail")),
        ),
        # 1 µs would be a million steps; a twentieth is as far below what still changes.
        exact_step_s=None,
    ),
    Subject(
        "gate_drive",
        "firing",
        (
            Quantity("turn_on_delay", lambda _row, _exact: SHORTEST_S),
            Quantity("load_peak_positive", _itself("load_peak_positive")),
            Quantity("load_peak_negative", _itself("load_peak_negative")),
            Quantity("load_rms", _itself("load_rms")),
        ),
        (
            ("fired_positive", "tran when i(vload)={i_l} rise=1"),
            ("fired_negative", "tran when i(vload)=-{i_l} td={0.5*period} fall=1"),
            ("load_peak_positive", "tran max i(vload)"),
            ("load_peak_negative", "tran min i(vload)"),
            ("load_rms", "tran rms i(vload)"),
        ),
        derived=_firing,
    ),
)
