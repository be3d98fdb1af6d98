"""Reads one value: IEC 60062 letter notation or a number with SI prefix and unit, exactly.

``4k7``, ``0R22``, ``2u2``, ``47 kΩ``, ``-10 °C``, ``5V6``. The value is a `Decimal`, so that
nothing is rounded before a simulator sees it. What the reader does not understand it refuses,
and says at which character.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from analog.quantities.units import IMPLIED, POINT_LETTERS, PREFIXES, SPELLINGS, UNPREFIXED

_DIGITS: Final = re.compile(r"[0-9]+(?:\.[0-9]+)?|\.[0-9]+")
_SIGN: Final = re.compile(r"[+\-\u2212]\s*")
_LETTER_DIGITS: Final = re.compile(r"([A-Za-z\u00b5\u03bc])([0-9]+)")
_SPACES: Final = " \t\u00a0\u202f"
_SPACE: Final = re.compile(f"[{_SPACES}]*")
_MOST_CHARACTERS: Final = 200
_LARGEST: Final = Decimal("1e18")


class QuantityError(ValueError):
    """A text is not the quantity that was expected.

    `position` counts characters of `text` from 0; `rule` says what is wrong, `remedy` how to
    write it.
    """

    def __init__(self, text: str, position: int, rule: str, remedy: str) -> None:
        super().__init__(text, position, rule, remedy)
        self.text = text
        self.position = position
        self.rule = rule
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.rule} (at character {self.position + 1} of {self.text!r}). {self.remedy}"


@dataclass(slots=True)
class Scanner:
    """A text and how far it has been read."""

    text: str
    position: int = 0

    def skip_space(self) -> None:
        match = _SPACE.match(self.text, self.position)
        if match:
            self.position = match.end()

    def take(self, pattern: re.Pattern[str]) -> str:
        """Return and pass over what `pattern` matches here, "" when it does not match."""
        match = pattern.match(self.text, self.position)
        if not match:
            return ""
        self.position = match.end()
        return match.group()

    def take_spelling(self, spellings: tuple[str, ...]) -> str:
        """Return and pass over the first of `spellings` that stands here, "" when none does."""
        for spelling in spellings:
            if self.text.startswith(spelling, self.position):
                self.position += len(spelling)
                return spelling
        return ""

    @property
    def at_end(self) -> bool:
        return self.position >= len(self.text)

    @property
    def rest(self) -> str:
        return self.text[self.position :]

    def refuse(self, rule: str, remedy: str, position: int | None = None) -> QuantityError:
        """Build the error for what stands at `position` (here when None)."""
        return QuantityError(
            self.text, self.position if position is None else position, rule, remedy
        )


def read_quantity(text: str, unit: str) -> Decimal:
    """Read a whole text as one value in `unit`, exactly.

    A percentage is returned as a fraction when `unit` is "%" or "1". Raises QuantityError.
    """
    scanner = open_scanner(text)
    value = scan_value(scanner, unit)
    scanner.skip_space()
    if not scanner.at_end:
        raise scanner.refuse(f"'{scanner.rest}' is left over", example(unit))
    return value


def open_scanner(text: str) -> Scanner:
    """Return a scanner over `text`; refuse what no value can look like."""
    if len(text) > _MOST_CHARACTERS:
        raise QuantityError(text[:20] + "…", 0, "the value is far too long", "Shorten it")
    scanner = Scanner(text)
    for position, sign in enumerate(text):
        if not sign.isprintable() and sign not in _SPACES:
            raise scanner.refuse("a value is one line of plain text", "Remove the sign", position)
    scanner.skip_space()
    if scanner.at_end:
        raise scanner.refuse("the value is empty", "Write a number with its unit")
    return scanner


def scan_value(scanner: Scanner, unit: str) -> Decimal:
    """Read one value in `unit` where the scanner stands and leave the rest unread."""
    start = scanner.position
    sign = -1 if scanner.take(_SIGN).strip() in {"-", "\u2212"} else 1
    magnitude = _scan_leading_letter(scanner, unit)
    if magnitude is None:
        magnitude = _scan_number(scanner, unit)
    if abs(magnitude) > _LARGEST:
        raise scanner.refuse("the value is beyond anything physical", example(unit), start)
    return sign * magnitude


def example(unit: str) -> str:
    """Say how a value in `unit` is written."""
    samples = {
        "Ω": "Write it like 4k7, 0R22, 47 kΩ or 1M",
        "F": "Write it like 100n, 2u2, 4p7 or 10 nF",
        "°C": "Write it like -10 °C",
        "%": "Write it like 25 %",
        "1": "Write it like 0.6 or 60 %",
        "VA": "Write it like 3 VA",
        "Hz": "Write it like 50 Hz",
        "s": "Write it like 10 ms",
        "V": "Write it like 12 V, 5V6 or 400 mV",
        "A": "Write it like 0.5 A or 20 mA",
        "W": "Write it like 45 W or 250 mW",
        "H": "Write it like 10 mH",
        "K/W": "Write it like 15 K/W",
        "A²s": "Write it like 2.5 A²s",
    }
    return samples[unit]


def _scan_leading_letter(scanner: Scanner, unit: str) -> Decimal | None:
    """Read R47, n47, p33: the letter stands where the decimal point would."""
    if unit not in IMPLIED:
        return None
    match = _LETTER_DIGITS.match(scanner.text, scanner.position)
    if not match:
        return None
    factor = _point_letter_factor(match.group(1), unit)
    if factor is None:
        return None
    scanner.position = match.end()
    value = Decimal("0." + match.group(2)) * factor
    _take_unit(scanner, unit)
    return value


def _scan_number(scanner: Scanner, unit: str) -> Decimal:
    digits = scanner.take(_DIGITS)
    if not digits:
        raise scanner.refuse(f"'{scanner.rest}' does not begin with a number", example(unit))
    pointed = _scan_point_letter(scanner, digits, unit)
    if pointed is not None:
        return pointed
    _refuse_look_alikes(scanner, unit)
    return Decimal(digits) * _scan_scale(scanner, unit)


def _scan_point_letter(scanner: Scanner, digits: str, unit: str) -> Decimal | None:
    """Read the rest of 4k7 after its 4; None when no letter between digits follows."""
    match = _LETTER_DIGITS.match(scanner.text, scanner.position)
    if not match or unit in UNPREFIXED:
        return None
    factor = _point_letter_factor(match.group(1), unit)
    if factor is None:
        return None
    if "." in digits:
        raise scanner.refuse(
            f"'{match.group(1)}' stands for a decimal point, and there is one already",
            example(unit),
        )
    named = match.group(1) == POINT_LETTERS.get(unit)
    scanner.position = match.end()
    value = Decimal(f"{digits}.{match.group(2)}") * factor
    if not _take_unit(scanner, unit) and not named and unit not in IMPLIED:
        raise scanner.refuse(f"the unit {unit} is missing", example(unit))
    return value


def _point_letter_factor(letter: str, unit: str) -> Decimal | None:
    if letter == POINT_LETTERS.get(unit):
        return Decimal(1)
    return PREFIXES.get(letter)


def _refuse_look_alikes(scanner: Scanner, unit: str) -> None:
    """Name the usual slips instead of calling them left over."""
    rest = scanner.rest
    if re.match(r"[eE][+\-]?[0-9]", rest):
        raise scanner.refuse("powers of ten are not written with e", example(unit))
    if re.match(r",[0-9]", rest):
        raise scanner.refuse("the decimal sign is a point, not a comma", example(unit))
    if re.match(r"\s*(meg|MEG|Meg)", rest):
        raise scanner.refuse("mega is written M", example(unit))


def _scan_scale(scanner: Scanner, unit: str) -> Decimal:
    """Read prefix and unit after a number; return the factor to SI."""
    start = scanner.position
    scanner.skip_space()
    if unit == "1":
        return _scan_share(scanner, start)
    if unit == "Ω" and scanner.position == start and scanner.take_spelling(("R",)):
        return Decimal(1)
    if _take_unit(scanner, unit):
        return Decimal("0.01") if unit == "%" else Decimal(1)
    prefix = "" if unit in UNPREFIXED else scanner.take_spelling(tuple(PREFIXES))
    if prefix and _take_unit(scanner, unit):
        return PREFIXES[prefix]
    if prefix and unit in IMPLIED:
        return PREFIXES[prefix]
    raise _unit_error(scanner, unit, start)


def _scan_share(scanner: Scanner, start: int) -> Decimal:
    if scanner.take_spelling(("%",)):
        return Decimal("0.01")
    scanner.position = start
    return Decimal(1)


def _take_unit(scanner: Scanner, unit: str) -> str:
    """Take the unit where the scanner stands, unless it only begins a longer word.

    On a resistor or capacitor a single letter may follow at once: its tolerance code.
    """
    before = scanner.position
    spelling = scanner.take_spelling(SPELLINGS[unit])
    longer = r"[A-Za-z]{2}" if unit in IMPLIED else r"[A-Za-z]"
    if spelling and re.match(longer, scanner.rest):
        scanner.position = before
        return ""
    return spelling


def _unit_error(scanner: Scanner, unit: str, start: int) -> QuantityError:
    scanner.position = start
    scanner.skip_space()
    found = re.match(r"[^\s]+", scanner.rest)
    if not found:
        return scanner.refuse(f"the unit {unit} is missing", example(unit), start)
    return scanner.refuse(f"'{found.group()}' is not the unit {unit}", example(unit))
