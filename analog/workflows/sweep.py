"""`sweep`: how many of a hundred boards would work, said with a stated confidence.

Boards are sampled independently, each simulated in every scene of every bench, and judged by the
limits of `check`. A board works when it holds all of them; with several makers' columns it must
work with each. Sampling ends when the claim is proved or refuted, or with the budget.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from analog.benches.base import Plan
from analog.circuits.space import Floats
from analog.design import Design, read_design
from analog.engine import Engine
from analog.errors import InputError, Problem
from analog.results.records import Results
from analog.studies.intervals import fewest_boards
from analog.studies.stopping import Claim, Outcome, anytime, decide, fixed, looks, soonest
from analog.workflows.board_runs import BoardRuns, Statuses, no_runs, run_more, tally
from analog.workflows.boards import Boards, boards
from analog.workflows.check import make_plans
from analog.workflows.sweep_rows import Verdicts, board_verdicts, sweep_results

DEFAULT_BUDGET = 2000

Progress = Callable[[str, int, int], None]
"""Called with what is being done, the simulations done, and the most there will be."""


@dataclass(frozen=True, slots=True)
class Order:
    """What a sweep is asked: a claim, and either a fixed number of boards or a budget of them."""

    claim: Claim = field(default_factory=Claim)
    samples: int | None = None
    budget: int = DEFAULT_BUDGET

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
    filename: str = "design",
) -> Swept:
    """Sweep a design (or the file of one).

    Raises InputError as `check` does, and for an order that no outcome could fulfil.
    """
    name = filename if isinstance(design, Design) else str(design)
    record = design if isinstance(design, Design) else read_design(design)
    wanted = order or Order()
    require_possible(wanted)
    plans = make_plans(record, benches, name)
    fleet = boards(record, plans)
    runs, verdicts = _sampled(record, plans, fleet, engine, wanted, seed, progress)
    numbers = fleet.independent(seed, 0, runs.count)
    outcome = _outcome(verdicts, wanted)
    results = sweep_results(record, plans, engine, seed, runs, numbers, verdicts, wanted.claim,
                            wanted.samples is not None)  # fmt: skip
    return Swept(record, plans, wanted, seed, outcome, results, runs, numbers, verdicts)


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


def _sampled(
    design: Design,
    plans: Sequence[Plan],
    fleet: Boards,
    engine: Engine,
    order: Order,
    seed: int,
    progress: Progress | None,
) -> tuple[BoardRuns, Verdicts]:
    """Run boards up to the look that decides, or all of them."""
    runs = no_runs(fleet)
    stops = [order.most] if order.samples is not None else looks(order.claim, order.most)
    most = order.most * len(fleet.scenes)
    verdicts = board_verdicts(runs, plans, design)
    for stop in stops:
        numbers = fleet.independent(seed, runs.count, stop - runs.count)
        run_more(runs, numbers, engine, _told(progress, most))
        verdicts = board_verdicts(runs, plans, design)
        if order.samples is None and _outcome(verdicts, order) != "open":
            break
    return runs, verdicts


def _told(progress: Progress | None, most: int) -> Callable[[int], None] | None:
    return None if progress is None else lambda done: progress("boards", done, most)


def _outcome(verdicts: Verdicts, order: Order) -> Outcome:
    counted = tally(verdicts.status)
    interval = (fixed if order.samples is not None else anytime)(counted, order.claim)
    return decide(interval, order.claim)
