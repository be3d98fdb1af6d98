"""The functions and signs of expressions, with the values ngspice gives them.

Left out on purpose: whatever depends on time or chance, reads tables or files, and ``^``, which
gives a negative base the sign of its magnitude.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Final


def _sign(x: float) -> float:
    return math.copysign(1.0, x) if x else 0.0


def _step(x: float) -> float:
    """Return ngspice's unit step, which is a half at zero."""
    return (_sign(x) + 1.0) / 2.0


def _power(x: float, y: float) -> float:
    """Return |x| to the power y: ngspice drops the sign of the base."""
    return math.pow(abs(x), y)


#: Name: how many arguments, and the value.
FUNCTIONS: Final[dict[str, tuple[int, Callable[..., float]]]] = {
    "abs": (1, abs),
    "acos": (1, math.acos),
    "asin": (1, math.asin),
    "atan": (1, math.atan),
    "ceil": (1, lambda x: float(math.ceil(x))),
    "cos": (1, math.cos),
    "cosh": (1, math.cosh),
    "exp": (1, math.exp),
    "floor": (1, lambda x: float(math.floor(x))),
    "ln": (1, math.log),
    "log": (1, math.log),
    "log10": (1, math.log10),
    "max": (2, max),
    "min": (2, min),
    "nint": (1, lambda x: float(round(x))),
    "pow": (2, _power),
    "pwr": (2, lambda x, y: _sign(x) * _power(x, y)),
    "sgn": (1, _sign),
    "sin": (1, math.sin),
    "sinh": (1, math.sinh),
    "sqrt": (1, math.sqrt),
    "tan": (1, math.tan),
    "tanh": (1, math.tanh),
    "u": (1, _step),
    "uramp": (1, lambda x: max(x, 0.0)),
}

#: Names that would bring in time, chance, frequency or files, and what is wrong with them.
REFUSED_NAMES: Final[dict[str, str]] = {
    **dict.fromkeys(("time", "ddt", "sdt", "idt", "delay", "absdelay"), "depends on time"),
    **dict.fromkeys(
        ("agauss", "gauss", "aunif", "unif", "limit", "rnd", "rand", "random", "white", "sgauss"),
        "depends on chance",
    ),
    **dict.fromkeys(("hertz", "freq", "laplace"), "depends on frequency"),
    **dict.fromkeys(("table", "pwl", "file", "tbl"), "is a table"),
}

_BINARY: Final[dict[str, Callable[[float, float], float]]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "<": operator.lt,
    ">": operator.gt,
    "<=": operator.le,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
    "&&": lambda x, y: bool(x) and bool(y),
    "||": lambda x, y: bool(x) or bool(y),
}

#: Signs between two operands, the loosest group first.
PRECEDENCE: Final = (("||",), ("&&",), ("==", "!="), ("<", ">", "<=", ">="), ("+", "-"), ("*", "/"))


def value_of(sign: str, operands: tuple[float, ...]) -> float:
    """Return the value of a sign or function; ValueError, ZeroDivisionError or OverflowError where
    it has none."""
    if sign == "?":
        return operands[1] if operands[0] else operands[2]
    if len(operands) == 1 and sign in ("-", "!"):
        return -operands[0] if sign == "-" else float(not operands[0])
    if sign in _BINARY:
        return float(_BINARY[sign](*operands))
    return float(FUNCTIONS[sign][1](*operands))
