"""`sweep`: how many of a hundred boards would work, said with a stated confidence.

Boards are sampled independently, each simulated in every scene of every bench, and judged by the
limits of `check`. A board works when it holds all of them; with several makers' columns it must
work with each. Sampling ends when the claim is proved or refuted, or with the budget. Some
replicates of low-discrepancy boards follow, for distributions and what drives them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from analog.benches.base import Plan
from analog.circuits.space import Floats
from analog.design import Design, read_design
from analog.engine import Engine
from analog.errors import InputError, Problem
from analog.results.records import MeasureRow, Results
from analog.studies.intervals import fewest_boards
from analog.studies.stopping import Claim, Outcome, anytime, decide, fixed, looks, soonest
from analog.workflows.board_runs import BoardRuns, Statuses, no_runs, run_more, tally
from analog.workflows.boards import Boards, boards
from analog.workflows.check import make_plans
from analog.workflows.sweep_profile import (
    POINTS,
    REPLICATES,
    Profile,
    driver_rows,
    profile,
    replicate_numbers,
)
from analog.workflows.sweep_rare import RareByLimit, rare_failure, require_measure
from analog.workflows.sweep_rows import Scale, Verdicts, board_verdicts, sweep_results

DEFAULT_BUDGET = 2000

Progress = Callable[[str, int, int], None]
"""Called with what is being done, the simulations done, and the most there will be."""

Announce = Callable[["Forecast"], None]


@dataclass(frozen=True, slots=True)
class Order:
    """What a sweep is asked.

    A claim, and either a fixed number of boards or a budget of them; `rare` names measures
    (``bench.measure``) whose failure probability is wanted where it is too small to count, each
    with at most `rare_runs` simulations a scene.
    """

    claim: Claim = field(default_factory=Claim)
    samples: int | None = None
    budget: int = DEFAULT_BUDGET
    rare: tuple[str, ...] = ()
    rare_runs: int = 5000

    @property
    def most(self) -> int:
        """The most boards there will be."""
        return self.samples if self.samples is not None else self.budget

    @property
    def fewest(self) -> int:
        """The fewest boards that can prove the claim."""
        if self.samples is None:
            return soonest(self.claim)
        return fewest_boards(self.claim.share, self.claim.confidence)


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a sweep will cost, from its first boards: simulations if the claim is proved at the
    first chance, the most there will be, and processor time (s) a simulation."""

    scenes: int
    soonest: int
    most: int
    seconds_each: float


@dataclass(frozen=True, slots=True)
class Swept:
    """A swept design: the results, and every board with what it gave."""

    design: Design
    plans: tuple[Plan, ...]
    order: Order
    seed: int
    outcome: Outcome
    results: Results
    runs: BoardRuns
    numbers: Mapping[str, Floats]
    verdicts: Verdicts

    @property
    def status(self) -> Statuses:
        """What became of every board, shape (boards,)."""
        return self.verdicts.status


def sweep(
    design: Design | Path | str,
    engine: Engine,
    *,
    benches: Sequence[str] | None = None,
    order: Order | None = None,
    seed: int = 0,
    progress: Progress | None = None,
    announce: Announce | None = None,
    filename: str = "design",
) -> Swept:
    """Sweep a design (or the file of one).

    `announce` is called once, after the first boards, with what the sweep will cost. Raises
    InputError as `check` does, and for an order that no outcome could fulfil.
    """
    name = filename if isinstance(design, Design) else str(design)
    record = design if isinstance(design, Design) else read_design(design)
    work = _Work(record, engine, order or Order(), seed, progress, announce)
    require_possible(work.order)
    plans = make_plans(record, benches, name)
    require_measure(plans, work.order.rare)
    fleet = boards(record, plans)
    runs, verdicts = _sampled(work, plans, fleet)
    numbers = fleet.independent(seed, 0, runs.count)
    known = _profiled(work, plans, runs, numbers, verdicts)
    rare = {key: rare_failure(key, record, plans, engine, seed, work.order.rare_runs)
            for key in work.order.rare}  # fmt: skip
    scale = Scale(work.order.claim, work.order.samples is not None)
    results = sweep_results(
        record, engine, seed, runs, numbers, verdicts, scale, _addition(known, rare)
    )
    outcome = _outcome(verdicts, work.order)
    return Swept(record, plans, work.order, seed, outcome, results, runs, numbers, verdicts)


