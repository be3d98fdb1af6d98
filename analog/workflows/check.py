"""`check`: the nominal and the guaranteed extremes of every bench of a design, judged.

One search per scene; scenes that give the same measure (the columns of several makers) compete,
and only those that can still hold the worst are searched to the end. A bench never exceeds
`MOST_RUNS` simulations.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import analog
from analog.benches import BENCHES
from analog.benches.base import Measure, Plan, Scene
from analog.design import Design, problem_at, read_design
from analog.engine import Engine
from analog.errors import InputError, Problem
from analog.results.records import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    EngineInfo,
    Expectation,
    MeasureRow,
    Results,
)
from analog.studies.archive import Objective
from analog.studies.extremes import Extremes, outcome
from analog.studies.search import Search
from analog.verdicts import Limit, combine
from analog.workflows.boards import spread_problems
from analog.workflows.checked import Case, Checked, CheckedBench, CheckedScene
from analog.workflows.fine import fine_rows
from analog.workflows.inputs import input_hashes
from analog.workflows.judging import Found, merged_limits, rows, sides
from analog.workflows.scenes import SceneRunner, case
from analog.workflows.trials import run_trials

MOST_RUNS = 1500
"""Simulations a bench may take."""

REACH = 0.4
"""A scene is searched on for a measure while its best so far, plus this share of the span it
has shown, passes the best of the other scenes."""

Progress = Callable[[str, int, int], None]
"""Called with the bench's title, the runs done in it, and the most there will be."""


def check(
    design: Design | Path | str,
    engine: Engine,
    *,
    benches: Sequence[str] | None = None,
    fine: bool = False,
    seed: int = 0,
    progress: Progress | None = None,
    filename: str = "design",
) -> Checked:
    """Check a design (or the file of one) at its guaranteed extremes.

    `benches` names those to run (default: every one whose section is present). With `fine` the
    nominal and worst cases are run again with a tenth of the step, for comparison. Raises
    InputError for a design that cannot be read, a bench it does not have, or a limit of the
    design's own that suits no measure; `filename` is what its problems name for a `Design`.
    """
    name = filename if isinstance(design, Design) else str(design)
    record = design if isinstance(design, Design) else read_design(design)
    plans = make_plans(record, benches, name)
    checked = tuple(check_bench(plan, record, engine, seed, progress) for plan in plans)
    return Checked(
        record,
        gathered(record, engine, seed, checked),
        checked,
        fine_rows(checked, engine) if fine else (),
    )


def make_plans(
    design: Design, benches: Sequence[str] | None = None, filename: str = "design"
) -> tuple[Plan, ...]:
    """Return the plan of every bench to run; InputError as `check` says. Runs nothing."""
    present = [bench for bench in BENCHES if bench.runs_on(design)]
    if benches is not None:
        _refuse_absent(benches, [bench.identifier for bench in present], filename)
    plans = tuple(bench.plan(design) for bench in present)
    problems = (
        *limit_problems(design, plans, filename),
        *spread_problems(design, plans, filename),
    )
    if problems:
        raise InputError(problems)
    return tuple(plan for plan in plans if benches is None or plan.bench in benches)


def _refuse_absent(wanted: Sequence[str], present: Sequence[str], filename: str) -> None:
    rule, remedy = "the design has no such bench", f"It has: {', '.join(present) or 'none'}"
    absent = [name for name in wanted if name not in present]
    if absent:
        raise InputError(tuple(Problem(filename, 1, 1, "bench", n, rule, remedy) for n in absent))


def limit_problems(
    design: Design, plans: Sequence[Plan], filename: str = "design"
) -> tuple[Problem, ...]:
    """Return what is wrong with the design's own limits, seen from the measures there are."""
    measures = {f"{p.bench}.{m.identifier}": m for p in plans for m in p.measures}
    problems = []
    for index, override in enumerate(design.limits):
        key = f"limits[{index}].measure"
        measure = measures.get(override.measure)
        if measure is None:
            near = difflib.get_close_matches(override.measure, measures, 3, 0.0)
            remedy = f"The nearest are {', '.join(near)}"
            problems.append(problem_at(design, filename, key, "no such measure here", remedy))
        elif override.unit not in (measure.unit, "1"):
            rule = f"the limit is in {override.unit}, the measure in {measure.unit}"
            remedy = f"Write the limit in {measure.unit}, or as a plain SI number"
            problems.append(problem_at(design, filename, key, rule, remedy))
    return tuple(problems)


def check_bench(
    plan: Plan,
    design: Design,
    engine: Engine,
    seed: int = 0,
    progress: Progress | None = None,
    most_runs: int = MOST_RUNS,
) -> CheckedBench:
    """Search every scene of a plan with at most `most_runs` runs and judge what was found."""
    limits = merged_limits(plan, design.limits)
    measures = {measure.identifier: measure for measure in plan.measures}
    tried = run_trials(plan, engine, lambda done: _tell(progress, plan, done))
    hunts = [Hunt(scene, measures, limits, engine, seed) for scene in plan.scenes]
    share_runs(hunts, most_runs - tried.runs, lambda done: _tell(progress, plan, tried.runs + done))
    found = [*(one for hunt in hunts for one in hunt.found()), *tried.found]
    judged: list[MeasureRow] = []
    worst: dict[str, Case] = {}
    for name, measure in measures.items():
        own = [one for one in found if one.measure == name]
        pairs = rows(measure, limits[name], own)
        judged += [row for row, _ in pairs]
        gravest = min(pairs, key=lambda pair: _order(pair[0]))[1]
        if gravest is not None:
            worst[name] = gravest
    result = BenchResult(
        plan.bench,
        combine(row.verdict for row in judged),
        None,
        sum(hunt.search.archive.runs for hunt in hunts) + tried.runs,
        sum(len(hunt.runner.failed) for hunt in hunts) + tried.failed_runs,
        tuple(judged),
        tried.disturbances,
    )
    scenes = tuple(hunt.checked() for hunt in hunts)
    return CheckedBench(plan, scenes, worst, result, tried.scenes)


