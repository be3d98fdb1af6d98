"""The map of two classes: planted windows with known edges, few evaluations, honest cells."""

from __future__ import annotations

import numpy as np
import pytest

from analog.studies.window_map import Classes, window_map

X = np.geomspace(0.01, 10.0, 97)
Y = np.linspace(0.0, 1.0, 25)


def planted(x: np.ndarray, y: np.ndarray) -> Classes:
    """Missed from 80 ms at no residual, later with more of it, to a length that grows with it."""
    return (x > 0.08 * (1 + y)) & (x < 1.0 + 2.0 * y) & (y < 0.7)


def test_planted_edges_are_found_within_five_per_cent() -> None:
    found = window_map(np.geomspace(0.01, 10.0, 161), Y, planted)
    for column, residual in enumerate(Y):
        edges = found.edges(column)
        if residual >= 0.7:
            assert edges is None
            continue
        assert edges is not None
        assert edges[0] == pytest.approx(0.08 * (1 + residual), rel=0.05)
        assert edges[1] == pytest.approx(1.0 + 2.0 * residual, rel=0.05)


def test_only_the_neighbourhood_of_the_boundary_is_evaluated() -> None:
    seen: list[tuple[float, float]] = []

    def counted(x: np.ndarray, y: np.ndarray) -> Classes:
        seen.extend(zip(x.tolist(), y.tolist(), strict=True))
        return planted(x, y)

    found = window_map(X, Y, counted)
    assert len(seen) == len(set(seen)) == found.runs
    assert found.runs < 0.4 * found.inside.size
    everything = planted(*(side.ravel() for side in np.meshgrid(X, Y, indexing="ij")))
    assert np.array_equal(found.inside, everything.reshape(found.inside.shape))


def test_random_points_disagree_only_beside_the_boundary(counts) -> None:
    found, random = window_map(X, Y, planted), np.random.default_rng(5)
    x = np.exp(random.uniform(np.log(0.01), np.log(10.0), counts(200, 5000)))
    y = random.uniform(0.0, 1.0, len(x))
    wrong = 0
    for length, residual, truth in zip(x, y, planted(x, y), strict=True):
        if found.at(length, residual) != truth:
            wrong += 1
            assert found.mixed(length, residual)
    assert wrong < 0.1 * len(x)


def test_all_of_one_class_costs_the_coarse_grid_only() -> None:
    found = window_map(X, Y, lambda x, _y: np.zeros(len(x), np.bool_))
    assert found.runs == 25 * 7
    assert found.edges(0) is None


def test_axes_that_cannot_be_halved_are_refused() -> None:
    with pytest.raises(ValueError, match="multiple of 4"):
        window_map(np.arange(10.0), Y, planted)
