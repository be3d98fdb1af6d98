"""Variance shares against published values, against scipy's own estimator, and their coverage.

Ishigami's function with a = 7, b = 0.1: T. Ishigami, T. Homma, ISUMA 1990; shares as published
in A. Saltelli et al., Global Sensitivity Analysis (2008), S = 0.3139, 0.4424, 0 and
T = 0.5576, 0.4424, 0.2437.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from analog.studies.drivers import Drivers, Share, resampled_shares, surface_shares
from analog.studies.sampling import independent

PUBLISHED = {"x1": (0.3139, 0.5576), "x2": (0.4424, 0.4424), "x3": (0.0, 0.2437)}
NAMES = ["a", "b", "c", "d"]


def ishigami(points: np.ndarray) -> np.ndarray:
    x = np.pi * (2 * points - 1)
    return (1 + 0.1 * x[:, 2] ** 4) * np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2


def share(found: Drivers, name: str) -> Share:
    return next(one for one in found.shares if one.name == name)


def test_resampled_shares_are_ishigamis(counts: Callable[[int, int], int]) -> None:
    found = resampled_shares(ishigami, list(PUBLISHED), counts(1 << 11, 1 << 14), 8)
    for name, (first, total) in PUBLISHED.items():
        own = share(found, name)
        assert own.first == pytest.approx(first, abs=0.01)
        assert own.total == pytest.approx(total, abs=0.01)


def test_resampled_shares_cover_ishigamis(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    repeats = counts(60, 1000)
    held = dict.fromkeys((f"{n} {kind}" for n in PUBLISHED for kind in ("first", "total")), 0)
    exact = {"x1": (0.31390, 0.55759), "x2": (0.44241, 0.44241), "x3": (0.0, 0.24369)}
    for seed in range(repeats):
        found = resampled_shares(ishigami, list(PUBLISHED), 256, 8, seed)
        for name, (first, total) in exact.items():
            own = share(found, name)
            held[f"{name} first"] += own.first_within.low <= first <= own.first_within.high
            held[f"{name} total"] += own.total_within.low <= total <= own.total_within.high
    figure(f"of {repeats}: {held}")
    for name, count in held.items():
        assert count / repeats >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / repeats), name


def test_resampled_shares_are_scipys() -> None:
    theirs = stats.sobol_indices(
        func=lambda x: np.atleast_2d(ishigami(x.T)),
        n=1 << 13,
        dists=[stats.uniform()] * 3,
        rng=np.random.default_rng(1),
    )
    found = resampled_shares(ishigami, list(PUBLISHED), 1 << 11, 8)
    for k, name in enumerate(PUBLISHED):
        assert share(found, name).first == pytest.approx(np.ravel(theirs.first_order)[k], abs=0.02)
        assert share(found, name).total == pytest.approx(np.ravel(theirs.total_order)[k], abs=0.02)


def test_a_surface_says_that_it_does_not_explain_ishigami() -> None:
    points = independent(0, ["x1", "x2", "x3"], 0, 2000)
    (found,) = surface_shares(points, ishigami(points)[:, None], list(PUBLISHED))
    assert found.unexplained > 0.3
    for name, (first, total) in PUBLISHED.items():
        own = share(found, name)
        assert own.first_within.low <= first <= own.first_within.high
        assert own.total_within.low <= total <= own.total_within.high


def test_a_surface_is_exact_where_the_function_is_one_of_its_kind() -> None:
    points = independent(1, NAMES, 0, 200)
    t = 2 * points - 1
    values = 3 * t[:, 0] + 2 * t[:, 1] + t[:, 0] * t[:, 1] + t[:, 2] ** 2
    (found,) = surface_shares(points, values[:, None], NAMES)
    parts = {"a": 9 / 3, "b": 4 / 3, "c": 4 / 45, "d": 0.0}
    whole = sum(parts.values()) + 1 / 9
    for name, variance in parts.items():
        own, product = share(found, name), 1 / 9 if name in "ab" else 0.0
        assert own.first == pytest.approx(variance / whole, abs=1e-6)
        assert own.total == pytest.approx((variance + product) / whole, abs=1e-6)
    assert found.unexplained < 1e-9
    assert [round(share(found, name).change, 6) for name in NAMES] == [6.0, 4.0, 0.0, 0.0]


def test_surface_shares_cover_a_curved_product(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """R·C·ln of a threshold, a hold time's form: no polynomial. Truth by resampling densely."""
    repeats = counts(60, 1000)
    names = ["r", "c", "v"]

    def hold(points: np.ndarray) -> np.ndarray:
        r, c = 1 + 0.05 * (2 * points[:, 0] - 1), 1 + 0.2 * (2 * points[:, 1] - 1)
        return -r * c * np.log1p(-(0.45 + 0.1 * points[:, 2]))

    truth = resampled_shares(hold, names, 1 << 14, 4)
    held = dict.fromkeys(names, 0)
    for seed in range(repeats):
        points = independent(seed, names, 0, 150)
        (found,) = surface_shares(points, hold(points)[:, None], names)
        for name in names:
            own, true = share(found, name).total_within, share(truth, name).total
            held[name] += own.low - 1e-4 <= true <= own.high + 1e-4  # the truth's own error
    figure(f"of {repeats}: {held}")
    for name, count in held.items():
        assert count / repeats >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / repeats), name


def test_too_few_boards_and_values_that_are_none_are_refused() -> None:
    points = independent(0, NAMES, 0, 30)
    with pytest.raises(ValueError, match="too few"):
        surface_shares(points, points[:, :1], NAMES)
    points = independent(0, NAMES, 0, 200)
    with pytest.raises(ValueError, match="finite"):
        surface_shares(points, np.full((200, 1), np.nan), NAMES)


def test_a_value_that_does_not_spread_has_no_drivers() -> None:
    points = independent(0, NAMES, 0, 200)
    (found,) = surface_shares(points, np.ones((200, 1)), NAMES)
    assert found == Drivers((), 0.0, 0.0)
