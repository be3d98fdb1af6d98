"""From swept boards to results: verdicts of every board, yields, one row per measure and limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

import analog
from analog.benches.base import Plan
from analog.circuits.space import Floats
from analog.design import Design
from analog.engine import Engine
from analog.results.records import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    EngineInfo,
    Expectation,
    LimitRow,
    MeasureRow,
    Results,
    Yield,
)
from analog.studies.stopping import Claim, Tally, anytime, decide, fixed, still_needed
from analog.verdicts import Limit, Verdict, judge
from analog.workflows.board_runs import (
    LOST,
    WORKS,
    BoardRuns,
    Judged,
    SceneRuns,
    Statuses,
    joint,
    judged,
    tally,
)
from analog.workflows.inputs import input_hashes
from analog.workflows.judging import merged_limits

Addition = Callable[[str, int, MeasureRow], MeasureRow]
"""A bench, a row's place in it and the row as the boards give it, to the row as it is reported."""

_VERDICT: dict[str, Verdict] = {"proved": "pass", "refuted": "fail", "open": "undecided"}

ANYTIME = "independent boards, interval valid at every number of boards (mixture martingale)"
EXACT = "independent boards, number fixed beforehand, exact binomial (Clopper-Pearson)"


@dataclass(frozen=True, slots=True)
class BenchVerdicts:
    """One bench: its scenes' runs, every measure judged, and every board's status in it."""

    plan: Plan
    runs: tuple[SceneRuns, ...]
    judged: tuple[Judged, ...]
    status: Statuses

    @property
    def limited(self) -> bool:
        """Tell whether anything is judged at all."""
        return any(one.limit is not None for one in self.judged)


@dataclass(frozen=True, slots=True)
class Verdicts:
    """All benches, and what became of every board in all of them together."""

    benches: tuple[BenchVerdicts, ...]
    status: Statuses


def board_verdicts(runs: BoardRuns, plans: Sequence[Plan], design: Design) -> Verdicts:
    """Judge every board run so far."""
    benches = tuple(_bench_verdicts(runs, plan, design) for plan in plans)
    status = joint([bench.status for bench in benches], runs.count)
    return Verdicts(benches, status)


def _bench_verdicts(runs: BoardRuns, plan: Plan, design: Design) -> BenchVerdicts:
    own = tuple(one for one in runs.scenes if one.scene.plan is plan)
    limits = merged_limits(plan, design.limits)
    found: list[Judged] = []
    for measure in plan.measures:
        giving = [one for one in own if measure.identifier in one.scene.scene.measures]
        for limit in limits[measure.identifier] or (None,):
            if giving:
                found.append(judged(giving, measure, limit))
    # A run without data is never a pass, even where its scene's measures have no limit.
    lost = [np.where(one.failed, LOST, WORKS).astype(np.int8) for one in own]
    status = joint([*(one.status for one in found), *lost], runs.count)
    return BenchVerdicts(plan, own, tuple(found), status)


def sweep_results(
    design: Design,
    engine: Engine,
    seed: int,
    runs: BoardRuns,
    numbers: Mapping[str, Floats],
    verdicts: Verdicts,
    scale: Scale,
    add: Addition,
) -> Results:
    """Return the results of a sweep; `add` fills in what is known of a row besides its boards."""
    expect = design.expect
    benches = tuple(_bench_result(bench, numbers, scale, add) for bench in verdicts.benches)
    limited = any(bench.limited for bench in verdicts.benches)
    counted = tally(verdicts.status)
    return Results(
        SCHEMA,
        analog.__version__,
        EngineInfo(engine.name, engine.version),
        DesignInfo(design.name, design.title, design.sha256),
        input_hashes(design, (bench.plan for bench in verdicts.benches)),
        seed,
        scale.verdict(counted) if limited else None,
        None if expect is None else Expectation(expect.verdict, tuple(expect.fails)),
        scale.yield_of(counted, runs.failed_runs) if limited else None,
        benches,
    )


@dataclass(frozen=True, slots=True)
class Scale:
    """What counts are weighed by: the claim, and how the number of boards came about."""

    claim: Claim
    in_advance: bool

    def verdict(self, counted: Tally) -> Verdict:
        """Return pass for a proved claim, fail for a refuted one."""
        interval = (fixed if self.in_advance else anytime)(counted, self.claim)
        return _VERDICT[decide(interval, self.claim)]

    def yield_of(self, counted: Tally, failed_runs: int) -> Yield:
        """Return the yield with its interval."""
        interval = (fixed if self.in_advance else anytime)(counted, self.claim)
        return Yield(
            counted.estimate,
            interval.low,
            interval.high,
            self.claim.confidence,
            counted.boards,
            failed_runs,
            EXACT if self.in_advance else ANYTIME,
        )


