"""Reads whole component strings and ranges.

A component: ``VALUE [TOLERANCE] [TECHNOLOGY] [RATING]``, as in ``10n 10% X7R 50V``.
A range: ``VALUE [TOLERANCE]``, ``LOW .. HIGH`` or ``LOW .. TYPICAL .. HIGH``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from analog.quantities.notation import (
    QuantityError,
    Scanner,
    example,
    open_scanner,
    scan_value,
)
from analog.quantities.tolerance import Tolerance, scan_letter, scan_tolerance

_WORD: Final = re.compile(r"[A-Za-z][A-Za-z0-9\-]*")
_LONE_F: Final = re.compile(r"\s+F(?![A-Za-z0-9])")
_POINTED_F: Final = re.compile(r"[a-zµμ][0-9]+F$")
_DOTS: Final = re.compile(r"\s*(?:\.\.\.?|…)\s*")
_RATING: Final = re.compile(r"[0-9.]+\s*[mk]?[VW](?![A-Za-z0-9])|[0-9]+[VW][0-9]+(?![A-Za-z0-9])")


@dataclass(frozen=True, slots=True)
class Component:
    """A component as written: value in SI, and what was said about it (None when not said)."""

    value: Decimal
    tolerance: Tolerance | None
    technology: str | None
    rating: Decimal | None


@dataclass(frozen=True, slots=True)
class Range:
    """Low, nominal and high of a quantity, in SI."""

    low: Decimal
    nominal: Decimal
    high: Decimal


def read_component(text: str, unit: str, rating_unit: str) -> Component:
    """Read a component string whose value is in `unit` and whose rating is in `rating_unit`.

    Raises QuantityError for anything left over or said twice, and for a value of zero or less.
    """
    scanner = open_scanner(text)
    start = scanner.position
    value = scan_value(scanner, unit)
    if value <= 0:
        raise scanner.refuse("the value is not above zero", example(unit), start)
    if unit == "F":
        _refuse_farad_or_letter(scanner, start)
    scanner.skip_space()
    said = _Said(scan_letter(scanner, unit, value))
    while not _at_end(scanner):
        _take_item(scanner, said, rating_unit)
    return Component(value, said.tolerance, said.technology, said.rating)


def read_range(text: str, unit: str) -> Range:
    """Read a value with an optional tolerance, or two or three values joined by two dots.

    With two values the nominal is their mean. Raises QuantityError, also for values out of order.
    """
    scanner = open_scanner(text)
    start = scanner.position
    values = [scan_value(scanner, unit)]
    while len(values) < 3 and scanner.take(_DOTS):
        values.append(scan_value(scanner, unit))
    scanner.skip_space()
    tolerance = scan_tolerance(scanner) if len(values) == 1 else None
    if not _at_end(scanner):
        raise scanner.refuse(f"'{scanner.rest}' is left over", _range_remedy(unit))
    if tolerance is not None:
        return _around(values[0], tolerance)
    if sorted(values) != values:
        raise scanner.refuse("the minimum is over the maximum", _range_remedy(unit), start)
    middle = values[1] if len(values) == 3 else (values[0] + values[-1]) / 2
    return Range(values[0], middle, values[-1])


@dataclass(slots=True)
class _Said:
    tolerance: Tolerance | None
    technology: str | None = None
    rating: Decimal | None = None


def _at_end(scanner: Scanner) -> bool:
    scanner.skip_space()
    return scanner.at_end


def _take_item(scanner: Scanner, said: _Said, rating_unit: str) -> None:
    """Read one of tolerance, rating or technology."""
    start = scanner.position
    tolerance = scan_tolerance(scanner)
    if tolerance is not None:
        _once(scanner, said.tolerance, "tolerance", start)
        said.tolerance = tolerance
    elif _RATING.match(scanner.text, start):
        _once(scanner, said.rating, "rating", start)
        said.rating = scan_value(scanner, rating_unit)
    else:
        word = scanner.take(_WORD)
        if not word:
            raise scanner.refuse(f"'{scanner.rest}' is left over", _component_remedy())
        _once(scanner, said.technology, "technology", start)
        said.technology = word


def _once(scanner: Scanner, present: object, name: str, position: int) -> None:
    if present is not None:
        raise scanner.refuse(f"the {name} is given twice", _component_remedy(), position)


def _refuse_farad_or_letter(scanner: Scanner, start: int) -> None:
    """``100n F`` and ``8p2F`` could end in farad or in the letter for ±1 % (or ±1 pF)."""
    read = scanner.text[start : scanner.position]
    if _POINTED_F.search(read) or (not read.endswith("F") and scanner.take(_LONE_F)):
        raise scanner.refuse("F could mean farad or ±1 %", "Write 100nF or 100n 1%", start)


def _around(nominal: Decimal, tolerance: Tolerance) -> Range:
    ends = (nominal * (1 + tolerance.low), nominal * (1 + tolerance.high))
    return Range(min(ends), nominal, max(ends))


def _component_remedy() -> str:
    return "Write VALUE [TOLERANCE] [TECHNOLOGY] [RATING], like 10n 10% X7R 50V"


def _range_remedy(unit: str) -> str:
    sample = {"F": "15 pF 50%", "s": "10 ms .. 50 ms .. 200 ms"}.get(unit, f"9 {unit} 5%")
    return f"Write a value with a tolerance ({sample}) or LOW .. TYPICAL .. HIGH"


__all__ = ["Component", "QuantityError", "Range", "read_component", "read_range"]
