"""Checks on the text of B expressions, so that nothing ngspice would misread reaches it.

ngspice reads ``10M`` as ten milli, gives ``x^3`` of a negative x the sign of its magnitude, and
takes a misspelt node for a new one: all three run without a word. They are refused here.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from itertools import pairwise

_TOKEN = re.compile(
    r"""\s+
    |(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)
    |(?P<parameter>\{[a-z][a-z0-9_]*\})
    |(?P<probe>[vi]\s*\(\s*[a-z0-9_]+(?:\s*,\s*[a-z0-9_]+)?\s*\))
    |(?P<name>[a-z][a-z0-9_]*)
    |(?P<operator>\|\||&&|==|!=|<=|>=|[-+*/(),<>?:!])
    """,
    re.VERBOSE,
)

FUNCTIONS = frozenset(
    {"abs", "acos", "acosh", "asin", "asinh", "atan", "atanh", "ceil", "cos", "cosh", "exp"}
    | {"floor", "ln", "log", "log10", "max", "min", "nint", "pow", "pwl", "pwr", "sgn", "sin"}
    | {"sinh", "sqrt", "tan", "tanh", "u", "uramp"}
)
VARIABLES = frozenset({"time", "temper", "pi"})

# Names ngspice's parameter language takes for its own.
RESERVED = (
    FUNCTIONS
    | VARIABLES
    | {"agauss", "and", "arctan", "aunif", "defined", "div", "e", "gauss", "hertz", "i", "int"}
    | {"limit", "mod", "not", "or", "sqr", "temp", "ternary_fcn", "unif", "v", "var", "vec"}
)


class ExpressionError(ValueError):
    """An expression ngspice would refuse or, worse, misread."""


def check_expression(text: str, nodes: Collection[str], sources: Collection[str]) -> None:
    """Raise ExpressionError unless `text` is ``i = …`` or ``v = …`` in known names only.

    `nodes` and `sources` (lower case) are those ``v(…)`` and ``i(…)`` may ask for.
    """
    head, equals, body = text.partition("=")
    if not equals or head.strip() not in ("i", "v"):
        raise ExpressionError(f"expression {text!r} starts with neither 'i =' nor 'v ='")
    kinds: list[tuple[str, str]] = []
    position = 0
    while position < len(body):
        match = _TOKEN.match(body, position)
        if match is None:
            raise ExpressionError(
                f"{body[position : position + 12]!r} is not understood in {text!r}"
            )
        if match.lastgroup is not None:
            kinds.append((match.lastgroup, match.group()))
        position = match.end()
    _check_tokens(kinds, text)
    for kind, token in kinds:
        if kind == "probe":
            _check_probe(token, nodes, sources)


def bracketed(text: str) -> str:
    """Put brackets round every ``{parameter}``: ngspice expands it as bare text.

    Without them ``{a}*x`` with a = -1 inside a power or after a minus changes its meaning.
    """
    return re.sub(r"\{([a-z][a-z0-9_]*)\}", r"({\1})", text)


def uses_time(text: str) -> bool:
    """Tell whether the expression depends on `time`, for which ngspice sets no breakpoints."""
    return re.search(r"\btime\b", text) is not None


def _check_tokens(kinds: list[tuple[str, str]], text: str) -> None:
    if not kinds:
        raise ExpressionError(f"expression {text!r} is empty")
    for (first, left), (second, right) in pairwise(kinds):
        if first in ("number", "name") and second in ("name", "number", "parameter", "probe"):
            raise ExpressionError(
                f"{left}{right} in {text!r}: a scale letter or a missing operator"
            )
        if left == right == "*":
            raise ExpressionError(f"** in {text!r}: the sign is lost; multiply instead")
    names = [token for kind, token in kinds if kind == "name"]
    for name in names:
        if name not in FUNCTIONS and name not in VARIABLES:
            raise ExpressionError(f"{name!r} in {text!r} is no function or variable known here")
    # With a choice or a parameter beside it, ngspice 39 ends the process over a pwl().
    if "pwl" in names and ("?" in text or "{" in text):
        raise ExpressionError(f"pwl() must stand alone, without ? or parameters: {text!r}")


def _check_probe(token: str, nodes: Collection[str], sources: Collection[str]) -> None:
    kind, _, rest = token.replace(" ", "").rstrip(")").partition("(")
    for name in rest.split(","):
        known = nodes if kind == "v" else sources
        if name not in known:
            what = "node" if kind == "v" else "voltage source"
            raise ExpressionError(f"{token} asks for a {what} the circuit does not have")
