"""The stages of one search for extremes, so that a caller may stop, skip or share between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from analog.circuits.space import Floats, Space
from analog.studies.archive import NOT_RUN, Archive, Evaluate, Flags, Objective, Progress
from analog.studies.climb import GAIN, Climb, Screen, Summit, refine, sweep
from analog.studies.surface import Surface, fit, peaks
from analog.studies.survey import (
    NOTHING_SEEN,
    Effects,
    Segments,
    axis_levels,
    effects,
    face_biased,
    joined,
    lines,
    one_at_a_time,
    segments,
    walk,
)

WALKS = 4
BIASED_POINTS = 64
UNCERTAIN_AXES = 3
PROPOSALS = 3
PATIENCE = 3
CYCLES = 3
NEAR_FACE = 0.85
DOUBT = 10.0
MOST_INTERIOR_AXES = 4


class Search:
    """One search in progress: an archive, what is known of the axes, and the stages as methods.

    `refused` holds the objectives for which a wish could not be run within the budget.
    """

    def __init__(
        self,
        space: Space,
        evaluate: Evaluate,
        objectives: Sequence[Objective],
        budget: int,
        seed: int,
        progress: Progress | None = None,
    ) -> None:
        self.objectives = tuple(objectives)
        self.archive = Archive(space, evaluate, budget, progress)
        self.refused: set[int] = set()
        self._seed = seed
        self._random = np.random.default_rng(seed)
        self._levels = axis_levels(space)
        self._steps: Segments = NOTHING_SEEN

    @property
    def width(self) -> int:
        return len(self.archive.space.axes)

    def survey(self) -> None:
        """Run the axes alone, walks with up to a third of the budget, and the sign corners."""
        space, archive = self.archive.space, self.archive
        archive.run(one_at_a_time(space))
        if not self.width:
            return
        walks = min(WALKS, max(1, archive.budget // 3 // (self.width + 1)))
        paths = [lines(space), *(walk(self.width, self._random) for _ in range(walks))]
        self._steps = joined([segments(path, archive.run(path)) for path in paths])
        views = self._moving(range(len(self.objectives)))
        if views:
            archive.run(np.vstack([_sign_corners(view) for view in views.values()]))

    def settle(self, wanted: Iterable[int]) -> None:
        """Alternate between surfaces and climbs while an alternation still finds something."""
        pursued = list(wanted)
        self._scatter(pursued)
        self._all(pursued, self._follow)
        for _ in range(CYCLES):
            before = [self.score(i) for i in pursued]
            self._all(pursued, self._ascend)
            self._all(pursued, self._follow)
            pursued = self._risen(pursued, before)

    def _risen(self, wanted: Sequence[int], before: Sequence[float]) -> list[int]:
        """Return the objectives whose worst is now worse than it was."""
        return [i for i, was in zip(wanted, before, strict=True) if self.score(i) > was + GAIN]

    def score(self, index: int) -> float:
        """Return how bad the worst run of an objective is, in its scale."""
        objective = self.objectives[index]
        return float(self.archive.scores(objective)[self.archive.best(objective)])

    def reach(self, index: int, share: float) -> float:
        """Return the worst score plus `share` of the span of all finite scores seen."""
        scores = self.archive.scores(self.objectives[index])
        seen = scores[np.isfinite(scores)]
        span = float(np.ptp(seen)) if len(seen) else np.inf
        return float(scores.max()) + share * span

    def effects(self, index: int) -> Effects:
        """Return how the axes act on one objective, from all steps seen."""
        return effects(self.archive, self.objectives[index], self._steps)

    def _moving(self, wanted: Iterable[int]) -> dict[int, Effects]:
        """Return the effects of those objectives that anything moves at all."""
        views = {i: self.effects(i) for i in wanted}
        return {i: view for i, view in views.items() if view.active.any()}

    def _scatter(self, wanted: Iterable[int]) -> None:
        """Run face-biased points, which a surface can be fitted to; none if nothing moves."""
        if self._moving(wanted):
            count = min(BIASED_POINTS, max(8, self.archive.budget // 8))
            self.archive.run(face_biased(count, self.width, self._random))

    def _summit(self, index: int) -> Summit:
        row = self.archive.best(self.objectives[index])
        return Summit(self.archive.points[row], self.score(index))

    def _follow(self, index: int, view: Effects) -> Climb:
        """Run what the surface proposes until it has proposed nothing better three times."""
        archive, objective = self.archive, self.objectives[index]
        patience, random = PATIENCE, np.random.default_rng((self._seed, index))
        summit = self._summit(index)
        while patience and np.isfinite(summit.score):
            surface = self._surface(index, view)
            scores = archive.scores(objective)
            order = np.argsort(-scores, kind="stable")[:8]
            corners = random.choice((-1.0, 1.0), size=(24, self.width)) * view.active
            ends = peaks(surface, np.vstack([archive.points[order], corners]))
            fresh = _spread(ends[~archive.known(ends)], summit.point)
            if not len(fresh):
                break
            answer = yield fresh
            patience = PATIENCE if answer.max() > summit.score + GAIN else patience - 1
            summit = self._summit(index)
        return summit

    def _ascend(self, index: int, view: Effects) -> Climb:
        """Look at every active axis from the best point, then close in on interior peaks."""
        summit = self._summit(index)
        if not np.isfinite(summit.score):
            return summit
        levels = _where(view.active, self._levels)
        screen = self._screen(index, view)
        summit = yield from sweep(summit, levels, screen)
        summit = yield from refine(summit, _interior(summit, view))
        summit = yield from sweep(summit, levels, screen)
        inward = view.active & (np.abs(summit.point) == 1)
        near = _where(inward, [np.array([NEAR_FACE * u]) for u in summit.point])
        summit = yield from sweep(summit, near, screen, rounds=1)
        return (yield from refine(summit, _interior(summit, view)))

    def _surface(self, index: int, view: Effects) -> Surface:
        scores = self.archive.scores(self.objectives[index])
        usable = np.isfinite(scores)
        axes = [int(axis) for axis in np.flatnonzero(view.active)]
        levels = [self._levels[axis] for axis in axes]
        return fit(self.archive.points[usable], scores[usable], axes, levels)

    def _screen(self, index: int, view: Effects) -> Screen:
        """Return what spares trials that the surface sees below the best beyond its error."""
        surface = self._surface(index, view)
        doubt = DOUBT * surface.error + GAIN
        return lambda trials, score: surface.predict(trials) > score - doubt

    def _all(self, wanted: Iterable[int], climb: Callable[[int, Effects], Climb]) -> None:
        """Run one climb per objective side by side, the wishes of a round in one batch."""
        climbs = {i: climb(i, view) for i, view in self._moving(wanted).items()}
        wishes = {i: next(own, None) for i, own in climbs.items()}
        while pending := {i: wish for i, wish in wishes.items() if wish is not None}:
            rows = self.archive.run(np.vstack(list(pending.values())))
            ends = np.cumsum([len(wish) for wish in pending.values()])
            for i, own in zip(pending, np.split(rows, ends[:-1]), strict=True):
                if NOT_RUN in own:
                    self.refused.add(i)
                wishes[i] = _answer(climbs[i], self.archive.scores(self.objectives[i], own))


def _answer(climb: Climb, scores: Floats) -> Floats | None:
    """Send scores to a climb and return its next wish, None when it has ended."""
    try:
        return climb.send(scores)
    except StopIteration:
        return None


def _where(chosen: Flags, levels: Sequence[Floats]) -> list[Floats]:
    """Return each chosen axis's levels, nothing for the others."""
    return [own if yes else np.empty(0) for own, yes in zip(levels, chosen, strict=True)]


