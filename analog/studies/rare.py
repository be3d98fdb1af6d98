"""Failures too rare to count: their probability in a few thousand runs, or a refusal.

Two methods after one another, in coordinates that are independent standard normal:

1. Subset simulation: levels of falling probability, each reached by Markov chains from the
   points beyond the one before (S.-K. Au, J. L. Beck, Prob. Eng. Mech. 16 (2001) 263, with the
   conditional sampling of I. Papaioannou et al., Prob. Eng. Mech. 41 (2015) 89). It finds where
   the failures lie, whatever their shape, and a first estimate.
2. Importance sampling about what it found: normals centred on the failures, one for each
   separate region. Pilots with far-ranging runs look for regions that the first method lost and
   move the centres to where failures are likeliest; the estimate rests on later runs alone, so
   that it is unbiased and its coefficient of variation is what it says.

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

HEAVIEST = 0.05
"""The most that one run may carry of an estimate."""

EXPLAINED = 0.6
"""A failure is of a known region when it lies this share as far in that region's direction. A
measure of direction, since in many coordinates all points of a region lie far from its centre."""

MOST_SCOUTS = 4
BACK_STEPS = 6
"""Failures of no known region that a pilot follows up, and the runs to draw each one nearer."""

LEAST_SHARE = 0.3
"""Least share of a region in the next runs, over an equal one."""

PILOTS = ((0.4, 500), (0.3, 300), (0.2, 300))
"""Share of far-ranging runs, and the runs, of each pilot."""

FINAL_WIDE = 0.1
UNHEALTHY = "too few weighted runs carry the estimate"
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
    """Find the regions of failures in a few pilots, then estimate with runs of their own.

    Every pilot knows what those before found, each run weighted against the density that all of
    them together were drawn from (J.-M. Cornuet et al., Scand. J. Statistics 39 (2012) 798). The
    estimate rests on the last runs alone, of a density that does not depend on them.
    """
    seen, mixture, spent = _Seen((), (), ()), _first_mixture(subset), 0
    for wide, count in PILOTS:
        seen = seen.with_stage(beyond, _Stage(mixture.components(wide), count), random)
        weights = seen.weights()
        if not weights.any():
            return _Weighted(0.0, math.inf, seen.count + spent, UNHEALTHY)
        scouts = _scouts(seen, mixture)
        known = mixture.joined(_drawn_back(beyond, scouts))
        mixture = _moved(seen, weights, known, subset.slope)
        spent += BACK_STEPS * len(scouts)
    spent += seen.count
    final = _Stage(mixture.components(FINAL_WIDE), left - spent)
    weights = _Seen((), (), ()).with_stage(beyond, final, random).weights()
    estimate = float(weights.mean())
    if not _healthy(weights, HEAVIEST):
        return _Weighted(estimate, math.inf, left, UNHEALTHY)
    variation = float(np.std(weights, ddof=1) / math.sqrt(final.count) / estimate)
    return _Weighted(estimate, variation, left, _disagreement(estimate, variation, subset))


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

    def joined(self, scouts: Floats) -> _Mixture:
        """Return the mixture with further centres (m, k), each with the least share."""
        if not len(scouts):
            return self
        centres = np.concatenate([self.centres, scouts])
        widths = np.concatenate([self.widths, np.ones_like(scouts)])
        worth = np.concatenate([self.worth, np.ones(len(scouts))])
        shares = np.concatenate([self.shares, np.zeros(len(scouts))])
        return _Mixture(centres, widths, _floored(shares), worth)


@dataclass(frozen=True, slots=True)
class _Stage:
    """`count` points drawn from normals: centres and widths (m, k), shares (m,)."""

    components: tuple[Floats, Floats, Floats]
    count: int

    def draw(self, random: np.random.Generator) -> Floats:
        centres, widths, shares = self.components
        which = random.choice(len(centres), self.count, p=shares)
        noise = random.standard_normal((self.count, centres.shape[1]))
        return np.asarray(centres[which] + widths[which] * noise)

    def log_ratios(self, points: Floats) -> Floats:
        """Return the logarithms of the components' densities over the standard normal's, (n, m)."""
        standard = 0.5 * np.sum(points**2, axis=1)
        return np.column_stack(
            [
                standard
                - 0.5 * np.sum(((points - centre) / width) ** 2, axis=1)
                - np.log(width).sum()
                + np.log(share)
                for centre, width, share in zip(*self.components, strict=True)
            ]
        )


@dataclass(frozen=True, slots=True)
class _Seen:
    """All stages so far, their points (n, k) and which of them fail (n,)."""

    stages: tuple[_Stage, ...]
    points: tuple[Floats, ...]
    failed: tuple[Floats, ...]

    @property
    def count(self) -> int:
        return sum(stage.count for stage in self.stages)

    def with_stage(self, beyond: Beyond, stage: _Stage, random: np.random.Generator) -> _Seen:
        points = stage.draw(random)
        failed = np.asarray(beyond(points) > 0, dtype=np.float64)
        return _Seen((*self.stages, stage), (*self.points, points), (*self.failed, failed))

    def weights(self) -> Floats:
        """Return the weight of every point, 0 for those that do not fail; their mean estimates."""
        points, total = np.concatenate(self.points), self.count
        logs = np.hstack([s.log_ratios(points) + math.log(s.count / total) for s in self.stages])
        top = logs.max(axis=1)
        ratio = np.exp(-top) / np.exp(logs - top[:, None]).sum(axis=1)
        return np.where(np.concatenate(self.failed) > 0, ratio, 0.0)


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


def _moved(seen: _Seen, weights: Floats, before: _Mixture, slope: Floats) -> _Mixture:
    """Return the mixture moved to the centres of mass of the weighted failures.

    The cross-entropy step (R. Rubinstein, D. Kroese, The Cross-Entropy Method (2004)), for each
    region with the failures nearest to it, so that a small one is moved as a large one is; each
    centre averaged with the one it replaces by the number of points that either rests on.
    """
    failed = weights > 0
    points, carried = np.concatenate(seen.points)[failed], weights[failed]
    nearest = np.argmin(_distances(points, before.centres), axis=1)
    centres, widths, shares, worths = [], [], [], []
    for k in np.unique(nearest):
        own, mass = points[nearest == k], carried[nearest == k]
        worth, known = float(mass.sum() ** 2 / np.sum(mass**2)), float(before.worth[k])
        middle = mass @ own / mass.sum()
        spread = np.sqrt(mass @ (own - middle) ** 2 / mass.sum())
        centre = (worth * middle + known * before.centres[k]) / (worth + known)
        centres.append(_shrunk(centre, worth + known, slope))
        widths.append(np.clip(spread, NARROWEST, 1.0))
        shares.append(float(mass.sum()))
        worths.append(worth)
    return _Mixture(
        np.array(centres), np.array(widths), _floored(np.array(shares)), np.array(worths)
    )


def _distances(points: Floats, centres: Floats) -> Floats:
    """Return the squared distances (n, m) of points from centres."""
    return np.asarray(np.sum((points[:, None] - centres) ** 2, axis=2))


def _floored(shares: Floats) -> Floats:
    """Return shares of which none is under `LEAST_SHARE` of an equal one."""
    parts = shares / shares.sum()
    parts = np.maximum(parts, LEAST_SHARE / len(parts))
    return np.asarray(parts / parts.sum())


def _scouts(seen: _Seen, mixture: _Mixture) -> Floats:
    """Return failures that no known region explains, the nearest of each direction, (m, k).

    Known regions explain what lies at least `EXPLAINED` as far in their direction as they do.
    """
    points = np.concatenate(seen.points)[np.concatenate(seen.failed) > 0]
    points = points[np.argsort(np.sum(points**2, axis=1))]
    known, found = list(mixture.centres), list[Floats]()
    for point in points:
        if len(found) < MOST_SCOUTS and all(c @ point < EXPLAINED * (c @ c) for c in known):
            known.append(point)
            found.append(point)
    return np.array(found).reshape(-1, mixture.centres.shape[1])


def _drawn_back(beyond: Beyond, scouts: Floats) -> Floats:
    """Return scouts drawn towards the nominal as far as they still fail, by bisection."""
    if not len(scouts):
        return scouts
    low, high = np.zeros(len(scouts)), np.ones(len(scouts))
    for _ in range(BACK_STEPS):
        middle = 0.5 * (low + high)
        fails = beyond(scouts * middle[:, None]) > 0
        low, high = np.where(fails, low, middle), np.where(fails, middle, high)
    return scouts * high[:, None]


def _width(group: Floats) -> Floats:
    """Return the standard deviations of a region, not far from the nominal's own."""
    return np.asarray(np.clip(group.std(axis=0), NARROWEST, 1.0))


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
