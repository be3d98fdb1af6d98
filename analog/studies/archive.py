"""Every point that was ever run, once: the memory that all searches of one scene share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats, Space

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]

Evaluate = Callable[[Floats], tuple[Floats, Flags]]
"""Coordinates (n, axes) to values (n, outputs) and a mask (n,) of runs without data.

NaN in a value means that the thing never happened, which is the worst there is.
"""

Progress = Callable[[int], None]
"""Called with the number of runs done so far."""

NOT_RUN = -1


@dataclass(frozen=True, slots=True)
class Objective:
    """One side of one output: search its largest (``max``) or smallest (``min``) value.

    `scale`, in the output's unit and above 0, is what accuracies refer to.
    """

    output: int
    side: Literal["min", "max"]
    scale: float

    def __post_init__(self) -> None:
        if not self.scale > 0:
            raise ValueError(f"the scale of output {self.output} is {self.scale}, not above 0")

    def scores(self, values: Floats, failed: Flags) -> Floats:
        """Return how bad each row is, in scales: +inf never happened, -inf no data.

        `values` has shape (n, outputs), `failed` shape (n,).
        """
        sign = 1.0 if self.side == "max" else -1.0
        score = sign * values[:, self.output] / self.scale
        score = np.where(np.isnan(score), np.inf, score)
        return np.where(failed, -np.inf, score)


class Archive:
    """Runs points within a budget, each distinct set of decoded values only once.

    Two points that decode to the same values (an axis of no width) are one run.
    """

    def __init__(
        self, space: Space, evaluate: Evaluate, budget: int, progress: Progress | None = None
    ) -> None:
        self.space = space
        self.budget = budget
        self._evaluate = evaluate
        self.progress = progress
        self._row_of: dict[bytes, int] = {}
        width = len(space.axes)
        self.points: Floats = np.empty((0, width))
        self.values: Floats = np.empty((0, 0))
        self.failed: Flags = np.empty(0, dtype=np.bool_)

    @property
    def runs(self) -> int:
        return len(self.points)

    @property
    def left(self) -> int:
        return self.budget - self.runs

    def run(self, wanted: Floats) -> Rows:
        """Return the row of each wanted point (n, axes), running what is new.

        Points for which the budget does not suffice get `NOT_RUN`.
        """
        keys = self._keys(wanted)
        fresh: dict[bytes, int] = {}
        for index, key in enumerate(keys):
            if key not in self._row_of and key not in fresh and len(fresh) < self.left:
                fresh[key] = index
        if fresh:
            self._append(wanted[list(fresh.values())])
            start = self.runs - len(fresh)
            self._row_of.update((key, start + offset) for offset, key in enumerate(fresh))
        return np.array([self._row_of.get(key, NOT_RUN) for key in keys], dtype=np.intp)

    def known(self, points: Floats) -> Flags:
        """Return which of the points (n, axes) have been run."""
        return np.array([key in self._row_of for key in self._keys(points)], dtype=np.bool_)

    def scores(self, objective: Objective, rows: Rows | None = None) -> Floats:
        """Return the objective's scores of `rows` (all when None); -inf where not run."""
        score = objective.scores(self.values, self.failed)
        if rows is None:
            return score
        return np.where(rows == NOT_RUN, -np.inf, score[rows])

    def best(self, objective: Objective) -> int:
        """Return the row of the objective's worst value; the earliest of equals."""
        return int(np.argmax(self.scores(objective)))

    def _keys(self, wanted: Floats) -> list[bytes]:
        decoded = self.space.decode(wanted)
        if not decoded:
            return [b""] * len(wanted)
        columns = np.column_stack([np.broadcast_to(v, len(wanted)) for v in decoded.values()])
        return [row.tobytes() for row in columns + 0.0]  # + 0.0 makes -0.0 and 0.0 one key

    def _append(self, points: Floats) -> None:
        values, failed = self._evaluate(points)
        if values.ndim != 2 or len(values) != len(points) or failed.shape != (len(points),):
            raise ValueError(f"{len(points)} points gave values {values.shape} {failed.shape}")
        self.points = np.vstack([self.points, points])
        self.values = np.vstack([self.values, values]) if self.values.size else values
        self.failed = np.concatenate([self.failed, failed])
        if self.progress is not None:
            self.progress(self.runs)
