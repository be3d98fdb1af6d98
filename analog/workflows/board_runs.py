"""Boards before an engine: every scene of every board, and what became of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analog.benches.base import Measure
from analog.circuits.space import Floats
from analog.engine import Engine
from analog.studies.archive import Flags
from analog.studies.stopping import Tally
from analog.verdicts import Limit
from analog.workflows.boards import Boards, BoardScene

Statuses = np.ndarray[tuple[int, ...], np.dtype[np.int8]]

FAILED, LOST, WORKS = 0, 1, 2
"""What became of a board before a limit: broke it, gave no data, held it. The least counts."""

Tell = Callable[[int], None]
"""Called with the number of simulations done."""


@dataclass(frozen=True, slots=True)
class LostRun:
    """A board that gave no data in a scene: its index, the kind of failure and the reason."""

    board: int
    scene: str
    kind: str
    reason: str


@dataclass(slots=True)
class SceneRuns:
    """What one scene gave: `values` (boards, outputs), `failed` (boards,) without data."""

    scene: BoardScene
    values: Floats
    failed: Flags
    lost: list[LostRun] = field(default_factory=list)

    def column(self, measure: str) -> Floats:
        """Return one measure, shape (boards,); NaN where it never happened or gave no data."""
        return np.asarray(self.values[:, self.scene.scene.experiment.outputs.index(measure)])


@dataclass(slots=True)
class Cost:
    """What the simulations cost: processor time (s) inside ngspice and in the workers."""

    runs: int = 0
    stored: int = 0
    engine_s: float = 0.0
    busy_s: float = 0.0

    def add(self, other: Cost) -> None:
        """Add another cost to this one."""
        self.runs += other.runs
        self.stored += other.stored
        self.engine_s += other.engine_s
        self.busy_s += other.busy_s


@dataclass(slots=True)
class BoardRuns:
    """All scenes of the boards run so far, in the order of their index."""

    boards: Boards
    scenes: tuple[SceneRuns, ...]
    cost: Cost = field(default_factory=Cost)

    @property
    def count(self) -> int:
        return len(self.scenes[0].values) if self.scenes else 0

    @property
    def failed_runs(self) -> int:
        return sum(int(scene.failed.sum()) for scene in self.scenes)


def no_runs(boards: Boards) -> BoardRuns:
    """Return the empty beginning of a run of boards."""
    scenes = tuple(
        SceneRuns(one, np.empty((0, len(one.scene.experiment.outputs))), np.empty(0, np.bool_))
        for one in boards.scenes
    )
    return BoardRuns(boards, scenes)


def run_more(
    runs: BoardRuns, numbers: Mapping[str, Floats], engine: Engine, tell: Tell | None = None
) -> None:
    """Simulate more boards, given by their coordinates, and append what they gave."""
    for own in runs.scenes:
        names, rows = own.scene.rows(numbers)
        done = runs.cost.runs + runs.cost.stored
        outcomes = engine.run(own.scene.scene.experiment, names, rows, _counted(tell, done))
        first = len(own.values)
        failed = np.zeros(len(rows), dtype=np.bool_)
        failed[list(outcomes.failures)] = True
        own.values = np.vstack([own.values, outcomes.values])
        own.failed = np.concatenate([own.failed, failed])
        own.lost += [
            LostRun(first + index, own.scene.scene.identifier, failure.kind, failure.reason)
            for index, failure in sorted(outcomes.failures.items())
        ]
        runs.cost.runs += len(rows) - outcomes.stored
        runs.cost.stored += outcomes.stored
        runs.cost.engine_s += outcomes.engine_s
        runs.cost.busy_s += outcomes.busy_s


def _counted(tell: Tell | None, before: int) -> Callable[[int, int], None] | None:
    return None if tell is None else lambda done, _: tell(before + done)


@dataclass(frozen=True, slots=True)
class Judged:
    """One measure against one of its limits (None: only stated), for every board.

    `values` (boards,) is the worst over the scenes that give it, NaN where it never happened;
    `scene` (boards,) the index of the scene it comes from, -1 where no scene gave data.
    `status` (boards,) is `FAILED`, `LOST` or `WORKS`; all `WORKS` without a limit.
    """

    measure: Measure
    limit: Limit | None
    values: Floats
    scene: np.ndarray[tuple[int, ...], np.dtype[np.intp]]
    status: Statuses

    @property
    def tally(self) -> Tally:
        return tally(self.status)


def judged(runs: Sequence[SceneRuns], measure: Measure, limit: Limit | None) -> Judged:
    """Judge one measure of every board, over the scenes (of one bench) that give it."""
    columns = np.column_stack([one.column(measure.identifier) for one in runs])
    failed = np.column_stack([one.failed for one in runs])
    badness = np.where(failed, -np.inf, _badness(columns, measure, limit))
    worst = np.argmax(badness, axis=1)
    rows = np.arange(len(columns))
    nothing = failed.all(axis=1)
    values = np.where(nothing, np.nan, columns[rows, worst])
    status = np.full(len(columns), WORKS, dtype=np.int8)
    if limit is not None:
        status[failed.any(axis=1)] = LOST
        status[badness[rows, worst] > 0] = FAILED
    return Judged(measure, limit, values, np.where(nothing, -1, worst), status)


def _badness(values: Floats, measure: Measure, limit: Limit | None) -> Floats:
    """Return how far each value is beyond the limit (negative inside); never happened: inf."""
    if limit is None:
        side = {"min": -values, "max": values, "both": np.abs(values)}[measure.worst]
        return np.where(np.isnan(values), np.inf, side)
    beyond = np.full(values.shape, -np.inf)
    if limit.minimum is not None:
        beyond = np.fmax(beyond, limit.minimum - values)
    if limit.maximum is not None:
        beyond = np.fmax(beyond, values - limit.maximum)
    return np.where(np.isnan(values), np.inf, beyond)


def joint(statuses: Sequence[Statuses], boards: int) -> Statuses:
    """Return what became of every board before all limits together."""
    if not statuses:
        return np.full(boards, WORKS, dtype=np.int8)
    return np.asarray(np.min(np.vstack(statuses), axis=0), dtype=np.int8)


def tally(status: Statuses) -> Tally:
    """Count boards that broke a limit and those that gave no data."""
    return Tally(len(status), int((status == FAILED).sum()), int((status == LOST).sum()))
