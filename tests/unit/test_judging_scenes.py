"""The worst of a measure without a limit is the worst over all scenes that give it."""

from __future__ import annotations

import math

import pytest

from analog.benches.base import Measure
from analog.workflows.checked import Case
from analog.workflows.judging import Found, Side, rows


def found(scene: str, side: Side, nominal: float, worst: float) -> Found:
    def case(value: float) -> Case:
        return Case(scene, {}, {}, {"hysteresis": value})

    return Found("hysteresis", side, scene, case(worst), case(nominal), {}, True, 1, 0, "")


def measure(worst: str) -> Measure:
    return Measure("hysteresis", "V", "hysteresis", worst, 9.0)  # type: ignore[arg-type]


def test_a_one_sided_measure_takes_the_smallest_of_all_makers() -> None:
    """1.7 V of the maker with much hysteresis moves farther, but 0.6 V is worse."""
    makers = [found("philips", "min", 1.2, 0.64), found("national", "min", 3.3, 1.7)]
    ((row, case),) = rows(measure("min"), (), makers)
    assert row.worst == pytest.approx(0.64)
    assert case is not None
    assert case.scene == "philips"


def test_the_largest_where_large_is_bad() -> None:
    makers = [found("a", "max", 1.0, 3.0), found("b", "max", 5.0, 5.5)]
    ((row, _),) = rows(measure("max"), (), makers)
    assert row.worst == pytest.approx(5.5)


def test_what_never_happened_is_worse_than_any_value() -> None:
    makers = [found("a", "min", 1.0, 0.1), found("b", "min", 1.0, math.nan)]
    ((row, case),) = rows(measure("min"), (), makers)
    assert row.worst is None
    assert case is not None
    assert case.scene == "b"


def test_a_two_sided_measure_takes_the_side_farther_from_its_nominal() -> None:
    sides = [found("a", "min", 0.5, 0.45), found("a", "max", 0.5, 0.7)]
    ((row, _),) = rows(measure("both"), (), sides)
    assert row.worst == pytest.approx(0.7)
