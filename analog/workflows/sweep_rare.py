"""How probable a failure is that is too rare to count boards for.

Every distribution here is bounded by what is guaranteed. So where the guaranteed extremes of a
measure pass, nothing fails inside the stated tolerances and there is no probability to estimate.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Measure, Plan
from analog.circuits.space import Floats
from analog.design import Design
from analog.engine import Engine
from analog.errors import InputError, Problem
from analog.results.records import RareFailure
from analog.studies.rare import Rare, rare
from analog.verdicts import Limit
from analog.workflows.board_runs import no_runs, run_more
from analog.workflows.boards import Boards, boards
from analog.workflows.check import check_bench
from analog.workflows.judging import merged_limits

NOTHING_FAILS = "no failure inside the stated tolerances: the guaranteed extremes pass"

RareByLimit = Mapping[str, RareFailure]


def require_measure(plans: Sequence[Plan], wanted: Sequence[str]) -> None:
    """Raise InputError for names that are no limited measure of these plans."""
    known = [
        f"{plan.bench}.{measure}"
        for plan in plans
        for measure in plan.limits
        if plan.limits[measure]
    ]
    problems = []
    for name in wanted:
        if name not in known:
            near = ", ".join(difflib.get_close_matches(name, known, 3, 0.0)) or "none"
            rule, remedy = "the design has no limit on such a measure", f"The nearest are {near}"
            problems.append(Problem("command line", 1, 1, "--rare", name, rule, remedy))
    if problems:
        raise InputError(tuple(problems))


def rare_failure(
    key: str, design: Design, plans: Sequence[Plan], engine: Engine, seed: int, budget: int
) -> RareByLimit:
    """Return {limit: probability of breaking it} of one measure, ``bench.measure``.

    At most `budget` boards a limit, besides the search for the guaranteed extremes.
    """
    bench, _, name = key.partition(".")
    plan = _alone(next(plan for plan in plans if plan.bench == bench), name)
    limits = merged_limits(plan, design.limits)[name]
    extremes = check_bench(plan, design, engine, seed)
    verdicts = {row.limit.id: row.verdict for row in extremes.result.measures if row.limit}
    found: dict[str, RareFailure] = {}
    for limit in limits:
        if verdicts.get(limit.identifier) == "pass":
            runs = extremes.result.runs
            found[limit.identifier] = RareFailure(
                0.0, None, 0.0, 0.0, runs, "guaranteed extremes", NOTHING_FAILS
            )
        else:
            outside = _Outside(boards(design, (plan,)), plan.measures[0], limit, engine)
            estimate = rare(outside, len(outside.fleet.coordinates), budget, seed)
            found[limit.identifier] = _reported(estimate, outside)
    return found


def _alone(plan: Plan, name: str) -> Plan:
    """Return the plan with one measure and the scenes that give it."""
    scenes = tuple(
        replace(scene, measures=(name,)) for scene in plan.scenes if name in scene.measures
    )
    measures = tuple(measure for measure in plan.measures if measure.identifier == name)
    return replace(plan, measures=measures, scenes=scenes)


@dataclass(slots=True)
class _Outside:
    """How far boards, in standard normal coordinates, are beyond one limit, in scales.

    A board that never does the thing, or that gave no data, is beyond all measure: a run that
    failed is never a pass.
    """

    fleet: Boards
    measure: Measure
    limit: Limit
    engine: Engine
    lost: int = 0

    def __call__(self, points: Floats) -> Floats:
        from scipy.special import ndtr

        runs = no_runs(self.fleet)
        shares = np.clip(ndtr(points), 2.0**-60, 1 - 2.0**-53)
        run_more(runs, self.fleet.named(shares), self.engine)
        self.lost += runs.failed_runs
        several = [self._beyond(one.column(self.measure.identifier)) for one in runs.scenes]
        return np.asarray(np.max(several, axis=0))

    def _beyond(self, values: Floats) -> Floats:
        over = np.full(values.shape, -np.inf)
        if self.limit.minimum is not None:
            over = np.fmax(over, self.limit.minimum - values)
        if self.limit.maximum is not None:
            over = np.fmax(over, values - self.limit.maximum)
        return np.where(np.isnan(values), np.inf, over / self.measure.scale)


def _reported(found: Rare, outside: _Outside) -> RareFailure:
    reason = found.reason
    if outside.lost:
        words = f"{outside.lost} simulations gave no data and count as failures"
        reason = "; ".join(word for word in (reason, words) if word)
    return RareFailure(
        found.probability,
        found.variation,
        found.low,
        found.high,
        found.runs,
        found.method,
        reason,
    )
