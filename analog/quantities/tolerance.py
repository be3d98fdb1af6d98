"""Reads tolerances: ``5%``, ``±5 %``, ``-20+80%``, or the letter code of IEC 60062.

Letter codes as in IEC 60062:2016, from memory (high confidence for the common ones, B to N, Q,
S, T, Z). On capacitors under 10 pF the letters B, C, D, F and G give picofarads, not per cent.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from analog.quantities.notation import Scanner

#: Symmetric letters, in per cent.
SYMMETRIC_LETTERS: Final[dict[str, Decimal]] = {
    letter: Decimal(percent)
    for letter, percent in (
        ("E", "0.005"),
        ("L", "0.01"),
        ("P", "0.02"),
        ("W", "0.05"),
        ("B", "0.1"),
        ("C", "0.25"),
        ("D", "0.5"),
        ("F", "1"),
        ("G", "2"),
        ("H", "3"),
        ("J", "5"),
        ("K", "10"),
        ("M", "20"),
        ("N", "30"),
    )
}

#: Asymmetric letters, (below, above) in per cent.
ASYMMETRIC_LETTERS: Final[dict[str, tuple[Decimal, Decimal]]] = {
    "Q": (Decimal(-10), Decimal(30)),
    "T": (Decimal(-10), Decimal(50)),
    "S": (Decimal(-20), Decimal(50)),
    "Z": (Decimal(-20), Decimal(80)),
}

#: Letters of capacitors under 10 pF, in pF either way.
PICOFARAD_LETTERS: Final[dict[str, Decimal]] = {
    "B": Decimal("0.1"),
    "C": Decimal("0.25"),
    "D": Decimal("0.5"),
    "F": Decimal(1),
    "G": Decimal(2),
}

_PERCENT: Final = r"([0-9]+(?:\.[0-9]+)?)[ \u00a0\u202f]*%"
_NUMBER: Final = r"([0-9]+(?:\.[0-9]+)?)[ \u00a0\u202f]*%?"
_MINUS: Final = r"[-\u2212][ ]*"
_BOTH: Final = re.compile(rf"(?:(?:±|\+/-|\+-)\s*)?{_PERCENT}")
_LOW_HIGH: Final = re.compile(rf"{_MINUS}{_NUMBER}\s*/?\s*\+\s*{_PERCENT}")
_HIGH_LOW: Final = re.compile(rf"\+\s*{_NUMBER}\s*/?\s*{_MINUS}{_PERCENT}")
_ONE_SIDE: Final = re.compile(rf"[-+\u2212]\s*{_PERCENT}")
_LETTER: Final = re.compile(r"[A-Z](?![A-Za-z0-9-])")
_REMEDY: Final = "Write it like 5%, ±5 % or -20+80%, each side under 100 %"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Fractions of the nominal: `low` is zero or negative, `high` zero or positive."""

    low: Decimal
    high: Decimal


def scan_tolerance(scanner: Scanner) -> Tolerance | None:
    """Read a tolerance in per cent where the scanner stands; None when none stands here.

    Raises QuantityError for a side of 100 % or more and for one side alone.
    """
    start = scanner.position
    for pattern, order in ((_LOW_HIGH, (0, 1)), (_HIGH_LOW, (1, 0)), (_BOTH, (0, 0))):
        match = pattern.match(scanner.text, start)
        if match:
            scanner.position = match.end()
            sides = [Decimal(group) / 100 for group in match.groups()]
            return _bounded(scanner, start, -sides[order[0]], sides[order[1]])
    if _ONE_SIDE.match(scanner.text, start):
        raise scanner.refuse("a tolerance needs both sides", _REMEDY)
    return None


def scan_letter(scanner: Scanner, unit: str, nominal: Decimal) -> Tolerance | None:
    """Read a tolerance letter right after a value; None when no lone capital stands here.

    Raises QuantityError for a letter that IEC 60062 does not define.
    """
    match = _LETTER.match(scanner.text, scanner.position)
    if not match:
        return None
    letter = match.group()
    tolerance = _letter_tolerance(letter, unit, nominal)
    if tolerance is None:
        known = " ".join((*SYMMETRIC_LETTERS, *ASYMMETRIC_LETTERS))
        raise scanner.refuse(f"'{letter}' is no tolerance letter", f"The letters are {known}")
    start = scanner.position
    scanner.position = match.end()
    return _bounded(scanner, start, tolerance.low, tolerance.high)


def _letter_tolerance(letter: str, unit: str, nominal: Decimal) -> Tolerance | None:
    if unit == "F" and nominal < Decimal("10e-12") and letter in PICOFARAD_LETTERS:
        share = PICOFARAD_LETTERS[letter] * Decimal("1e-12") / nominal
        return Tolerance(-share, share)
    if letter in ASYMMETRIC_LETTERS:
        low, high = ASYMMETRIC_LETTERS[letter]
        return Tolerance(low / 100, high / 100)
    if letter in SYMMETRIC_LETTERS:
        share = SYMMETRIC_LETTERS[letter] / 100
        return Tolerance(-share, share)
    return None


def _bounded(scanner: Scanner, start: int, low: Decimal, high: Decimal) -> Tolerance:
    if low <= -1 or high >= 1:
        raise scanner.refuse("a tolerance of 100 % or more says nothing", _REMEDY, start)
    return Tolerance(low, high)
