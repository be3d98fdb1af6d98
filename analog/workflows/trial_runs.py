"""Runs of trials: rows given one by one to the engine, and what came of them by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analog.benches.base import Scene
from analog.circuits.record import Experiment
from analog.circuits.space import Floats
from analog.engine import Engine
from analog.studies import Extremes
from analog.workflows.checked import Case, CheckedScene, FailedRun
from analog.workflows.judging import Found, Side

Row = Mapping[str, float]


@dataclass(slots=True)
class TrialRunner:
    """Runs rows of trials, counts them and keeps what gave no data.

    `told` is called with the runs done so far after every batch.
    """

    engine: Engine
    told: Callable[[int], None] | None = None
    runs: int = 0
    failed: list[FailedRun] = field(default_factory=list)

    def __call__(
        self, experiment: Experiment, rows: Sequence[Row], scene: str
    ) -> list[dict[str, float]]:
        """Return each row's outputs by name, all NaN for a run without data."""
        if not rows:
            return []
        names = tuple(rows[0])
        table = np.array([[row[name] for name in names] for row in rows])
        outcomes = self.engine.run(experiment, names, table)
        self.runs += len(rows)
        if self.told is not None:
            self.told(self.runs)
        for _, failure in sorted(outcomes.failures.items()):
            lost = FailedRun(scene, failure.kind, failure.reason, {}, failure.netlist)
            self.failed.append(lost)
        return [
            dict(zip(outcomes.outputs, values, strict=True)) for values in outcomes.values.tolist()
        ]


def tried_scene(scene: Scene, nominal: Case, worst: Mapping[str, Case]) -> CheckedScene:
    """Return a scene whose cases came of trials; it has no search to show."""
    width = len(scene.space.axes)
    none: Floats = np.empty((0, len(scene.experiment.outputs)))
    searched = Extremes((), np.empty((0, width)), none, np.empty(0, dtype=np.bool_))
    return CheckedScene(scene, nominal, worst, searched, (), 0)


@dataclass(frozen=True, slots=True)
class Tally:
    """Runs and lost runs that a runner had made when a trial began."""

    runs: int = 0
    failed: int = 0

    @classmethod
    def of(cls, runner: TrialRunner) -> Tally:
        return cls(runner.runs, len(runner.failed))

    def found(
        self,
        what: tuple[str, Side, str],
        cases: tuple[Case, Case | None],
        runner: TrialRunner,
        note: str = "",
    ) -> Found:
        """Return what came of a trial: `what` is measure, side and title, `cases` the nominal
        and the worst (None when it gave no data)."""
        measure, side, title = what
        nominal, worst = cases
        lost = runner.failed[self.failed :]
        reason = lost[0].reason if lost else ""
        runs = runner.runs - self.runs
        return Found(measure, side, title, worst, nominal, {}, True, runs, len(lost), reason, note)
