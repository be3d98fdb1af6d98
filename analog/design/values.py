"""The values a design consists of: a part's value with its tolerance, a spread."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Value(BaseModel):
    """Base of the value records: frozen, strict, nothing extra."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid")


class PartValue(Value):
    """A resistor's or capacitor's value.

    `nominal` in Ω or F; tolerances as fractions, the low one zero or negative; `technology` the
    name of a technology card (``carbon-film``, ``X7R``); `rating` in V for capacitors, W for
    resistors, None when not stated. `text` is what was written, `assumed` names what was not
    written and comes from the technology instead.
    """

    nominal: float
    tolerance_low: float
    tolerance_high: float
    technology: str
    rating: float | None = None
    key: str = ""
    text: str = ""
    assumed: tuple[str, ...] = ()


class Spread(Value):
    """A quantity with its guaranteed ends, all three in the same SI unit."""

    low: float
    nominal: float
    high: float
    key: str = ""
    text: str = ""
