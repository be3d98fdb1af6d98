"""Failures too rare to count: their probability in a few thousand runs, or a refusal.

Two methods after one another, in coordinates that are independent standard normal:

1. Subset simulation: levels of falling probability, each reached by Markov chains from the
   points beyond the one before (S.-K. Au, J. L. Beck, Prob. Eng. Mech. 16 (2001) 263, with the
   conditional sampling of I. Papaioannou et al., Prob. Eng. Mech. 41 (2015) 89). It finds where
   the failures lie, whatever their shape, and a first estimate.
2. Importance sampling about what it found: unit normals centred on the failures, one for each
   separate region. Its estimate is unbiased and its runs independent, so that its coefficient
   of variation is what it says.

The second is reported when both agree and its weights are healthy; else the first, when its own
chains are; else nothing is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analog.circuits.space import Floats
from analog.studies.levels import LEVEL_SHARE, Beyond, Subset, subset_simulation

LARGEST_VARIATION = 0.5
"""Coefficient of variation over which nothing is reported."""

HEAVIEST = 0.04
"""The most that one run may carry of an estimate."""

PILOT_RUNS = 500
PILOT_WIDE = (0.4, 0.2)
FINAL_RUNS = 1500
FINAL_WIDE = 0.1
WIDTH = 2.0
FITTED = 0.4
NARROWEST = 0.5

APART = 3.0
"""Standard deviations between the centres of failures that count as separate regions."""


@dataclass(frozen=True, slots=True)
class Rare:
    """The probability of a failure with its coefficient of variation; None for both when refused.

    `reason` says why, `runs` what it cost, `low` and `high` are the ends of a 95 % interval.
    """

    method: Literal["subset simulation", "importance sampling", "none"]
    probability: float | None
    variation: float | None
    low: float | None
    high: float | None
    runs: int
    reason: str = ""


def rare(beyond: Beyond, width: int, budget: int = 5000, seed: int = 0) -> Rare:
    """Estimate P(beyond > 0) in `width` coordinates with at most `budget` runs.

    ValueError for a budget under 1 000 runs, with which neither method says anything.
    """
    if budget < 1000:
        raise ValueError("a rare failure needs a budget of at least 1 000 runs")
    random = np.random.default_rng(np.random.SeedSequence([seed, 0x52415245]))
    subset = subset_simulation(beyond, width, _level_size(budget), random)
    if subset.reason:
        return Rare("none", None, None, None, None, subset.runs, subset.reason)
    weighted = _weighted(beyond, subset, budget - subset.runs, random)
    runs = subset.runs + weighted.runs
    if not weighted.reason:
        return _stated("importance sampling", weighted.probability, weighted.variation, runs)
    again = _larger_subset(beyond, width, subset, budget - runs, random)
    runs += again.runs
    if again.variation <= LARGEST_VARIATION and not again.reason:
        return _stated("subset simulation", again.probability, again.variation, runs)
    why = f"{weighted.reason}; subset simulation varies by {again.variation:.2g} of its estimate"
    return Rare("none", None, None, None, None, runs, why)


def _level_size(budget: int) -> int:
    """Return the points of a level, such that seven levels leave half of the budget."""
    return max(100, int(0.5 * budget / (1 + 6 * (1 - LEVEL_SHARE))) // 100 * 100)


def _larger_subset(
    beyond: Beyond, width: int, subset: Subset, left: int, random: np.random.Generator
) -> Subset:
    """Return a fresh subset simulation with all runs that are left, if that is the larger one."""
    levels = max(0.0, -math.log10(subset.probability)) + 0.5
    count = int(left / (1 + levels * (1 - LEVEL_SHARE))) // 10 * 10
    if count <= 100:
        return replace(subset, runs=0)
    again = subset_simulation(beyond, width, count, random, left)
    return again if again.variation < subset.variation else replace(subset, runs=again.runs)


def _stated(
    method: Literal["subset simulation", "importance sampling"],
    probability: float,
    variation: float,
    runs: int,
) -> Rare:
    """Return an estimate with the interval of a lognormal of that coefficient of variation.

    A tenth wider than the normal's 1.96, because a variation seen in the same runs as the
    estimate is on the low side where the estimate is.
    """
    reach = math.exp(1.1 * 1.96 * _log_deviation(variation))
    ends = probability / reach, min(1.0, probability * reach)
    return Rare(method, probability, variation, *ends, runs)


@dataclass(frozen=True, slots=True)
class _Weighted:
    """What the second method gave; `reason` says why it is not to be used."""

    probability: float
    variation: float
    runs: int
    reason: str = ""


def _weighted(beyond: Beyond, subset: Subset, left: int, random: np.random.Generator) -> _Weighted:
    """Move the centres to where failures are likeliest, then estimate with runs of its own."""
    mixture, runs = _first_mixture(subset), 0
    for wide in PILOT_WIDE:
        points, weights = _drawn(beyond, mixture, wide, PILOT_RUNS, random)
        runs += PILOT_RUNS
        if not _healthy(weights, 0.8):
            return _Weighted(0.0, math.inf, runs, "too few weighted runs carry the estimate")
        mixture = _moved(points, weights, mixture, subset, random)
    count = min(FINAL_RUNS, left - runs)
    _, weights = _drawn(beyond, mixture, FINAL_WIDE, count, random)
    estimate = float(weights.mean())
    if not _healthy(weights, HEAVIEST):
        why = "too few weighted runs carry the estimate"
        return _Weighted(estimate, math.inf, runs + count, why)
    variation = float(np.std(weights, ddof=1) / math.sqrt(count) / estimate)
    return _Weighted(estimate, variation, runs + count, _disagreement(estimate, variation, subset))


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Regions of failures: normals at `centres` (m, k) with the standard deviations `widths`
    (m, k) and `shares` (m,); `worth` (m,) independent points that each was found from."""

    centres: Floats
    widths: Floats
    shares: Floats
    worth: Floats

    def components(self, wide: float) -> tuple[Floats, Floats, Floats]:
        """Return centres, widths and shares of what is drawn from.

        Each region as it was found and, as wide as the nominal, for its far tails; the share
        `wide` about the nominal itself, `WIDTH` times as wide, which finds regions that the first
        method lost and keeps any weight from growing without bound.
        """
        width = self.centres.shape[1]
        centres = np.concatenate([self.centres, self.centres, np.zeros((1, width))])
        ones = np.ones_like(self.widths)
        widths = np.concatenate([self.widths, ones, np.full((1, width), WIDTH)])
        near = (1 - wide) * self.shares
        return centres, widths, np.concatenate([FITTED * near, (1 - FITTED) * near, [wide]])


