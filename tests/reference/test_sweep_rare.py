"""Rare failures against exact normal-tail probabilities, in several dimensions, linear and
curved, and against an implementation of its own kind of estimate: plain sampling by millions."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from analog.studies.levels import Beyond
from analog.studies.rare import LARGEST_VARIATION, Rare, rare

BUDGET = 5000


def plane(width: int, beta: float) -> tuple[Beyond, float]:
    """A plane at distance beta: Φ(-beta), whatever the dimension."""
    normal = np.arange(1, width + 1) / np.linalg.norm(np.arange(1, width + 1))
    return lambda x: x @ normal - beta, float(stats.norm.sf(beta))


def two_planes(width: int, beta: float) -> tuple[Beyond, float]:
    """Failing on either side of one coordinate: 2 Φ(-beta)."""
    return lambda x: np.abs(x[:, 0]) - beta + 0 * x[:, width - 1], 2 * float(stats.norm.sf(beta))


def parabola(width: int, beta: float) -> tuple[Beyond, float]:
    """x0 > beta + 0.1 x1², by quadrature over x1."""
    grid = np.linspace(-10, 10, 20001)
    exact = np.trapezoid(stats.norm.sf(beta + 0.1 * grid**2) * stats.norm.pdf(grid), grid)
    return lambda x: x[:, 0] - beta - 0.1 * x[:, 1] ** 2 + 0 * x[:, width - 1], float(exact)


def ball(width: int, radius: float) -> tuple[Beyond, float]:
    """Outside a ball: the chi-squared tail. No direction leads there more than another."""
    return lambda x: np.sum(x**2, axis=1) - radius**2, float(stats.chi2.sf(radius**2, width))


def corner(width: int, left: float) -> tuple[Beyond, float]:
    """Uniform parts that add up to within `left` of their greatest sum: left^n/n! (Irwin, Hall,
    Biometrika 19 (1927) 225 and 240), what worst-case parts look like."""
    exact = left**width / math.factorial(width)
    return lambda x: stats.norm.cdf(x).sum(axis=1) - (width - left), exact


def three_limits() -> tuple[Beyond, float]:
    """The worst of three limits of different parts, which fail independently of one another."""

    def beyond(x: np.ndarray) -> np.ndarray:
        limits = (x[:, 0] + x[:, 1] - 5.6, 0.8 * x[:, 2] - 0.7 * x[:, 3] - 4.1, x[:, 4] - 4.0)
        return np.asarray(np.max(limits, axis=0))

    betas = np.array([5.6 / math.sqrt(2), 4.1 / math.hypot(0.8, 0.7), 4.0])
    return beyond, float(1 - np.prod(stats.norm.cdf(betas)))


CASES = {
    "plane 2, 1e-3": plane(2, 3.09),
    "plane 12, 3e-5": plane(12, 4.0),
    "plane 6, 1e-6": plane(6, 4.753),
    "plane 40, 1e-4": plane(40, 3.72),
    "two planes, 6e-5": two_planes(5, 4.0),
    "three limits, 1e-4": three_limits(),
    "parabola, 1e-5": parabola(4, 4.0),
    "corner 6, 1e-3": corner(6, 1.0),
    "corner 8, 2e-5": corner(8, 1.0),
}


def runs_of(beyond: Beyond, counted: list[int]) -> Beyond:
    def counting(points: np.ndarray) -> np.ndarray:
        counted.append(len(points))
        return beyond(points)

    return counting


def width_of(name: str) -> int:
    if name.startswith(("two planes", "three limits")):
        return 5
    return 4 if name.startswith("parabola") else int(name.split(",")[0].split()[1])


@pytest.mark.parametrize("name", CASES)
def test_the_estimate_holds_the_exact_tail(
    name: str, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    beyond, exact = CASES[name]
    repeats = counts(12, 1000)
    found = []
    for seed in range(repeats):
        counted: list[int] = []
        one = rare(runs_of(beyond, counted), width_of(name), BUDGET, seed)
        assert sum(counted) == one.runs <= BUDGET
        found.append(one)
    stated = [one for one in found if one.probability is not None]
    held = sum(one.low <= exact <= one.high for one in stated)  # type: ignore[operator]
    logs = [math.log(one.probability / exact) for one in stated]  # type: ignore[operator]
    mean = np.mean([one.variation for one in stated])
    figure(
        f"{len(stated)} of {repeats} stated, {held} hold {exact:.2e}; c.o.v. stated {mean:.3f}, "
        f"seen {np.std(logs):.3f}, bias {np.mean(logs):+.3f}"
    )
    assert all(one.variation <= LARGEST_VARIATION for one in stated)  # type: ignore[operator]
    # Refused, rightly, when a region is found too late to be drawn from.
    assert len(stated) >= (0.5 if name.startswith("three") else 0.8) * repeats
    assert held / len(stated) >= 0.95 - 2 * math.sqrt(0.95 * 0.05 / len(stated))


def test_failures_all_round_are_refused_or_held(counts: Callable[[int, int], int]) -> None:
    """Outside a ball no direction is the one that fails: few runs reach all of it."""
    beyond, exact = ball(3, 4.6)
    for seed in range(counts(10, 200)):
        found = rare(beyond, 3, BUDGET, seed)
        if found.probability is None:
            assert found.reason
        else:
            assert found.variation is not None
            assert abs(math.log(found.probability / exact)) < 4 * found.variation


@pytest.mark.parametrize("name", CASES)
def test_it_is_far_cheaper_than_counting(name: str, figure: Callable[[str], None]) -> None:
    """Runs that plain sampling needs for the same c.o.v.: (1 - p)/(p c²)."""
    beyond, exact = CASES[name]
    costs = []
    for seed in range(5):
        found = rare(beyond, width_of(name), BUDGET, seed)
        if found.variation is not None:
            costs.append((1 - exact) / (exact * found.variation**2) / found.runs)
    figure(f"{np.median(costs):.0f} times cheaper at {exact:.1e}")
    if exact <= 1.1e-4:
        assert np.median(costs) >= 30


def test_it_agrees_with_counting_by_millions(counts: Callable[[int, int], int]) -> None:
    """A kink, a product and a constant part, for which no closed form is at hand."""

    def beyond(x: np.ndarray) -> np.ndarray:
        return np.maximum(x[:, 0] + 0.5 * x[:, 1] * x[:, 2], x[:, 3] - 0.2) - 3.6

    random, many = np.random.default_rng(0), counts(20, 200)
    failed = sum(int((beyond(random.standard_normal((100_000, 4))) > 0).sum()) for _ in range(many))
    plain = failed / (100_000 * many)
    found = rare(beyond, 4, BUDGET, 1)
    assert found.probability is not None
    assert found.variation is not None
    assert found.probability == pytest.approx(plain, rel=4 * found.variation + 4 / failed**0.5)


def refused(beyond: Beyond, width: int = 3) -> Rare:
    found = rare(beyond, width, BUDGET)
    assert found.probability is None
    assert found.variation is None
    assert found.reason
    return found


def test_a_value_without_levels_is_refused() -> None:
    """A count of edges, say: right or wrong and nothing between."""
    assert "smoothly" in refused(lambda x: np.where(x[:, 0] > 3.5, 1.0, -1.0)).reason


def test_what_never_fails_is_refused() -> None:
    assert "no failure down to" in refused(lambda x: np.tanh(x[:, 0]) - 2.0).reason


def test_a_failure_without_size_counts() -> None:
    """An infinite height is a failure like any other once levels lead to it."""
    beyond, exact = plane(3, 3.0)

    def never(x: np.ndarray) -> np.ndarray:
        height = beyond(x)
        return np.where(height > 0, np.inf, height)

    found = rare(never, 3, BUDGET)
    assert found.low is not None
    assert found.high is not None
    assert found.low / 1.3 <= exact <= found.high * 1.3


def test_the_same_seed_gives_the_same_estimate() -> None:
    beyond, _ = plane(4, 4.0)
    assert rare(beyond, 4, BUDGET, 3) == rare(beyond, 4, BUDGET, 3)
    assert rare(beyond, 4, BUDGET, 3) != rare(beyond, 4, BUDGET, 4)


def test_a_small_budget_is_refused() -> None:
    with pytest.raises(ValueError, match="1 000"):
        rare(plane(2, 3.0)[0], 2, 999)
