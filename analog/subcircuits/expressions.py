"""Expressions as the file writes them: parsed into a tree of our own, names still unresolved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from analog.subcircuits.cursor import Cursor
from analog.subcircuits.functions import FUNCTIONS, PRECEDENCE, REFUSED_NAMES
from analog.subcircuits.limits import DEEPEST_EXPRESSION, MOST_TERMS
from analog.subcircuits.lines import Token
from analog.subcircuits.numbers import looks_like_number, read_number
from analog.subcircuits.problems import FaultError, Place, shown

_POWER_REMEDY = "Multiply out, or use pwr(x,y), which keeps the sign, or pow(x,y), which drops it"


@dataclass(frozen=True, slots=True)
class Constant:
    """A number."""

    value: float
    place: Place


@dataclass(frozen=True, slots=True)
class Name:
    """A parameter, ``pi`` or ``temper``."""

    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Probe:
    """``v(node)``, ``v(node,node)`` or ``i(source)``."""

    kind: str
    names: tuple[Token, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Applied:
    """A sign or a function with its operands; `height` counts those within each other."""

    sign: str
    operands: tuple[Formula, ...]
    place: Place
    height: int = field(init=False)

    def __post_init__(self) -> None:
        inner = (one.height for one in self.operands if isinstance(one, Applied))
        object.__setattr__(self, "height", 1 + max(inner, default=0))
        if self.height > DEEPEST_EXPRESSION:
            rule = f"the expression is nested over {DEEPEST_EXPRESSION} deep"
            raise FaultError(self.place, rule, "Split it over parameters or sources")


Formula = Constant | Name | Probe | Applied


class _Parser:
    """Reads one expression at a cursor and stops at the first word that cannot belong to it."""

    def __init__(self, cursor: Cursor) -> None:
        self.cursor = cursor
        self.depth = 0
        self.terms = 0

    def choice(self) -> Formula:
        """Read ``a ? b : c``, or anything that binds tighter."""
        self._enter()
        condition = self.binary(0)
        place = self.cursor.place
        if self.cursor.take("?"):
            yes = self.choice()
            self.cursor.expect(":", "a choice is written a ? b : c")
            condition = Applied("?", (condition, yes, self.choice()), place)
        self.depth -= 1
        return condition

    def binary(self, level: int) -> Formula:
        """Read operands joined by the signs of one group, from left to right."""
        if level == len(PRECEDENCE):
            return self.unary()
        left = self.binary(level + 1)
        while (token := self.cursor.peek()) and token.text in PRECEDENCE[level]:
            self.cursor.advance()
            left = Applied(token.text, (left, self.binary(level + 1)), token.place)
        return left

    def unary(self) -> Formula:
        """Read a sign before its operand."""
        token = self.cursor.peek()
        if token is None or token.text not in ("-", "+", "!"):
            return self.atom()
        self._enter()
        self.cursor.advance()
        following = self.cursor.peek()
        if following is not None and following.text == token.text and following.glued:
            rule = f"'{2 * token.text}' may be a slip or a comment"
            raise FaultError(token.place, rule, "Put the second sign in brackets")
        operand = self.unary()
        self.depth -= 1
        return operand if token.text == "+" else Applied(token.text, (operand,), token.place)

    def atom(self) -> Formula:
        """Read a number, a name, a call or something in brackets."""
        token = self.cursor.advance("an expression breaks off here", "Complete it")
        self.terms += 1
        if self.terms > MOST_TERMS:
            rule = f"the expression has over {MOST_TERMS} terms"
            raise FaultError(token.place, rule, "Split it over several sources")
        if token.text in ("(", "{"):
            inner = self.choice()
            closing = ")" if token.text == "(" else "}"
            self.cursor.expect(closing, f"'{token.text}' is not closed")
            found = inner
        elif looks_like_number(token.text):
            found = Constant(read_number(token), token.place)
        elif token.text[0].isalpha() or token.text[0] == "_":
            found = self._named(token)
        else:
            rule = f"'{shown(token.text)}' cannot stand here"
            raise FaultError(token.place, rule, "Write a number, a name or a (bracket)")
        self._refuse_power()
        return found

    def _named(self, token: Token) -> Formula:
        if token.text in REFUSED_NAMES:
            rule = f"'{token.text}' {REFUSED_NAMES[token.text]}, which is not allowed here"
            raise FaultError(token.place, rule, f"Known functions: {', '.join(FUNCTIONS)}")
        following = self.cursor.peek()
        if following is None or following.text != "(":
            return Name(token.text, token.place)
        if token.text in ("v", "i"):
            return self._probe(token)
        return self._call(token)

    def _probe(self, token: Token) -> Probe:
        self.cursor.advance()
        names = [self.cursor.node()]
        if token.text == "v" and self.cursor.take(","):
            names.append(self.cursor.node())
        self.cursor.expect(")", f"'{token.text}(' is not closed")
        return Probe(token.text, tuple(names), token.place)

    def _call(self, token: Token) -> Applied:
        if token.text not in FUNCTIONS:
            rule = f"'{shown(token.text)}' is no function known here"
            raise FaultError(token.place, rule, f"Known: {', '.join(FUNCTIONS)}")
        self.cursor.advance()
        operands = [self.choice()]
        while self.cursor.take(","):
            operands.append(self.choice())
        self.cursor.expect(")", f"'{token.text}(' is not closed")
        wanted = FUNCTIONS[token.text][0]
        if len(operands) != wanted:
            rule = f"{token.text}() has {len(operands)} arguments instead of {wanted}"
            raise FaultError(token.place, rule, "Mend the call")
        return Applied(token.text, tuple(operands), token.place)

    def _refuse_power(self) -> None:
        token = self.cursor.peek()
        if token is not None and token.text in ("^", "**"):
            rule = f"'{token.text}' loses the sign of a negative base"
            raise FaultError(token.place, rule, _POWER_REMEDY)

    def _enter(self) -> None:
        """Count one more level of brackets; `Applied` counts those of signs."""
        self.depth += 1
        if self.depth > DEEPEST_EXPRESSION:
            rule = f"the expression is nested over {DEEPEST_EXPRESSION} deep"
            raise FaultError(self.cursor.place, rule, "Split it over parameters or sources")


def read_formula(cursor: Cursor) -> Formula:
    """Read an expression; what follows it stays. Raises FaultError where it is none."""
    return _Parser(cursor).choice()


def probed(formula: Formula | None) -> Iterator[Token]:
    """Yield the nodes an expression asks for."""
    if isinstance(formula, Applied):
        for operand in formula.operands:
            yield from probed(operand)
    elif isinstance(formula, Probe) and formula.kind == "v":
        yield from formula.names


def read_value(cursor: Cursor, what: str) -> Formula:
    """Read a number with its sign, or an expression in braces; `what` names it in messages."""
    token = cursor.advance(f"{what} is missing", "Add it")
    if token.text == "{":
        inner = read_formula(cursor)
        cursor.expect("}", "'{' is not closed")
        return inner
    sign = token.text if token.text in ("-", "+") else ""
    if sign:
        before = cursor.before_last()
        if token.glued and before is not None and before.text[-1].isalnum():
            raise FaultError(token.place, "no blank stands before the sign", "Put one there")
        token = cursor.advance(f"{what} is missing", "Add it")
        if not token.glued:
            raise FaultError(token.place, "a blank stands behind the sign", "Drop the blank")
    if not looks_like_number(token.text):
        rule = f"'{shown(token.text)}' is not {what}"
        raise FaultError(token.place, rule, "Write a number, or an expression in {braces}")
    value = read_number(token)
    return Constant(0.0 - value if sign == "-" else value, token.place)
