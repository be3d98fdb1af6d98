"""What makes a record's field read the trade's notation and say so in the schema.

A field takes a text, or the finished value when a record is built in code. A text that is wrong
raises a pydantic error whose context holds `rule`, `remedy` and `offset` (the character), so
that the reader of design files can point at it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from analog.quantities import QuantityError


class Written(str):
    """A text with the dotted key it stands under."""

    __slots__ = ("key",)
    key: str

    def __new__(cls, text: str, key: str) -> Written:
        written = super().__new__(cls, text)
        written.key = key
        return written


def refuse(rule: str, remedy: str, offset: int = 0) -> PydanticCustomError:
    """Build the error for a value that breaks `rule`."""
    context = {"rule": rule, "remedy": remedy, "offset": offset}
    return PydanticCustomError("notation", "{rule}. {remedy}", context)


@dataclass(frozen=True, slots=True)
class Notation:
    """Marks a field whose text `read` turns into its value; `sample` shows how it is written."""

    read: Callable[[str, str], Any]
    sample: str
    numbers: bool = False
    """A bare number is good as well (shares, power factor)."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self._read_text, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        types = ["string", "number"] if self.numbers else "string"
        return {"type": types, "minLength": 1, "examples": [self.sample]}

    def _read_text(self, value: object) -> object:
        if not isinstance(value, str):
            return value
        try:
            return self.read(value, getattr(value, "key", ""))
        except QuantityError as error:
            raise refuse(error.rule, error.remedy, error.position) from None


@dataclass(frozen=True, slots=True)
class Bounds:
    """Allowed ends of a quantity, in SI; `strict_low` excludes the lower end itself."""

    low: float = -math.inf
    high: float = math.inf
    strict_low: bool = False

    def check(self, value: float, what: str) -> None:
        """Raise the field's error when `value` is outside; `what` names it in the message."""
        if value < self.low or (self.strict_low and value == self.low):
            relation = "above" if self.strict_low else "at least"
            raise refuse(f"{what} is not {relation} {self.low:g}", f"Write a value {relation} it")
        if value > self.high:
            remedy = f"Write at most {self.high:g}; mind that m is milli and M is mega"
            raise refuse(f"{what} is over {self.high:g}", remedy)


@dataclass(frozen=True, slots=True)
class Wording:
    """Marks a text field and says what may stand in it: `pattern` matches the whole text."""

    pattern: str
    rule: str
    remedy: str
    longest: int = 80

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        # in JSON Schema's dialect $ is the very end, in Python's it also stands before a newline
        return {"type": "string", "maxLength": self.longest, "pattern": f"^{self.pattern}$"}

    def _check(self, text: str) -> str:
        if len(text) > self.longest:
            raise refuse(f"the text is longer than {self.longest} characters", "Shorten it")
        if not re.fullmatch(self.pattern, text):
            raise refuse(self.rule, self.remedy)
        return text
