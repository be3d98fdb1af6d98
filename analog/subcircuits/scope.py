"""Parameters and their values: looked up inward first, each worked out once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from analog.subcircuits.expressions import Constant, Formula, Name, Probe
from analog.subcircuits.functions import value_of
from analog.subcircuits.limits import DEEPEST_CHAIN
from analog.subcircuits.problems import FaultError, Place, shown
from analog.subcircuits.statements import Formulas

CONSTANTS = {"pi": math.pi}


@dataclass(slots=True)
class Scope:
    """The parameters known inside one use of a sub-circuit; `outer` are those of the file.

    `values` are already known: what an X hands over, and what was looked up before.
    """

    formulas: Formulas
    outer: Scope | None = None
    values: dict[str, float] = field(default_factory=dict)
    open: set[str] = field(default_factory=set)
    """Parameters whose values are being worked out."""

    def parameter(self, name: str, place: Place, depth: int = 0) -> float:
        """Return a parameter's value; FaultError when there is none or it needs itself."""
        if name in self.values:
            return self.values[name]
        if name not in self.formulas:
            if self.outer is not None:
                return self.outer.parameter(name, place, depth)
            rule = f"there is no parameter '{shown(name)}'"
            raise FaultError(place, rule, "Define it by .param, or behind the ports of .subckt")
        if name in self.open:
            raise FaultError(place, f"the parameter '{name}' depends on itself", "Break the circle")
        formula, _ = self.formulas[name]
        self.open.add(name)
        try:
            self.values[name] = self.value(formula, depth + 1)
        finally:
            self.open.discard(name)
        return self.values[name]

    def value(self, formula: Formula, depth: int = 0) -> float:
        """Return the value of an expression of constants and parameters."""
        if depth > DEEPEST_CHAIN:
            rule = "the parameters hang on each other too deeply"
            raise FaultError(formula.place, rule, "Write some of them as numbers")
        if isinstance(formula, Constant):
            return formula.value
        if isinstance(formula, Name):
            return self._named(formula, depth)
        if isinstance(formula, Probe):
            rule = f"{formula.kind}() may stand in B sources only"
            raise FaultError(formula.place, rule, "Use a B source, or a constant here")
        operands = tuple(self.value(one, depth + 1) for one in formula.operands)
        return constant(formula.sign, operands, formula.place)

    def _named(self, name: Name, depth: int) -> float:
        if name.text in CONSTANTS:
            return CONSTANTS[name.text]
        if name.text == "temper":
            rule = "'temper' may stand in B sources only"
            raise FaultError(name.place, rule, "Use tc1 and tc2 at R, C and L")
        return self.parameter(name.text, name.place, depth)


def constant(sign: str, operands: tuple[float, ...], place: Place) -> float:
    """Return the value of a sign or function applied to constants; FaultError without one."""
    if sign == "pow" and operands[0] < 0:
        rule = "pow() of a negative base means one thing in a parameter, another in a source"
        raise FaultError(place, rule, "Use pwr(x,y), which keeps the sign, or abs()")
    try:
        value = value_of(sign, operands)
    except (ValueError, ArithmeticError):
        value = math.nan
    if not math.isfinite(value):
        rule = f"'{sign}' of these numbers has no value"
        raise FaultError(place, rule, "Mend the expression")
    return value + 0.0  # no negative zero
