"""Writes values for reports: three digits, a prefix, the trade's signs. Never for netlists."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Final

from analog.quantities.units import UNPREFIXED

_PREFIXES: Final = {
    12: "T",
    9: "G",
    6: "M",
    3: "k",
    0: "",
    -3: "m",
    -6: "µ",
    -9: "n",
    -12: "p",
    -15: "f",
}
#: Units that stay without a prefix down to a tenth: 0.26 V, 0.25 W.
_TENTHS: Final = frozenset({"V", "W"})
_MINUS: Final = "\u2212"
_SPACE: Final = " "


def format_quantity(value: float, unit: str, digits: int = 3) -> str:
    """Return `value` (SI) with `digits` significant digits: ``47 kΩ``, ``1.23 ms``, ``−0.26 V``.

    `unit` may be any unit; "1" is a plain number, "%" expects a share and writes per cent.
    Trailing zeros after the point are dropped. Raises ValueError for NaN and infinities.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is no value to write")
    if unit == "%":
        return f"{_plain(Decimal(value) * 100, digits)}{_SPACE}%"
    if unit == "1":
        return _plain(Decimal(value), digits)
    if unit in UNPREFIXED:
        return f"{_plain(Decimal(value), digits)}{_SPACE}{unit}"
    number, exponent = _scaled(Decimal(value), unit, digits)
    return f"{number}{_SPACE}{_PREFIXES[exponent]}{unit}"


def _scaled(value: Decimal, unit: str, digits: int) -> tuple[str, int]:
    """Return the digits and the exponent of the prefix, rounded before the prefix is chosen."""
    rounded = _rounded(value, digits)
    if rounded == 0:
        return "0", 0
    exponent = rounded.adjusted() // 3 * 3
    if exponent == -3 and unit in _TENTHS and rounded.adjusted() == -1:
        exponent = 0
    exponent = min(max(exponent, -15), 12)
    return _plain(rounded.scaleb(-exponent), digits), exponent


def _plain(value: Decimal, digits: int) -> str:
    """Return a number without exponent and without idle zeros."""
    rounded = _rounded(value, digits)
    text = format(abs(rounded), "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{_MINUS}{text}" if rounded < 0 else text


def _rounded(value: Decimal, digits: int) -> Decimal:
    return Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(value)


def format_share(share: float, digits: int = 3) -> str:
    """Return a fraction as per cent with its sign: ``+12.5 %``, ``−3 %``."""
    text = format_quantity(share, "%", digits)
    return f"+{text}" if share > 0 else text
