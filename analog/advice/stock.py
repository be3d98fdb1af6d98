"""Which values of a part can be bought, and how they are written in a design file.

The ranges are what distributors keep of through-hole parts (common practice, no source). The
series are those of IEC 60063.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from analog.design import PartValue
from analog.quantities import SeriesName, stock_values
from analog.quantities.notation import open_scanner, scan_value


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept of one technology: series, lowest and highest value (F or Ω)."""

    series: SeriesName
    low: float
    high: float


KEPT: Final = {
    "carbon-film": Kept("E24", 1.0, 10e6),
    "metal-film": Kept("E96", 1.0, 1e6),
    "wirewound": Kept("E12", 0.1, 10e3),
    "C0G": Kept("E12", 1e-12, 100e-9),
    "X7R": Kept("E6", 100e-12, 10e-6),
    "X5R": Kept("E6", 100e-9, 100e-6),
    "Y5V": Kept("E3", 10e-9, 10e-6),
    "film": Kept("E6", 1e-9, 10e-6),
    "polypropylene": Kept("E6", 100e-12, 4.7e-6),
    "X2": Kept("E6", 1e-9, 10e-6),
    "electrolytic": Kept("E6", 470e-9, 10e-3),
}

BETTER: Final = {
    "electrolytic": ("film", "10%", "63V"),
    "X5R": ("X7R", "10%", "50V"),
    "Y5V": ("X7R", "10%", "50V"),
    "X7R": ("film", "10%", "63V"),
    "carbon-film": ("metal-film", "1%", ""),
}
"""The next steadier technology with its usual grade, for the same job."""

WATTS: Final = (0.25, 0.5, 1.0, 2.0)
"""Sizes of film resistors that are kept."""

VOLTS: Final = (10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0)
"""Rated voltages of electrolytics that are kept (IEC 60384-4, preferred values, from memory)."""

REACH: Final = 10**1.5
"""How far, as a factor either way, a value is sought from the one the design has."""


def values(part: PartValue, make: str, series: SeriesName | None) -> tuple[float, ...]:
    """Return what is kept of `make` within `REACH` of the part's value, rising.

    `series` thins or widens a resistor's choice; a capacitor's is what its technology is made in,
    never more. A value of the design that no series has is not among them.
    """
    kept = KEPT[make]
    low = max(part.nominal / REACH, kept.low)
    high = min(part.nominal * REACH, kept.high)
    if low > high:
        return ()
    return stock_values(_chosen(kept.series, series, make), low, high)


def _chosen(own: SeriesName, wanted: SeriesName | None, make: str) -> SeriesName:
    """Return the wanted series, the technology's own where a capacitor is not made so finely."""
    if wanted is None:
        return own
    capacitor = make not in ("carbon-film", "metal-film", "wirewound")
    return own if capacitor and int(wanted[1:]) > int(own[1:]) else wanted


def value_text(value: float, unit: str) -> str:
    """Return a stock value as the trade writes it: ``4k7``, ``220R``, ``2u2``, ``10n``."""
    scales = (("M", 6), ("k", 3), ("R", 0)) if unit == "Ω" else (("u", -6), ("n", -9), ("p", -12))
    exact = Decimal(repr(value))
    letter, exponent = next((s for s in scales if exact >= Decimal(1).scaleb(s[1])), scales[-1])
    whole, _, rest = format(exact.scaleb(-exponent).normalize(), "f").partition(".")
    return f"{whole}{letter}{rest}"


def rewritten(part: PartValue, value: float, unit: str) -> str:
    """Return the part's text with another value; tolerance, technology and rating as written."""
    scanner = open_scanner(part.text)
    scan_value(scanner, unit)
    return value_text(value, unit) + scanner.rest


def thinned(found: Iterable[float], series: SeriesName) -> tuple[float, ...]:
    """Return those of the values, rising, that lie nearest to the values of `series`."""
    kept = tuple(found)
    if not kept:
        return ()
    wanted = stock_values(series, kept[0], kept[-1])
    nearest_of = (min(kept, key=lambda v: abs(math.log(v / want))) for want in wanted)
    return tuple(sorted(set(nearest_of)))


def rated(text: str, rating: str) -> str:
    """Return a part's text with another rating (like 25V), added where it had none."""
    kept = [word for word in text.split() if not re.fullmatch(r"\d+(\.\d+)?[VW]", word)]
    return " ".join([*kept, rating])
