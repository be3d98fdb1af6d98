"""Decoding coordinates: ends, nominal, dependence on axes before, for any numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analog.circuits.space import Envelope, PartAxis, RangeAxis, Space, bend

finite = st.floats(-1e9, 1e9)
coordinate = st.floats(-1.0, 1.0)


@given(st.lists(finite, min_size=3, max_size=3).map(sorted), coordinate)
def test_range_axis_meets_its_ends_and_stays_between(ends: list[float], u: float) -> None:
    axis = RangeAxis("a.b", "V", *ends)
    low, nominal, high, between = axis.decode(np.array([-1.0, 0.0, 1.0, u]), {})
    scale = 1e-9 * max(1.0, *map(abs, ends))
    assert low == pytest.approx(ends[0], abs=scale)
    assert nominal == ends[1]
    assert high == pytest.approx(ends[2], abs=scale)
    assert ends[0] - scale <= between <= ends[2] + scale


@given(st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=3).map(sorted), coordinate)
def test_coordinate_is_the_inverse_of_decode(ends: list[float], u: float) -> None:
    axis = RangeAxis("a.b", "V", *ends)
    side = ends[2] - ends[1] if u > 0 else ends[1] - ends[0]
    value = float(axis.decode(np.array([u]), {})[0])
    if side > 1e-3:
        assert axis.coordinate(value) == pytest.approx(u, abs=1e-6)


@given(coordinate, coordinate)
def test_bend_rises_with_u(one: float, other: float) -> None:
    low, high = sorted((one, other))
    values = bend(np.array([low, high]), 2.0, 3.0, 7.0)
    assert values[0] <= values[1]


@given(
    st.floats(1e-12, 1e6),
    st.floats(-0.9, 0.0),
    st.floats(0.0, 1.0),
    st.floats(-55.0, 125.0),
)
def test_part_axis_covers_tolerance_and_law_together(
    nominal: float, low: float, high: float, ambient: float
) -> None:
    law = Envelope((-30.0, 25.0, 85.0), (-0.15, 0.0, -0.15), (0.0, 0.0, 0.0), (0.15, 0.0, 0.15))
    axis = PartAxis("x.c", "F", nominal, low, high, law)
    before = {"environment.ambient": np.full(3, ambient)}
    ends = axis.decode(np.array([-1.0, 0.0, 1.0]), before)
    change = [float(np.interp(ambient, law.temperatures_c, side)) for side in (law.low, law.high)]
    assert ends[0] == pytest.approx(nominal * (1 + low) * (1 + change[0]))
    assert ends[1] == pytest.approx(nominal)
    assert ends[2] == pytest.approx(nominal * (1 + high) * (1 + change[1]))


def test_part_axis_follows_the_temperature_axis_before_it() -> None:
    law = Envelope((0.0, 25.0, 50.0), (-0.5, 0.0, -0.2), (-0.4, 0.0, -0.1), (-0.3, 0.0, 0.0))
    space = Space(
        (
            RangeAxis("environment.ambient", "°C", 0.0, 25.0, 50.0),
            PartAxis("x.c", "F", 100.0, -0.1, 0.1, law),
        )
    )
    values = space.decode(np.array([[-1.0, 0.0], [0.0, 0.0], [1.0, 0.0], [-1.0, -1.0]]))["x.c"]
    np.testing.assert_allclose(values, [60.0, 100.0, 90.0, 45.0])


def test_axis_keys_must_differ() -> None:
    axis = RangeAxis("a.b", "V", 0, 1, 2)
    with pytest.raises(ValueError, match="repeat"):
        Space((axis, axis))
