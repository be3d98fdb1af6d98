"""Preferred values against the tables of IEC 60063:2015 (from memory, high confidence)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analog.quantities import SERIES, SeriesName, decade

E24 = """1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0
3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"""
E12 = "1.0 1.2 1.5 1.8 2.2 2.7 3.3 3.9 4.7 5.6 6.8 8.2"
E6 = "1.0 1.5 2.2 3.3 4.7 6.8"
E3 = "1.0 2.2 4.7"
E96 = """
1.00 1.02 1.05 1.07 1.10 1.13 1.15 1.18 1.21 1.24 1.27 1.30 1.33 1.37 1.40 1.43
1.47 1.50 1.54 1.58 1.62 1.65 1.69 1.74 1.78 1.82 1.87 1.91 1.96 2.00 2.05 2.10
2.15 2.21 2.26 2.32 2.37 2.43 2.49 2.55 2.61 2.67 2.74 2.80 2.87 2.94 3.01 3.09
3.16 3.24 3.32 3.40 3.48 3.57 3.65 3.74 3.83 3.92 4.02 4.12 4.22 4.32 4.42 4.53
4.64 4.75 4.87 4.99 5.11 5.23 5.36 5.49 5.62 5.76 5.90 6.04 6.19 6.34 6.49 6.65
6.81 6.98 7.15 7.32 7.50 7.68 7.87 8.06 8.25 8.45 8.66 8.87 9.09 9.31 9.53 9.76
"""
#: The values E192 has between those of E96.
E192_BETWEEN = """
1.01 1.04 1.06 1.09 1.11 1.14 1.17 1.20 1.23 1.26 1.29 1.32 1.35 1.38 1.42 1.45
1.49 1.52 1.56 1.60 1.64 1.67 1.72 1.76 1.80 1.84 1.89 1.93 1.98 2.03 2.08 2.13
2.18 2.23 2.29 2.34 2.40 2.46 2.52 2.58 2.64 2.71 2.77 2.84 2.91 2.98 3.05 3.12
3.20 3.28 3.36 3.44 3.52 3.61 3.70 3.79 3.88 3.97 4.07 4.17 4.27 4.37 4.48 4.59
4.70 4.81 4.93 5.05 5.17 5.30 5.42 5.56 5.69 5.83 5.97 6.12 6.26 6.42 6.57 6.73
6.90 7.06 7.23 7.41 7.59 7.77 7.96 8.16 8.35 8.56 8.76 8.98 9.20 9.42 9.65 9.88
"""


def _table(text: str) -> list[Decimal]:
    return sorted(Decimal(value) for value in text.split())


@pytest.mark.parametrize(
    ("series", "table"),
    [
        ("E3", E3),
        ("E6", E6),
        ("E12", E12),
        ("E24", E24),
        ("E96", E96),
        ("E192", E96 + E192_BETWEEN),
    ],
)
def test_decade_is_the_table(series: SeriesName, table: str) -> None:
    assert list(decade(series)) == _table(table)


def test_e48_is_every_second_value_of_e96() -> None:
    assert list(decade("E48")) == _table(E96)[::2]


@pytest.mark.parametrize("series", SERIES)
def test_the_number_in_the_name_is_the_number_of_values(series: SeriesName) -> None:
    assert len(set(decade(series))) == int(series[1:])


def test_the_exceptions_differ_from_the_rounding_rule() -> None:
    ruled = [Decimal(round(10 * 10 ** (i / 24))) / 10 for i in range(24)]
    odd = {i for i, value in enumerate(decade("E24")) if value != ruled[i]}
    assert odd == {10, 11, 12, 13, 14, 15, 16, 22}
    assert Decimal("9.20") in decade("E192")
    assert Decimal("9.19") not in decade("E192")
