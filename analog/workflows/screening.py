"""Changed designs before an engine: a few known worst cases each, many designs in one batch.

A worst case is a point in coordinates (which part at which end of its range), so it means the
same in a changed design. Whatever is found there lies inside what the parts guarantee: a design
that fails a screening fails, one that passes may still fail elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analog.advice.changes import ChangeSet, edits_of
from analog.advice.editing import edited_text
from analog.advice.search import Score
from analog.benches.base import Measure, Plan, Scene
from analog.benches.trials import same_trials, trials_in
from analog.circuits.record import Experiment
from analog.circuits.space import Floats, Space
from analog.design import Design, parse_design
from analog.engine import Engine
from analog.errors import EdgeproofError
from analog.results.records import MeasureRow
from analog.verdicts import Limit, judge
from analog.workflows.check import make_plans
from analog.workflows.checked import CheckedBench
from analog.workflows.judging import merged_limits
from analog.workflows.scenes import parameter_rows

Point = tuple[tuple[str, float], ...]
"""Coordinates by axis key; an axis that is not named stands at its nominal."""

NOMINAL: Point = ()


def limit_name(bench: str, measure: str, limit: str) -> str:
    """Return the name of one limit: ``reset.hold_time.reset_pulse``."""
    return f"{bench}.{measure}.{limit}"


def gap(
    share: float | None,
    minimum: float | None,
    maximum: float | None,
    unit: str,
    required: float,
) -> float:
    """Return the share left over the required one; −inf where the thing never happened.

    A count (whole ends, no unit) and a limit with equal ends can be met but not exceeded: where
    they are met the gap is +inf, whatever the margin required.
    """
    if share is None:
        return -math.inf
    ends = [end for end in (minimum, maximum) if end is not None]
    counted = unit == "1" and all(float(end).is_integer() for end in ends)
    if counted or (len(ends) == 2 and ends[0] == ends[1]):
        return math.inf if share >= 0 else share
    return share - required


def score_of(benches: Iterable[CheckedBench], required: float) -> Score:
    """Return the score of benches that were checked in full; undecided is never kept."""
    gaps = {}
    for bench in benches:
        for row in bench.result.measures:
            if row.limit is not None:
                name = limit_name(bench.plan.bench, row.measure, row.limit.id)
                gaps[name] = row_gap(row, required)
    return Score(gaps)


def row_gap(row: MeasureRow, required: float) -> float:
    """Return the share by which a row's limit is kept beyond what is required."""
    if row.limit is None or row.verdict == "undecided":
        return -math.inf
    return gap(row.margin_share, row.limit.min, row.limit.max, row.unit, required)


@dataclass(frozen=True, slots=True)
class Variant:
    """A changed design with its plans; `barred` says why there can be no such design."""

    changes: ChangeSet
    design: Design | None
    plans: tuple[Plan, ...]
    barred: str = ""


def variant(base: Design, changes: ChangeSet, filename: str) -> Variant:
    """Return the design with the changes made, or why it cannot be."""
    text = edited_text(base.text, edits_of(changes))
    try:
        design = parse_design(text, filename)
        return Variant(changes, design, make_plans(design, None, filename))
    except EdgeproofError as error:
        return Variant(changes, None, (), str(error).splitlines()[0])


