"""Stock values: the E-series of IEC 60063:2015.

A decade of series N holds the rounded powers 10^(i/N): to two digits up to E24, to three above.
The standard departs from that rule in E24 (and so in E12, E6, E3) for i = 10 to 16 and 22, and
in E192 for i = 185.
"""

from __future__ import annotations

import math
from decimal import Decimal
from functools import cache
from typing import Final, Literal

SeriesName = Literal["E3", "E6", "E12", "E24", "E48", "E96", "E192"]

SERIES: Final[tuple[SeriesName, ...]] = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")

_E24_EXCEPTIONS: Final = {10: 27, 11: 30, 12: 33, 13: 36, 14: 39, 15: 43, 16: 47, 22: 82}
_E192_EXCEPTIONS: Final = {185: 920}


@cache
def decade(series: SeriesName) -> tuple[Decimal, ...]:
    """Return the values of one decade, from 1 up to below 10, exactly as printed."""
    size = int(series[1:])
    if size <= 24:
        step = 24 // size
        return tuple(Decimal(_two_digits(i * step)) / 10 for i in range(size))
    step = 192 // size
    return tuple(Decimal(_three_digits(i * step)) / 100 for i in range(size))


def _two_digits(index: int) -> int:
    return _E24_EXCEPTIONS.get(index, round(10 * 10 ** (index / 24)))


def _three_digits(index: int) -> int:
    return _E192_EXCEPTIONS.get(index, round(100 * 10 ** (index / 192)))


def stock_values(series: SeriesName, low: float, high: float) -> tuple[float, ...]:
    """Return all values of `series` from `low` to `high` inclusive, rising.

    Raises ValueError unless 0 < low <= high, both finite.
    """
    if not 0 < low <= high < math.inf:
        raise ValueError(f"no range of stock values from {low} to {high}")
    first, last = math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 1
    found = (
        float(value.scaleb(exponent))
        for exponent in range(first, last + 1)
        for value in decade(series)
    )
    return tuple(value for value in found if low <= value <= high)


def neighbours(value: float, series: SeriesName) -> tuple[float, float]:
    """Return the largest stock value not above `value` and the smallest not below it."""
    around = stock_values(series, value / 11, value * 11)
    below = max(stock for stock in around if stock <= value)
    above = min(stock for stock in around if stock >= value)
    return below, above


def nearest(value: float, series: SeriesName) -> float:
    """Return the stock value nearest in ratio to `value`; the lower one when both are as near."""
    below, above = neighbours(value, series)
    return below if value / below <= above / value else above
