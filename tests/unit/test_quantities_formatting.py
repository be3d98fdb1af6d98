"""Values as reports write them, and stock values picked around a value."""

from __future__ import annotations

import math

import pytest

from analog.quantities import format_quantity, format_share, nearest, neighbours, stock_values


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (47e3, "Ω", "47 kΩ"),
        (1.234e-3, "s", "1.23 ms"),
        (-0.26, "V", "−0.26 V"),
        (0.0999, "V", "99.9 mV"),
        (0.25, "W", "0.25 W"),
        (0.25, "A", "250 mA"),
        (999.96, "Ω", "1 kΩ"),
        (0.0, "V", "0 V"),
        (-0.0, "V", "0 V"),
        (1e-30, "F", "0.000000000000001 fF"),
        (0.9540, "1", "0.954"),
        (123456.0, "1", "123000"),
        (0.05, "%", "5 %"),
        (-12.34, "°C", "−12.3 °C"),
        (5253.0, "V/s", "5.25 kV/s"),
        (2.2e-6, "F", "2.2 µF"),
        (1e6, "Ω", "1 MΩ"),
    ],
)
def test_writes(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


def test_digits_are_counted_from_the_first() -> None:
    assert format_quantity(1.23456e-3, "s", digits=5) == "1.2346 ms"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_refuses_what_is_no_value(value: float) -> None:
    with pytest.raises(ValueError, match="no value"):
        format_quantity(value, "V")


def test_shares_carry_their_sign() -> None:
    assert [format_share(x) for x in (0.125, -0.03, 0.0)] == ["+12.5 %", "−3 %", "0 %"]


def test_neighbours_and_nearest() -> None:
    assert neighbours(311.127, "E24") == (300.0, 330.0)
    assert neighbours(4700.0, "E12") == (4700.0, 4700.0)
    assert neighbours(9.5e-8, "E6") == (6.8e-8, 1e-7)
    assert nearest(311.127, "E24") == 300.0
    assert nearest(0.98e-6, "E12") == 1e-6


def test_stock_values_span_decades() -> None:
    assert stock_values("E3", 22.0, 1000.0) == (22.0, 47.0, 100.0, 220.0, 470.0, 1000.0)
    with pytest.raises(ValueError, match="no range"):
        stock_values("E3", 0.0, 1.0)
