"""The lowest level at which something happens, where more is not always worse."""

from __future__ import annotations

import numpy as np
import pytest

from analog.studies.lowest import lowest_levels


def test_lowest_of_several_bands_is_found() -> None:
    """It happens from 3.3 to 8 and again from 50: neither end nor the upper band is the answer."""

    def happens(_items: np.ndarray, levels: np.ndarray) -> np.ndarray:
        return ((levels >= 3.3) & (levels < 8.0)) | (levels >= 50.0)

    found = lowest_levels(happens, np.array([0.1]), np.array([1000.0]), 1.5, 12)
    assert found[0] == pytest.approx(3.3, rel=1e-3)


def test_items_are_searched_apart() -> None:
    edges = np.array([1.0, 20.0, 300.0, np.inf])

    def happens(items: np.ndarray, levels: np.ndarray) -> np.ndarray:
        return levels >= edges[items]

    found = lowest_levels(happens, np.full(4, 0.3), np.full(4, 1000.0), 1.5, 20)
    assert found[:3] == pytest.approx(edges[:3], rel=1e-4)
    assert np.isnan(found[3])


def test_what_happens_at_the_first_level_has_nothing_below() -> None:
    found = lowest_levels(lambda _i, v: v > 0, np.array([2.0]), np.array([9.0]), 2.0, 5)
    assert found.tolist() == [2.0]


def test_no_level_beyond_the_end_is_tried() -> None:
    seen: list[float] = []

    def never(_items: np.ndarray, levels: np.ndarray) -> np.ndarray:
        seen.extend(levels.tolist())
        return levels > 1e9

    assert np.isnan(lowest_levels(never, np.array([1.0]), np.array([10.0]), 3.0, 5)).all()
    assert max(seen) == 10.0


@pytest.mark.parametrize(("start", "end", "factor"), [(0.0, 1, 2), (1, 0.5, 2), (1, 2, 1)])
def test_levels_that_do_not_rise_are_refused(start: float, end: float, factor: float) -> None:
    with pytest.raises(ValueError, match="must rise"):
        lowest_levels(lambda _i, v: v > 0, np.array([start]), np.array([end]), factor, 1)