def require_possible(order: Order) -> None:
    """Raise InputError for an order that cannot be fulfilled, before anything is simulated."""
    most, fewest = order.most, order.fewest
    if most >= fewest:
        return
    option = "--budget" if order.samples is None else "--samples"
    rule = (
        f"{most} boards cannot prove {100 * order.claim.share:.6g} % at "
        f"{100 * order.claim.confidence:.6g} % confidence even if all of them work"
    )
    remedy = f"Give {option} {fewest} or more, or claim less"
    raise InputError((Problem("command line", 1, 1, option, str(most), rule, remedy),))


@dataclass(frozen=True, slots=True)
class _Work:
    """What the steps of one sweep have in common."""

    design: Design
    engine: Engine
    order: Order
    seed: int
    progress: Progress | None
    announce: Announce | None


def _sampled(work: _Work, plans: Sequence[Plan], fleet: Boards) -> tuple[BoardRuns, Verdicts]:
    """Run boards up to the look that decides, or all of them."""
    order, runs = work.order, no_runs(fleet)
    stops = list(looks(order.claim, order.most))
    if order.samples is not None:  # the same steps, for progress, but nothing is decided by them
        stops = [*(stop for stop in stops if stop < order.samples), order.samples]
    tell = _told(work.progress, "boards", order.most * len(fleet.scenes))
    verdicts = board_verdicts(runs, plans, work.design)
    for stop in stops:
        first = not runs.count
        numbers = fleet.independent(work.seed, runs.count, stop - runs.count)
        run_more(runs, numbers, work.engine, tell)
        verdicts = board_verdicts(runs, plans, work.design)
        if first and work.announce is not None:
            work.announce(_forecast(runs, order))
        if order.samples is None and _outcome(verdicts, order) != "open":
            break
    return runs, verdicts


def _forecast(runs: BoardRuns, order: Order) -> Forecast:
    scenes, cost = len(runs.scenes), runs.cost
    more = REPLICATES * POINTS
    soon = order.most if order.samples is not None else order.fewest
    each = cost.busy_s / cost.runs if cost.runs else 0.0
    return Forecast(scenes, scenes * (soon + more), scenes * (order.most + more), each)


def _profiled(
    work: _Work,
    plans: Sequence[Plan],
    runs: BoardRuns,
    numbers: Mapping[str, Floats],
    verdicts: Verdicts,
) -> Profile:
    """Run the replicates; their cost is added to that of the boards."""
    fleet = runs.boards
    if not fleet.scenes:
        return Profile()
    more, several = no_runs(fleet), replicate_numbers(runs, work.seed)
    tell = _told(work.progress, "distributions", REPLICATES * POINTS * len(fleet.scenes))
    for one in several:
        run_more(more, one, work.engine, tell)
    runs.cost.add(more.cost)
    joined = {name: np.concatenate([one[name] for one in several]) for name in fleet.coordinates}
    return profile(verdicts, numbers, board_verdicts(more, plans, work.design), joined)


def _addition(
    known: Profile, rare: Mapping[str, RareByLimit]
) -> Callable[[str, int, MeasureRow], MeasureRow]:
    """Return what completes a row by its distribution, its drivers and its rare failures."""

    def add(bench: str, place: int, row: MeasureRow) -> MeasureRow:
        found = known.row(bench, place)
        said = "; ".join(word for word in (row.reason, found.reason) if word)
        return replace(
            row,
            reason=said,
            spread=found.spread,
            drivers=driver_rows(found.drivers),
            rare=rare.get(f"{bench}.{row.measure}", {}).get(row.limit.id) if row.limit else None,
        )

    return add


def _told(progress: Progress | None, what: str, most: int) -> Callable[[int], None] | None:
    return None if progress is None else lambda done: progress(what, done, most)


def _outcome(verdicts: Verdicts, order: Order) -> Outcome:
    counted = tally(verdicts.status)
    interval = (fixed if order.samples is not None else anytime)(counted, order.claim)
    return decide(interval, order.claim)
