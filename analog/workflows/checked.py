"""What `check` hands on: the results, and every case needed to draw or export them again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analog.benches.base import Plan, Scene
from analog.design import Design
from analog.results.records import BenchResult, Results
from analog.studies import Extremes


@dataclass(frozen=True, slots=True)
class Case:
    """One simulated set of values of a scene.

    `at` maps dotted design keys to SI values (°C for temperatures); `row` maps parameter names
    to what the engine was given; `values` maps the scene's outputs to what came out, NaN for
    "never happened". `failed` is the reason when the run gave no data, else empty.
    """

    scene: str
    at: Mapping[str, float]
    row: Mapping[str, float]
    values: Mapping[str, float]
    failed: str = ""


@dataclass(frozen=True, slots=True)
class FailedRun:
    """A run without valid data: what kind of failure, why, where, and the netlist as it ran."""

    scene: str
    kind: str
    reason: str
    at: Mapping[str, float]
    netlist: str


@dataclass(frozen=True, slots=True)
class CheckedScene:
    """One scene: its nominal and, by measure of this scene, the worst this scene gives.

    `retried` counts the runs that gave data only in a second way.
    """

    scene: Scene
    nominal: Case
    worst: Mapping[str, Case]
    extremes: Extremes
    failed: tuple[FailedRun, ...]
    retried: int


@dataclass(frozen=True, slots=True)
class FineRow:
    """One measure at one case, as checked and as run again with a far finer simulation.

    `difference` = `fine` - `value` in `unit`; None when either never happened or gave no data.
    `share` is it over the measure's scale.
    """

    bench: str
    measure: str
    unit: str
    case: str
    value: float | None
    fine: float | None
    difference: float | None
    share: float | None


@dataclass(frozen=True, slots=True)
class CheckedBench:
    """One bench of one design: `worst` by measure, over all scenes, as in the results' rows.

    `trials` are the scenes that were tried at a few points instead of being searched.
    """

    plan: Plan
    scenes: tuple[CheckedScene, ...]
    worst: Mapping[str, Case]
    result: BenchResult
    trials: tuple[CheckedScene, ...] = ()

    def scene(self, identifier: str) -> CheckedScene:
        """Return the scene or trial called `identifier`; KeyError when there is none."""
        for scene in (*self.scenes, *self.trials):
            if scene.scene.identifier == identifier:
                return scene
        raise KeyError(identifier)


@dataclass(frozen=True, slots=True)
class Checked:
    """A checked design. `fine` is empty unless the finer simulation was asked for."""

    design: Design
    results: Results
    benches: tuple[CheckedBench, ...]
    fine: tuple[FineRow, ...] = ()

    @property
    def plans(self) -> tuple[Plan, ...]:
        return tuple(bench.plan for bench in self.benches)

    def bench(self, identifier: str) -> CheckedBench:
        """Return the bench called `identifier`; KeyError when it was not checked."""
        for bench in self.benches:
            if bench.plan.bench == identifier:
                return bench
        raise KeyError(identifier)
