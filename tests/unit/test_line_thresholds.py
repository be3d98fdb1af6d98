"""The joint region of V_P and V_N, and what a receiver guarantees over the rail."""

from __future__ import annotations

import numpy as np
import pytest

from analog.cards import Column, find_card
from analog.circuits.space import RangeAxis, Space
from analog.circuits.thresholds import (
    UNBOUNDED_V,
    figure_line,
    schmitt_thresholds,
    threshold_axes,
)

RAIL = RangeAxis("supply.rail", "V", 4.5, 9.0, 15.0)
COLUMNS = [
    pytest.param(column, id=f"{part}-{column.maker}")
    for part in ("40106", "4093")
    for column in find_card(part).columns
]


def space(column: Column, rail: RangeAxis = RAIL) -> Space:
    thresholds = schmitt_thresholds(column, rail.low, rail.high)
    axes = threshold_axes(
        thresholds, "conditioner", "supply.rail", (rail.low, rail.nominal, rail.high)
    )
    return Space((rail, *axes))


def bounds(column: Column, rail_v: float) -> dict[str, tuple[float, float]]:
    """Return the published ends at one supply, an absent one unbounded."""
    ends = {}
    for name in ("V_P", "V_N", "V_H"):
        figure = column.figure(name, vdd=rail_v)
        ends[name] = (figure.low, UNBOUNDED_V if figure.maximum is None else figure.high)
    return ends


@pytest.mark.parametrize("column", COLUMNS)
def test_every_decoded_pair_is_guaranteed_to_exist(column: Column) -> None:
    points = np.random.default_rng(1).uniform(-1, 1, (400, 3))
    values = space(column).decode(points)
    v_p, v_n = values["conditioner.threshold_rising"], values["conditioner.threshold_falling"]
    for rail_v, rising, falling in zip(values["supply.rail"], v_p, v_n, strict=True):
        ends = bounds(column, float(rail_v))
        for name, value in (("V_P", rising), ("V_N", falling), ("V_H", rising - falling)):
            low, high = ends[name]
            assert low - 1e-9 <= value <= high + 1e-9, name


@pytest.mark.parametrize("column", COLUMNS)
def test_every_existing_pair_is_decoded_from_some_coordinates(column: Column) -> None:
    """Draw pairs from the plane, keep those inside all bounds, and find their coordinates."""
    rng = np.random.default_rng(2)
    rail = RangeAxis("supply.rail", "V", 10.0, 10.0, 10.0)
    ends = bounds(column, 10.0)
    pairs = rng.uniform(0, 10, (4000, 2))
    inside = [
        pair
        for pair in pairs
        if ends["V_P"][0] <= pair[0] <= ends["V_P"][1]
        and ends["V_N"][0] <= pair[1] <= ends["V_N"][1]
        and ends["V_H"][0] <= pair[0] - pair[1] <= ends["V_H"][1]
    ]
    assert len(inside) > 20
    thresholds = schmitt_thresholds(column, 9.0, 11.0)
    one = np.array([rail.nominal])
    for v_p, v_n in inside:
        low, _, high = (float(side[0]) for side in thresholds.rising_bounds(one))
        assert low <= v_p <= high
        low, _, high = (float(s[0]) for s in thresholds.falling_bounds(one, np.array([v_p])))
        assert low - 1e-9 <= v_n <= high + 1e-9


@pytest.mark.parametrize("column", COLUMNS)
def test_the_nominal_is_the_typical_part(column: Column) -> None:
    values = space(column).decode(np.zeros((1, 3)))
    for key, name in (("threshold_rising", "V_P"), ("threshold_falling", "V_N")):
        typical = column.figure(name, vdd=9.0).typical
        assert values[f"conditioner.{key}"][0] == pytest.approx(typical)


def test_knots_lie_on_the_polygons_corners() -> None:
    """TI CD40106B, SCHS097F, at 10 V: V_N min + V_H max = 5.9, V_N max + V_H min = 6.4."""
    thresholds = schmitt_thresholds(find_card("40106").column("TI"), 9.0, 11.0)
    assert thresholds.corners(10.0) == pytest.approx((5.9, 6.4))
    rising, _ = threshold_axes(thresholds, "conditioner", "supply.rail", (10.0,))
    rail = {"supply.rail": np.full(len(rising.knots), 10.0)}
    decoded = rising.decode(np.array(rising.knots), rail)
    assert decoded.tolist() == pytest.approx([6.4], abs=1e-4)  # 5.9 is the typical: u = 0


def test_corners_of_the_published_region_are_reached() -> None:
    """TI at 10 V: the least hysteresis, 1.2 V, at V_N max 5.2 V and at V_P min 4.6 V."""
    thresholds = schmitt_thresholds(find_card("40106").column("TI"), 9.0, 11.0)
    rail = np.array([10.0, 10.0])
    _, _, high = thresholds.falling_bounds(rail, np.array([6.4, 4.6]))
    assert high.tolist() == pytest.approx([5.2, 3.4])


def test_a_maximum_that_the_maker_does_not_give_bounds_nothing() -> None:
    """Philips HEF40106B gives no maximum hysteresis."""
    column = find_card("40106").column("Philips")
    line = figure_line(column, "V_H", 5.0, 15.0, open_ended=True)
    assert set(line.high) == {UNBOUNDED_V}


@pytest.mark.parametrize("column", COLUMNS)
def test_figure_lines_are_exact_between_and_outside_the_tabulated_supplies(column: Column) -> None:
    line = figure_line(column, "V_P", 3.5, 16.0)
    for supply in (3.5, 4.1, 5.0, 7.3, 10.0, 13.7, 15.0, 15.9):
        figure = column.figure("V_P", vdd=supply)
        low, centre, high = (float(side[0]) for side in line.at(np.array([supply])))
        assert (low, centre, high) == pytest.approx((figure.low, figure.centre, figure.high))
