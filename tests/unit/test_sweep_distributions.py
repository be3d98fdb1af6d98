"""Distributions between guaranteed ends: their shape, their ends, and samples by goodness of fit.

Densities are those of JCGM 101:2008, 6.4 (rectangular) and of the two-piece normal.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from analog.studies.distributions import Distribution, Halves, Normal, Picked, Uniform
from analog.studies.sampling import independent, replicate

SHAPES: dict[str, Distribution] = {
    "uniform": Uniform(-0.05, 0.05),
    "uneven": Uniform(-0.2, 0.8),
    "halves": Halves(198.0, 230.0, 253.0),
    "normal": Normal(-0.1, 0.0, 0.1),
    "split": Normal(-0.2, 0.0, 0.5, sigmas=2.0),
    "one sided": Normal(0.0, 0.0, 1.0),
    "picked": Picked(Uniform(-0.05, 0.05), -0.01, 0.01),
    "picked normal": Picked(Normal(-0.1, 0.0, 0.1), -0.05, 0.05),
    "picked twice": Picked(Picked(Uniform(-0.1, 0.1), -0.01, 0.01), -0.05, -0.02),
}

each = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())


@each
def test_quantile_and_share_below_are_inverse(shape: Distribution) -> None:
    p = np.linspace(1e-6, 1 - 1e-6, 2001)
    assert shape.below(shape.quantile(p)) == pytest.approx(p, abs=1e-9)


@each
def test_nothing_lies_outside_the_ends(shape: Distribution) -> None:
    values = shape.quantile(np.array([0.0, 1e-12, 0.3, 1 - 1e-12, 1.0]))
    assert values.min() >= shape.low
    assert values.max() <= shape.high
    assert values[[0, -1]] == pytest.approx([shape.low, shape.high], abs=1e-9)


@each
def test_samples_fit(shape: Distribution, counts: Callable[[int, int], int]) -> None:
    p = independent(7, ["part"], 0, counts(2000, 50_000))[:, 0]
    found = stats.kstest(shape.quantile(p), shape.below)
    assert found.pvalue > 1e-3


def test_the_normal_is_scipys_truncated_normal() -> None:
    x = np.linspace(-0.1, 0.1, 401)
    cut = stats.truncnorm(-3, 3, loc=0.0, scale=0.1 / 3)
    assert Normal(-0.1, 0.0, 0.1).below(x) == pytest.approx(cut.cdf(x), abs=1e-12)


def test_the_two_pieces_meet_in_one_density() -> None:
    shape, step = Normal(-0.2, 0.0, 0.5), 1e-6
    left = (shape.below(np.zeros(1)) - shape.below(np.array([-step]))) / step
    right = (shape.below(np.array([step])) - shape.below(np.zeros(1))) / step
    assert left == pytest.approx(right, rel=1e-4)


def test_half_of_the_parts_lie_on_either_side_of_the_nominal() -> None:
    values = SHAPES["halves"].quantile(independent(1, ["mains"], 0, 4000)[:, 0])
    assert abs((values < 230).mean() - 0.5) < 4 * 0.5 / np.sqrt(4000)


def test_picking_leaves_a_gap_and_nothing_else_changes() -> None:
    values = np.abs(SHAPES["picked"].quantile(np.linspace(0, 1, 9999)))
    assert values.min() >= 0.01
    assert np.histogram(values, 4, (0.01, 0.05))[0] == pytest.approx(9999 / 4, rel=0.01)


def test_picking_everything_is_refused() -> None:
    with pytest.raises(ValueError, match="leaves nothing"):
        Picked(Uniform(-0.05, 0.05), -0.05, 0.05)


def test_an_empty_range_is_its_only_value() -> None:
    for shape in (Uniform(3.0, 3.0), Halves(3.0, 3.0, 3.0), Normal(3.0, 3.0, 3.0)):
        assert shape.quantile(np.array([0.1, 0.9])).tolist() == [3.0, 3.0]


def test_a_board_is_the_same_whatever_is_drawn_before_or_beside_it() -> None:
    whole = independent(3, ["a", "b", "c"], 0, 100)
    for start, count in ((0, 1), (1, 5), (4, 4), (37, 63), (99, 1)):
        part = independent(3, ["c", "a"], start, count)
        assert part.tolist() == whole[start : start + count, [2, 0]].tolist()


def test_streams_of_other_names_and_numbers_are_others() -> None:
    first = independent(0, ["a"], 0, 1000)[:, 0]
    for other in (independent(0, ["b"], 0, 1000), independent(1, ["a"], 0, 1000)):
        assert abs(np.corrcoef(first, other[:, 0])[0, 1]) < 0.13  # four standard errors
    assert not np.isin(first, independent(0, ["b"], 0, 1000)).any()


def test_no_number_is_nought_or_one() -> None:
    numbers = np.concatenate([independent(0, ["a"], 0, 100_000), replicate(0, 0, ["a"], 1 << 14)])
    assert numbers.min() > 0
    assert numbers.max() < 1


def test_replicates_differ_and_repeat() -> None:
    one, again, other = (replicate(0, n, ["a", "b"], 64) for n in (0, 0, 1))
    assert one.tolist() == again.tolist()
    assert not np.isin(one, other).any()
    # Each column of a net has one point in every sixty-fourth.
    assert sorted(np.floor(64 * one[:, 0]).astype(int)) == list(range(64))


def test_replicates_need_a_power_of_two() -> None:
    with pytest.raises(ValueError, match="power of two"):
        replicate(0, 0, ["a"], 100)