def _bench_result(
    bench: BenchVerdicts, numbers: Mapping[str, Floats], scale: Scale, add: Addition
) -> BenchResult:
    lost = sum(int(one.failed.sum()) for one in bench.runs)
    counted = tally(bench.status)
    return BenchResult(
        bench.plan.bench,
        scale.verdict(counted) if bench.limited else None,
        scale.yield_of(counted, lost) if bench.limited else None,
        sum(len(one.values) for one in bench.runs),
        lost,
        tuple(
            add(bench.plan.bench, place, _row(one, bench, numbers, scale))
            for place, one in enumerate(bench.judged)
        ),
    )


def _row(
    one: Judged, bench: BenchVerdicts, numbers: Mapping[str, Floats], scale: Scale
) -> MeasureRow:
    measure, limit = one.measure, one.limit
    giving = [r for r in bench.runs if measure.identifier in r.scene.scene.measures]
    board = _worst_board(one)
    worst = math.nan if board is None else float(one.values[board])
    judgement = None if limit is None or board is None else judge(worst, limit, measure.scale)
    return MeasureRow(
        measure=measure.identifier,
        unit=measure.unit,
        nominal=None,
        worst=None if math.isnan(worst) else worst,
        worst_at={} if board is None else _place(one, giving, numbers, board),
        limit=None
        if limit is None
        else LimitRow(limit.identifier, limit.minimum, limit.maximum, limit.source),
        margin=judgement.margin if judgement else None,
        margin_share=judgement.margin_share if judgement else None,
        verdict=None if limit is None else scale.verdict(one.tally),
        reason=_reason(one, scale),
        samples=len(one.values),
        yield_=None if limit is None else scale.yield_of(one.tally, one.tally.lost),
    )


def _worst_board(one: Judged) -> int | None:
    """Return the index of the worst board, None when none gave data."""
    known = np.flatnonzero(one.scene >= 0)
    if not len(known):
        return None
    never = known[np.isnan(one.values[known])]
    if len(never):
        return int(never[0])
    if one.limit is not None:
        margins = [_margin(float(v), one.limit) for v in one.values[known]]
        return int(known[int(np.argmin(margins))])
    sign = -1.0 if one.measure.worst == "min" else 1.0
    values = np.abs(one.values) if one.measure.worst == "both" else sign * one.values
    return int(known[int(np.argmax(values[known]))])


def _margin(value: float, limit: Limit) -> float:
    ends = (limit.minimum, limit.maximum)
    low = math.inf if ends[0] is None else value - ends[0]
    return min(low, math.inf if ends[1] is None else ends[1] - value)


def _place(
    one: Judged, giving: Sequence[SceneRuns], numbers: Mapping[str, Floats], board: int
) -> dict[str, float]:
    """Return {dotted design key: SI value} of one board in the scene its value comes from."""
    alone = {name: column[board : board + 1] for name, column in numbers.items()}
    values = giving[int(one.scene[board])].scene.values(alone)
    return {key: float(np.broadcast_to(column, 1)[0]) for key, column in values.items()}


def _reason(one: Judged, scale: Scale) -> str:
    """Say how many boards broke the limit, how many gave no data, and what is still needed."""
    counted = one.tally
    never = int((np.isnan(one.values) & (one.scene >= 0)).sum())
    said = []
    if one.limit is not None:
        said.append(f"{counted.failed} of {counted.boards} boards break it")
    if never:
        said.append(f"it never happens on {never} of {counted.boards}")
    if counted.lost:
        said.append(f"{counted.lost} gave no data and count as failures for the lower end")
    if one.limit is not None and one.limit.note:
        said.append(one.limit.note)
    if one.limit is not None and scale.verdict(counted) == "undecided":
        said.append(needed_words(counted, scale.claim))
    return "; ".join(said)


def needed_words(counted: Tally, claim: Claim) -> str:
    """Say how many more boards would decide an open claim."""
    more = still_needed(counted, claim)
    if more is None:
        return "no number of boards within reach would decide it at the rate seen"
    return f"about {more} more boards would decide it at the rate seen"
