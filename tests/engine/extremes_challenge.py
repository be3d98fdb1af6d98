"""Challenges to the reported worst of a bench: corners, face-biased points, another optimiser.

Every challenge runs the same scenes with the same engine; what differs is how points are chosen.
A value counts against the search when it lies beyond the reported worst of its measure, over all
scenes that give it, by more than 0.5 % of the measure's scale.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import differential_evolution

from analog.benches.base import Scene
from analog.circuits.space import Floats, Space
from analog.engine import Engine
from analog.studies import Objective
from analog.studies.survey import face_biased
from analog.workflows import CheckedBench
from analog.workflows.scenes import SceneRunner

ALLOWED_SHARE = 0.005
STARTS = 20


@dataclass(frozen=True)
class Beaten:
    """A challenge that found worse: by how much, in scales, and where."""

    measure: str
    side: str
    challenge: str
    scene: str
    reported: float
    found: float
    share: float
    point: tuple[float, ...]


@dataclass
class Challenge:
    """One checked bench under challenge; counts runs and keeps what beats the report."""

    bench: CheckedBench
    engine: Engine
    runs: int = 0
    failed: int = 0
    beaten: list[Beaten] = field(default_factory=list)
    largest: float = 0.0

    def challenge(self, scene: Scene, points: Floats, name: str) -> Floats:
        """Run points (n, axes) of a scene and hold them against the report; returns values."""
        values, failed = SceneRunner(scene, self.engine)(points)
        self.runs += len(points)
        self.failed += int(failed.sum())
        for objective, measure, reported in self.reports(scene):
            scores = objective.scores(values, failed)
            row = int(np.argmax(scores))
            share = _excess(float(scores[row]), reported)
            self.largest = max(self.largest, share)
            if share > ALLOWED_SHARE:
                found = float(values[row, objective.output])
                sign = 1.0 if objective.side == "max" else -1.0
                self.beaten.append(
                    Beaten(
                        measure,
                        objective.side,
                        name,
                        scene.identifier,
                        sign * reported * objective.scale,
                        found,
                        share,
                        tuple(points[row].round(4).tolist()),
                    )
                )
        return values

    def reports(self, scene: Scene) -> Iterator[tuple[Objective, str, float]]:
        """Yield each objective of a scene, its measure, and the worst reported score of it."""
        own = self.bench.scene(scene.identifier)
        for extreme in own.extremes.worst:
            measure = scene.experiment.outputs[extreme.objective.output]
            yield extreme.objective, measure, self.worst(measure, extreme.objective.side)

    def worst(self, measure: str, side: str) -> float:
        """Return the worst reported score of one side of a measure, over all scenes."""
        scores = [-math.inf]
        for checked in self.bench.scenes:
            outputs = checked.scene.experiment.outputs
            for extreme in checked.extremes.worst:
                objective = extreme.objective
                if outputs[objective.output] == measure and objective.side == side:
                    rows = objective.scores(checked.extremes.values, checked.extremes.failed)
                    scores.append(float(rows.max()))
        return max(scores)

    def by_corners(self, most: int, random: np.random.Generator) -> int:
        """Run all corners of every scene, knots included, or `most` of them; returns how many."""
        count = 0
        for scene in self.scenes():
            points = corners(scene.space, most, random)
            self.challenge(scene, points, "corners")
            count += len(points)
        return count

    def by_faces(self, count: int, random: np.random.Generator) -> None:
        for scene in self.scenes():
            points = face_biased(count, len(scene.space.axes), random)
            self.challenge(scene, points, "face-biased points")

    def by_optimiser(self, generations: int, aims: int | None, seed: int) -> None:
        """Run differential evolution from random starts for `aims` objectives of each scene."""
        for scene in self.scenes():
            reports = list(self.reports(scene))
            random = np.random.default_rng(seed)
            chosen = range(len(reports)) if aims is None else random.permutation(len(reports))
            for index in list(chosen)[:aims]:
                self._evolve(scene, reports[index][0], generations, random)

    def scenes(self) -> list[Scene]:
        return [checked.scene for checked in self.bench.scenes if checked.scene.space.axes]

    def _evolve(
        self, scene: Scene, objective: Objective, generations: int, random: np.random.Generator
    ) -> None:
        width = len(scene.space.axes)

        def badness(columns: Floats) -> Floats:
            points = np.clip(columns.T, -1.0, 1.0)
            values = self.challenge(scene, points, "differential evolution")
            scores = objective.scores(values, np.zeros(len(points), bool))
            return -np.minimum(scores, 1e9)

        differential_evolution(
            badness,
            [(-1.0, 1.0)] * width,
            init=random.uniform(-1, 1, size=(STARTS, width)),
            maxiter=generations,
            tol=0.0,
            atol=1e-6,
            seed=int(random.integers(2**31)),
            polish=False,
            updating="deferred",
            vectorized=True,
        )


def corners(space: Space, most: int, random: np.random.Generator) -> Floats:
    """Return the full factorial of lows, highs and knots, or `most` of its points at random.

    The knots are where the joint threshold region has its corners. Axes without width have one
    level.
    """
    levels = [sorted({-1.0, 1.0, *axis.knots}) for axis in space.axes]
    total = math.prod(len(own) for own in levels)
    if total <= most:
        return np.array(list(itertools.product(*levels)))
    return np.column_stack([random.choice(own, size=most) for own in levels])


def _excess(found: float, reported: float) -> float:
    """Return by how much a score passes the reported one; none when nothing can be worse."""
    return 0.0 if math.isinf(reported) and reported > 0 else found - reported
