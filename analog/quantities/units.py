"""Units and prefixes as the trade writes them. Everything else is refused, never guessed."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

#: Spellings accepted for a unit, longest first; the first one is how reports write it. The
#: empty unit "1" is a plain number or a percentage.
SPELLINGS: Final[dict[str, tuple[str, ...]]] = {
    "Ω": ("Ω", "\u2126", "ohms", "ohm", "Ohm"),  # U+2126 is the old ohm sign
    "F": ("F",),
    "H": ("H",),
    "V": ("V",),
    "A": ("A",),
    "W": ("W",),
    "VA": ("VA",),
    "Hz": ("Hz",),
    "s": ("s",),
    "°C": ("°C", "\u2103", "degC", "C"),  # U+2103 is the one-character degree Celsius
    "K/W": ("K/W", "°C/W"),
    "A²s": ("A²s", "A2s"),
    "%": ("%",),
    "1": (),
}

#: SI prefixes of the notation. Kilo is also written K (IEC 60062); M is mega and m is milli,
#: always; micro is u, the micro sign or the Greek letter.
PREFIXES: Final[dict[str, Decimal]] = {
    "T": Decimal("1e12"),
    "G": Decimal("1e9"),
    "M": Decimal("1e6"),
    "k": Decimal("1e3"),
    "K": Decimal("1e3"),
    "m": Decimal("1e-3"),
    "u": Decimal("1e-6"),
    "\u00b5": Decimal("1e-6"),
    "\u03bc": Decimal("1e-6"),
    "n": Decimal("1e-9"),
    "p": Decimal("1e-12"),
    "f": Decimal("1e-15"),
}

#: Units that take no prefix; that of A²s could be read as squared.
UNPREFIXED: Final = frozenset({"°C", "K/W", "A²s", "%", "1"})

#: Units a value may leave out because the multiplier letter says it is a component value.
IMPLIED: Final = frozenset({"Ω", "F"})

#: Letters that stand for the decimal point and the unit at once: 4R7, 3V3, 2F2.
POINT_LETTERS: Final[dict[str, str]] = {
    "Ω": "R",
    "F": "F",
    "H": "H",
    "V": "V",
    "A": "A",
    "W": "W",
}