def _drawn(
    beyond: Beyond, mixture: _Mixture, wide: float, count: int, random: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return points from the mixture, and their weights, 0 for those that do not fail."""
    centres, widths, shares = mixture.components(wide)
    which = random.choice(len(centres), count, p=shares)
    noise = random.standard_normal((count, centres.shape[1]))
    points = centres[which] + widths[which] * noise
    # Logarithms of the components' densities over that of the standard normal.
    standard = 0.5 * np.sum(points**2, axis=1)
    logs = np.column_stack(
        [
            standard - 0.5 * np.sum(((points - c) / w) ** 2, axis=1) - np.log(w).sum() + np.log(p)
            for c, w, p in zip(centres, widths, shares, strict=True)
        ]
    )
    top = logs.max(axis=1)
    ratio = np.exp(-top) / np.exp(logs - top[:, None]).sum(axis=1)
    return points, np.where(beyond(points) > 0, ratio, 0.0)


def _healthy(weights: Floats, heaviest: float) -> bool:
    """Tell whether enough runs failed and none carries too much of the sum."""
    return bool((weights > 0).sum() >= 30 and weights.max() <= heaviest * weights.sum())


def _first_mixture(subset: Subset) -> _Mixture:
    """Return the centres of the separate regions that the first method found."""
    groups = _split(subset.failures)
    sizes = np.array([len(group) for group in groups], dtype=np.float64)
    worth = np.maximum(3.0, sizes / 10)  # points of one chain resemble each other
    pairs = zip(groups, worth, strict=True)
    centres = [_shrunk(group.mean(axis=0), float(w), subset.slope) for group, w in pairs]
    widths = np.array([_width(group) for group in groups])
    return _Mixture(np.array(centres), widths, sizes / sizes.sum(), worth)


def _moved(
    points: Floats, weights: Floats, before: _Mixture, subset: Subset, random: np.random.Generator
) -> _Mixture:
    """Return the mixture moved to the centres of mass of the weighted failures.

    The cross-entropy step (R. Rubinstein, D. Kroese, The Cross-Entropy Method (2004)), each
    centre averaged with the one it replaces by the number of points that either rests on.
    """
    drawn = random.choice(len(points), 400, p=weights / weights.sum())
    centres, widths, shares, worths = [], [], [], []
    for group in _split(points[drawn]):
        worth = _effective(group)
        centre, near = group.mean(axis=0), 0.0
        gaps = np.sqrt(np.sum((before.centres - centre) ** 2, axis=1))
        k = int(np.argmin(gaps))
        if gaps[k] < APART:
            near = float(before.worth[k])
            centre = (worth * centre + near * before.centres[k]) / (worth + near)
        centres.append(_shrunk(centre, worth + near, subset.slope))
        widths.append(_width(group))
        shares.append(len(group))
        worths.append(worth + near)
    parts = np.array(shares) / sum(shares)
    return _Mixture(np.array(centres), np.array(widths), parts, np.array(worths))


def _width(group: Floats) -> Floats:
    """Return the standard deviations of a region, not far from the nominal's own."""
    return np.asarray(np.clip(group.std(axis=0), NARROWEST, 1.0))


def _effective(drawn: Floats) -> float:
    """Return the number of independent points that points drawn by weight, repeated, stand for."""
    counts = np.unique(drawn, axis=0, return_counts=True)[1]
    return float(counts.sum() ** 2 / np.sum(counts.astype(np.float64) ** 2))


def _shrunk(centre: Floats, worth: float, slope: Floats) -> Floats:
    """Return a centre with what stands off the slope shrunk towards it, as far as that is likely
    to be scatter (W. James, C. Stein, Proc. 4th Berkeley Symp. (1961) 361, positive part)."""
    along = (centre @ slope) * slope
    across = centre - along
    size = float(across @ across)
    scatter = max(0, len(centre) - 3) / worth
    return np.asarray(along + max(0.0, 1 - scatter / size) * across if size > 0 else along)


def _disagreement(estimate: float, variation: float, subset: Subset) -> str:
    if variation > LARGEST_VARIATION:
        return f"the weighted runs scatter by {variation:.2g} of their mean"
    apart = abs(math.log(estimate / subset.probability))
    if apart > 3 * math.hypot(_log_deviation(variation), _log_deviation(subset.variation)):
        return f"weighted runs and subset simulation differ by a factor of {math.exp(apart):.2g}"
    return ""


def _log_deviation(variation: float) -> float:
    return math.sqrt(math.log1p(variation**2))


def _split(points: Floats, depth: int = 3) -> list[Floats]:
    """Split points in two for as long as both halves lie apart and neither is a handful."""
    if depth == 0 or len(points) < 40:
        return [points]
    first = points[np.argmax(np.sum((points - points.mean(axis=0)) ** 2, axis=1))]
    second = points[np.argmax(np.sum((points - first) ** 2, axis=1))]
    for _ in range(20):
        nearer = np.sum((points - first) ** 2, axis=1) < np.sum((points - second) ** 2, axis=1)
        if not 0.05 < nearer.mean() < 0.95:
            return [points]
        first, second = points[nearer].mean(axis=0), points[~nearer].mean(axis=0)
    if np.linalg.norm(first - second) < APART:
        return [points]
    return [*_split(points[nearer], depth - 1), *_split(points[~nearer], depth - 1)]