def _tell(progress: Progress | None, plan: Plan, done: int) -> None:
    if progress is not None:
        progress(plan.title, done, MOST_RUNS)


def _order(row: MeasureRow) -> tuple[int, float]:
    """Order rows of one measure, gravest first."""
    grave = {"fail": 0, "undecided": 1, "pass": 2, None: 3}[row.verdict]
    if row.margin_share is None:
        return grave, float("-inf")
    return grave, row.margin_share


class Hunt:
    """The search of one scene together with what its objectives mean."""

    def __init__(
        self,
        scene: Scene,
        measures: dict[str, Measure],
        limits: dict[str, tuple[Limit, ...]],
        engine: Engine,
        seed: int,
    ) -> None:
        self.scene = scene
        self.runner = SceneRunner(scene, engine)
        self.aims = tuple(
            (name, side) for name in scene.measures for side in sides(measures[name], limits[name])
        )
        outputs = scene.experiment.outputs
        objectives = tuple(
            Objective(outputs.index(name), side, measures[name].scale) for name, side in self.aims
        )
        self.search = Search(scene.space, self.runner, objectives, 1, seed)

    def found(self) -> tuple[Found, ...]:
        """Return one entry per measure and side."""
        extremes, nominal = outcome(self.search), self.nominal(outcome(self.search))
        failure = self.runner.failed[0].reason if self.runner.failed else ""
        return tuple(
            Found(
                measure,
                side,
                self.scene.title,
                None
                if extreme.value is None
                else case(self.scene, extreme.point, extremes.values[extreme.row], False),
                nominal,
                dict(zip(self.scene.space.keys, extreme.effects.tolist(), strict=True)),
                extreme.settled,
                extremes.runs,
                extremes.failed_runs,
                failure,
            )
            for (measure, side), extreme in zip(self.aims, extremes.worst, strict=True)
        )

    def nominal(self, extremes: Extremes) -> Case:
        """Return the case of the nominal, which is always the first run."""
        failed = bool(extremes.failed[0])
        return case(self.scene, extremes.points[0], extremes.values[0], failed)

    def checked(self) -> CheckedScene:
        """Return the scene's own record: per measure the side farther from the nominal."""
        extremes, worst = outcome(self.search), dict[str, Case]()
        scores: dict[str, float] = {}
        for (measure, _), extreme in zip(self.aims, extremes.worst, strict=True):
            own = extreme.objective.scores(extremes.values, extremes.failed)
            distance = float(own[extreme.row] - own[0]) if extreme.row else 0.0
            if extreme.value is not None and distance >= scores.get(measure, 0.0):
                scores[measure] = distance
                values = extremes.values[extreme.row]
                worst[measure] = case(self.scene, extreme.point, values, False)
        return CheckedScene(
            self.scene,
            self.nominal(extremes),
            worst,
            extremes,
            tuple(self.runner.failed),
            self.runner.retried,
        )


def share_runs(hunts: Sequence[Hunt], budget: int, tell: Callable[[int], None]) -> None:
    """Survey every scene with an equal share, then settle those that can hold a worst."""
    for index, hunt in enumerate(hunts):
        before = _done(hunts)
        hunt.search.archive.budget = max(1, (budget - before) // (len(hunts) - index))
        hunt.search.archive.progress = _offset(tell, before)
        hunt.search.survey()
    weights = [len(_promising(hunt, hunts)) * hunt.search.width for hunt in hunts]
    for index, hunt in enumerate(hunts):
        wanted = _promising(hunt, hunts)
        before = _done(hunts)
        rest = sum(weights[index:]) or 1
        archive = hunt.search.archive
        archive.budget = archive.runs + (budget - before) * weights[index] // rest
        archive.progress = _offset(tell, before - archive.runs)
        hunt.search.settle(wanted)


def _done(hunts: Iterable[Hunt]) -> int:
    return sum(hunt.search.archive.runs for hunt in hunts)


def _offset(tell: Callable[[int], None], before: int) -> Callable[[int], None]:
    return lambda runs: tell(before + runs)


def _promising(hunt: Hunt, hunts: Sequence[Hunt]) -> list[int]:
    """Return the objectives of a scene that no other scene has clearly beaten."""
    rivals = [other for other in hunts if other is not hunt]
    wanted = []
    for index, aim in enumerate(hunt.aims):
        theirs = [r.search.score(r.aims.index(aim)) for r in rivals if aim in r.aims]
        if hunt.search.reach(index, REACH) >= max(theirs, default=float("-inf")):
            wanted.append(index)
    return wanted


def gathered(
    design: Design, engine: Engine, seed: int, benches: tuple[CheckedBench, ...]
) -> Results:
    """Return the results of a design whose benches have been checked."""
    expect = design.expect
    return Results(
        SCHEMA,
        analog.__version__,
        EngineInfo(engine.name, engine.version),
        DesignInfo(design.name, design.title, design.sha256),
        input_hashes(design, (bench.plan for bench in benches)),
        seed,
        combine(bench.result.verdict for bench in benches),
        None if expect is None else Expectation(expect.verdict, tuple(expect.fails)),
        None,
        tuple(bench.result for bench in benches),
    )
