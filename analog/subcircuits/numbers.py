"""Numbers as SPICE writes them, which is not as the trade does: M is milli, F is femto.

T, G, MEG, K, M, U, N, P, F scale by 1e12, 1e9, 1e6, 1e3, 1e-3, 1e-6, 1e-9, 1e-12, 1e-15 and MIL
by 25.4e-6, in either case (ngspice manual, "Basic syntax"). A unit may follow and is not heeded;
only the usual units are taken, so that a slip such as ``4k7`` is not read as 4 kΩ in silence. A
lone A is refused: some versions take it for atto, some for ampere.
"""

from __future__ import annotations

import math
import re
from typing import Final

from analog.subcircuits.lines import Token
from analog.subcircuits.problems import FaultError, shown

_NUMBER: Final = re.compile(r"(\d+\.?\d*|\.\d+)(?:e([+-]?\d{1,4}))?([a-z]*)")
_SCALES: Final = {
    "meg": 6,
    "t": 12,
    "g": 9,
    "k": 3,
    "m": -3,
    "u": -6,
    "n": -9,
    "p": -12,
    "f": -15,
}
_MIL: Final = 25.4e-6
_UNITS: Final = frozenset({"", "ohm", "ohms", "v", "f", "h", "hz", "s", "w"})
_LONGEST: Final = 60


def looks_like_number(text: str) -> bool:
    """Tell whether a word begins as numbers do."""
    return text[:1].isdigit() or (text[:1] == "." and text[1:2].isdigit())


def is_number(text: str) -> bool:
    """Tell whether a word is a number with letters behind it at most; ``2n3904`` is a name."""
    return _NUMBER.fullmatch(text) is not None


def read_number(token: Token) -> float:
    """Return the value of a word; raises FaultError when it is no finite number."""
    text = token.text
    match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        rule = f"'{shown(text)}' is no number"
        raise FaultError(token.place, rule, "Write it like 4.7k, 100n or 2.2meg")
    mantissa, exponent, letters = match.groups()
    power = _power(letters, token)
    if power is None:
        value = float(f"{mantissa}e{exponent or 0}") * _MIL
    else:
        # Through the text: 100n is 1e-07 to the last bit, as a programmer would write it.
        value = float(f"{mantissa}e{int(exponent or 0) + power}")
    if not math.isfinite(value) or (value == 0.0 and float(mantissa) != 0.0):
        rule = f"'{shown(text)}' is beyond what a number can hold"
        raise FaultError(token.place, rule, "Write a value that exists")
    return value


def is_milli(text: str) -> bool:
    """Tell whether a number is scaled by M, which the trade may have meant as mega."""
    match = _NUMBER.fullmatch(text)
    letters = match.group(3) if match else ""
    return letters[:1] == "m" and not letters.startswith(("meg", "mil"))


def _power(letters: str, token: Token) -> int | None:
    """Return the power of ten the letters behind a number stand for, None for thousandths of an
    inch."""
    if letters == "mil":
        return None
    for scale, power in _SCALES.items():
        rest = letters.removeprefix(scale)
        if rest != letters and (rest in _UNITS or rest == "a"):
            return power
    if letters in _UNITS:
        return 0
    rule = f"'{shown(letters)}' behind a number is neither a scale nor a unit"
    remedy = "Scales are t, g, meg, k, m (milli), u, n, p, f; write 4.7k, not 4k7"
    raise FaultError(token.place, rule, remedy)
