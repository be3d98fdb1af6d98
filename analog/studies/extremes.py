"""The guaranteed extremes: the worst an output can get within what the parts guarantee.

Corners alone miss interior peaks, and random points miss corners, so the search does both,
cheapest first, and every run serves every objective:

1. each axis alone at its low, its high and its knots; walks over corner-like points;
2. the sign corner of each objective, from those effects, and its variants in the axes that
   did not always pull the same way;
3. face-biased points, and a response surface fitted to all runs of an objective, which
   proposes the next points until its proposals stop improving;
4. from the best point so far, a climb over the levels {-1, -1/2, 0, 1/2, 1} and the knots, a
   look just inside each face, and a second-order refinement of coordinates inside their range;
5. 3 and 4 again while they still find something.

This is a search, not a proof: how far it can fall short is measured in the tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analog.circuits.space import Floats, Space
from analog.studies.archive import Evaluate, Flags, Objective, Progress
from analog.studies.search import Search

__all__ = ["Extreme", "Extremes", "Objective", "extremes", "outcome"]


@dataclass(frozen=True, slots=True)
class Extreme:
    """The worst of one objective.

    `value` is in the output's unit, NaN when the worst is that it never happened, None when no
    run gave data. `point` (axes,) are the coordinates, `row` the index among all runs.
    `effects` (axes,) is the change of the output from each axis's low to its high, the mean of
    the steps seen between runs that happened. `settled` is False when the budget ended the search.
    """

    objective: Objective
    value: float | None
    point: Floats
    row: int
    effects: Floats
    settled: bool


@dataclass(frozen=True, slots=True)
class Extremes:
    """What the search found, and every run it made.

    `worst` in the order of the objectives; `points` (runs, axes), `values` (runs, outputs) and
    `failed` (runs,), the nominal being row 0.
    """

    worst: tuple[Extreme, ...]
    points: Floats
    values: Floats
    failed: Flags

    @property
    def nominal(self) -> Floats:
        """The outputs at the nominal, shape (outputs,)."""
        return np.asarray(self.values[0])

    @property
    def runs(self) -> int:
        return len(self.points)

    @property
    def failed_runs(self) -> int:
        return int(self.failed.sum())


def extremes(
    space: Space,
    evaluate: Evaluate,
    objectives: Sequence[Objective],
    budget: int,
    seed: int,
    progress: Progress | None = None,
) -> Extremes:
    """Search the worst of every objective with at most `budget` runs; same seed, same runs.

    `evaluate` takes coordinates (n, axes) in [-1, 1] and returns values (n, outputs), NaN for
    "never happened", and a mask (n,) of runs that gave no data.
    """
    if budget < 1:
        raise ValueError(f"a search needs a budget of at least one run, not {budget}")
    search = Search(space, evaluate, objectives, budget, seed, progress)
    search.survey()
    search.settle(range(len(search.objectives)))
    return outcome(search)


def outcome(search: Search) -> Extremes:
    """Return what a search has found so far."""
    archive = search.archive
    worst = tuple(_extreme(search, i) for i in range(len(search.objectives)))
    return Extremes(worst, archive.points, archive.values, archive.failed)


def _extreme(search: Search, index: int) -> Extreme:
    objective, archive = search.objectives[index], search.archive
    row = archive.best(objective)
    value = None if archive.failed[row] else float(archive.values[row, objective.output])
    sign = 1.0 if objective.side == "max" else -1.0
    changes = search.effects(index).change * objective.scale * sign
    settled = index not in search.refused
    return Extreme(objective, value, archive.points[row], row, changes, settled)