@dataclass(slots=True)
class Screener:
    """Screens changed designs and remembers worst cases and every value already simulated.

    `asked` counts the rows wanted once each, `simulated` those no store had, `spent_s` the
    processor time the workers spent on them.
    """

    engine: Engine
    base: Design
    filename: str
    benches: frozenset[str]
    required: float
    points: dict[tuple[str, str], dict[Point, bool]] = field(default_factory=dict)
    asked: int = 0
    simulated: int = 0
    spent_s: float = 0.0
    told: Callable[[int], None] | None = None
    _memory: list[tuple[Experiment, tuple[str, ...], dict[bytes, Floats]]] = field(
        default_factory=list
    )

    def learn(self, checked: CheckedBench) -> None:
        """Take over the worst cases of a bench that was checked in full, the failing ones first."""
        limits = merged_limits(checked.plan, self.base.limits)
        for scene in checked.scenes:
            known = self.points.setdefault((checked.plan.bench, scene.scene.identifier), {})
            outputs = scene.scene.experiment.outputs
            for extreme in scene.extremes.worst:
                measure = outputs[extreme.objective.output]
                if limits.get(measure):
                    point = _point(scene.scene.space, extreme.point)
                    known[point] = known.get(point, False) or self._short(checked, measure)

    def _short(self, checked: CheckedBench, measure: str) -> bool:
        rows = (row for row in checked.result.measures if row.measure == measure and row.limit)
        return any(not row_gap(row, self.required) >= 0 for row in rows)

    def __call__(self, wanted: Sequence[ChangeSet], fully: bool) -> list[Score]:
        """Return the scores of sets of changes, see `analog.advice.search.Screen`."""
        variants = [variant(self.base, changes, self.filename) for changes in wanted]
        return self.scores(variants, fully)

    def scores(self, variants: Sequence[Variant], fully: bool = True) -> list[Score]:
        """Screen variants; without `fully` only those that stand the failing cases see the rest."""
        gaps: list[dict[str, float]] = [{} for _ in variants]
        for first in (True, False):
            alive = [
                index
                for index, one in enumerate(variants)
                if not one.barred and (fully or first or Score(gaps[index]).works)
            ]
            self._round([(variants[i], gaps[i]) for i in alive], first)
        return [Score(own, one.barred) for own, one in zip(gaps, variants, strict=True)]

    def _round(self, alive: Sequence[tuple[Variant, dict[str, float]]], first: bool) -> None:
        """Look at the failing cases of every design (`first`) or at all others, in few batches."""
        jobs = [
            (plan, scene, own, np.array(points))
            for one, own in alive
            for plan in one.plans
            if plan.bench in self.benches
            for scene in plan.scenes
            if (points := self._wanted(plan, scene, first))
        ]
        values = self._run([(scene, points) for _, scene, _, points in jobs])
        for (plan, scene, own, _), found in zip(jobs, values, strict=True):
            self._judge(plan, scene, found, own)

    def _wanted(self, plan: Plan, scene: Scene, first: bool) -> list[list[float]]:
        known = self.points.get((plan.bench, scene.identifier), {})
        chosen = [point for point, failing in known.items() if failing == first]
        if not first:
            chosen = [NOMINAL, *chosen]
        return [_coordinates(scene.space, point) for point in dict.fromkeys(chosen)]

    def _judge(self, plan: Plan, scene: Scene, values: Floats, gaps: dict[str, float]) -> None:
        limits = merged_limits(plan, self.base.limits)
        measures = {measure.identifier: measure for measure in plan.measures}
        for name in scene.measures:
            column = values[:, scene.experiment.outputs.index(name)]
            for limit in limits.get(name, ()):
                key = limit_name(plan.bench, name, limit.identifier)
                left = min(self._gap(v, limit, measures[name]) for v in column.tolist())
                gaps[key] = min(left, gaps.get(key, math.inf))

    def _gap(self, value: float, limit: Limit, measure: Measure) -> float:
        share = judge(value, limit, measure.scale).margin_share
        return gap(share, limit.minimum, limit.maximum, measure.unit, self.required)

    def _run(self, jobs: Sequence[tuple[Scene, Floats]]) -> list[Floats]:
        """Return the outputs (points, outputs) of every job; one engine batch per experiment."""
        ready = [(scene, *parameter_rows(scene, points)) for scene, points in jobs]
        memories = [self._recall(scene.experiment, names) for scene, names, _ in ready]
        pending: dict[int, tuple[Experiment, tuple[str, ...], dict[bytes, Floats]]] = {}
        rows: dict[int, dict[bytes, Floats]] = {}
        for (_, _, table), memory in zip(ready, memories, strict=True):
            pending[id(memory[2])] = memory
            fresh = rows.setdefault(id(memory[2]), {})
            fresh.update((row.tobytes(), row) for row in table if row.tobytes() not in memory[2])
        for key, (experiment, names, known) in pending.items():
            if rows[key]:
                known.update(self._simulate(experiment, names, rows[key]))
        return [
            np.array([memory[2][row.tobytes()] for row in table])
            for (_, _, table), memory in zip(ready, memories, strict=True)
        ]

    def _recall(
        self, experiment: Experiment, names: tuple[str, ...]
    ) -> tuple[Experiment, tuple[str, ...], dict[bytes, Floats]]:
        for memory in self._memory:
            if memory[1] == names and memory[0] == experiment:
                return memory
        self._memory.append((experiment, names, {}))
        return self._memory[-1]

    def _simulate(
        self, experiment: Experiment, names: tuple[str, ...], rows: Mapping[bytes, Floats]
    ) -> Iterator[tuple[bytes, Floats]]:
        """Run rows; a run without data comes back as NaN, which no limit takes for kept."""
        outcomes = self.engine.run(experiment, names, np.array(list(rows.values())))
        self.asked += len(rows)
        self.simulated += outcomes.runs
        self.spent_s += outcomes.busy_s
        if self.told is not None:
            self.told(self.asked)
        return zip(rows, outcomes.values, strict=True)


def _point(space: Space, coordinates: Floats) -> Point:
    return tuple(zip(space.keys, coordinates.tolist(), strict=True))


def _coordinates(space: Space, point: Point) -> list[float]:
    held = dict(point)
    return [held.get(key, 0.0) for key in space.keys]


def same_bench(one: Plan, other: Plan) -> bool:
    """Tell whether two plans of a bench simulate and judge the same.

    They do when experiments, limits and spaces agree and coordinates become the same rows, tried
    at the nominal, at both ends of everything and at points between.
    """
    if (one.measures, one.limits) != (other.measures, other.limits):
        return False
    if len(one.scenes) != len(other.scenes):
        return False
    if not same_trials(trials_in(one), trials_in(other)):
        return False
    return all(_same_scene(a, b) for a, b in zip(one.scenes, other.scenes, strict=True))


def _same_scene(one: Scene, other: Scene) -> bool:
    if one.experiment != other.experiment or one.space.keys != other.space.keys:
        return False
    width = len(one.space.axes)
    between = np.random.default_rng(1).uniform(-1, 1, (6, width))
    probes = np.vstack([np.zeros(width), np.ones(width), -np.ones(width), between])
    (names, rows), (own_names, own_rows) = (parameter_rows(s, probes) for s in (one, other))
    return names == own_names and bool(np.array_equal(rows, own_rows, equal_nan=True))