def _spread(ends: Floats, best: Floats) -> Floats:
    """Return the first of `ends` and others that differ from it and `best` in several axes."""
    chosen = list(ends[:1])
    for end in ends[1:]:
        apart = [int((np.abs(end - other) > 0.3).sum()) for other in (best, *chosen)]
        if min(apart) > 1 and len(chosen) < PROPOSALS:
            chosen.append(end)
    return np.array(chosen)


def _interior(summit: Summit, view: Effects) -> list[int]:
    inside = view.active & (np.abs(summit.point) < 1)
    return [int(axis) for axis in np.flatnonzero(inside)][:MOST_INTERIOR_AXES]


def _sign_corners(view: Effects) -> Floats:
    """Return the corner the effects point to, then its variants in the unsteadiest axes."""
    corner = np.sign(view.trend) * view.active
    shaky = np.flatnonzero(view.active & ~view.steady)
    shaky = shaky[np.argsort(-np.abs(view.trend[shaky]), kind="stable")][:UNCERTAIN_AXES]
    corners = np.tile(corner, (1 + 2 ** len(shaky), 1))
    if len(shaky):
        signs = np.array(np.meshgrid(*[(-1.0, 1.0)] * len(shaky)))
        corners[1:, shaky] = signs.reshape(len(shaky), -1).T
    return corners
