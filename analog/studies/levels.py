"""Subset simulation: levels of falling probability, each reached by Markov chains from the last.

S.-K. Au, J. L. Beck, Prob. Eng. Mech. 16 (2001) 263, with the conditional sampling of
I. Papaioannou et al., Prob. Eng. Mech. 41 (2015) 89, in independent standard normal coordinates.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from analog.circuits.space import Floats
from analog.studies.archive import Flags

LEVEL_SHARE = 0.1
MOST_LEVELS = 10

Indices = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

Beyond = Callable[[Floats], Floats]
"""Points (n, k) in standard normal coordinates to how far each is beyond its limit, shape (n,):
above 0 is a failure, infinite one that has no size."""


@dataclass(frozen=True, slots=True)
class Subset:
    """What the first method gave: `failures` are points beyond the limit (m, k), `slope` (k,) the
    direction in which the height rises over all points seen."""

    probability: float
    variation: float
    failures: Floats
    runs: int
    reason: str = ""
    slope: Floats = field(default_factory=lambda: np.zeros(0))


def subset_simulation(
    beyond: Beyond, width: int, count: int, random: np.random.Generator, most: int = 10**9
) -> Subset:
    """Run levels of `count` points each, at most `most` runs in all."""
    points = random.standard_normal((count, width))
    heights, runs, log_p, varied = beyond(points), count, 0.0, 0.0
    chains: Indices = np.arange(count)  # which chain each point belongs to
    seen: list[tuple[Floats, Floats]] = []
    for _ in range(MOST_LEVELS):
        failing = heights > 0
        if failing.mean() >= LEVEL_SHARE:
            p = math.exp(log_p) * float(failing.mean())
            varied += _variation(failing, chains)
            slope = _slope([*seen, (points, heights)])
            return Subset(p, varied, points[failing], runs, slope=slope)
        kept = int(LEVEL_SHARE * count)
        order = np.argsort(-heights, kind="stable")[:kept]
        level = heights[order[-1]]
        if runs + count - kept > most:
            return Subset(0.0, math.inf, points[:0], runs, "the budget ended on the way")
        if not np.isfinite(level) or (heights >= level).sum() > 2 * kept:
            why = "the value does not fall smoothly towards its limit, so that no level leads there"
            return Subset(0.0, math.inf, points[:0], runs, why)
        # Levels share ancestors: their variations are added, as if wholly dependent, which is
        # the upper bound of Au and Beck.
        varied += _variation(heights >= level, chains)
        log_p += math.log(float((heights >= level).mean()))
        seen.append((points, heights))
        points, heights, chains, accepted = _grown(
            beyond, points[order], heights[order], level, count, random
        )
        runs += count - kept
        if accepted < 0.05:
            why = f"only {accepted:.1%} of the chains' steps were taken"
            return Subset(0.0, math.inf, points[:0], runs, why)
    smallest = LEVEL_SHARE**MOST_LEVELS
    why = f"no failure down to a probability of {smallest:.0e}"
    return Subset(0.0, math.inf, points[:0], runs, why)


def _grown(
    beyond: Beyond,
    seeds: Floats,
    heights: Floats,
    level: float,
    count: int,
    random: np.random.Generator,
) -> tuple[Floats, Floats, Indices, float]:
    """Grow one chain from every seed above `level` until there are `count` points.

    A step goes to ρ·x + √(1-ρ²)·z, which leaves the standard normal as it is; it is taken when
    it stays above the level. The step is widened or narrowed towards 44 % taken steps.
    """
    steps = count // len(seeds)
    wide, taken = 0.8, []
    points, values = [seeds], [heights]
    for step in range(1, steps):
        keep = math.sqrt(1 - wide**2)
        trial = keep * points[-1] + wide * random.standard_normal(seeds.shape)
        new = beyond(trial)
        good = new >= level
        points.append(np.where(good[:, None], trial, points[-1]))
        values.append(np.where(good, new, values[-1]))
        taken.append(float(good.mean()))
        wide = min(1.0, max(0.05, wide * math.exp((taken[-1] - 0.44) / math.sqrt(step))))
    chains = np.tile(np.arange(len(seeds)), steps)
    return np.concatenate(points), np.concatenate(values), chains, float(np.mean(taken))


def _variation(
    inside: Flags,
    chains: Indices,
) -> float:
    """Return the coefficient of variation of a share of points that belong to chains.

    By the scatter of the chains' own means, which holds whatever the correlation along a chain.
    """
    share = float(inside.mean())
    number = int(chains.max()) + 1
    if number == len(chains):
        return math.sqrt((1 - share) / (share * len(inside)))
    means = np.bincount(chains, inside) / np.bincount(chains)
    return float(np.std(means, ddof=1) / math.sqrt(number) / share)


def _slope(seen: list[tuple[Floats, Floats]]) -> Floats:
    """Return the unit direction of the straight fit to all finite heights, or nothing."""
    points = np.concatenate([one for one, _ in seen])
    heights = np.concatenate([one for _, one in seen])
    good = np.isfinite(heights)
    design = np.column_stack([np.ones(int(good.sum())), points[good]])
    fit = np.linalg.lstsq(design, heights[good], rcond=None)[0][1:]
    size = float(np.linalg.norm(fit))
    return fit / size if size > 0 else np.zeros(points.shape[1])
