"""A user's own limits, spreads of values and expected verdict."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import model_validator
from pydantic.json_schema import SkipJsonSchema

from analog.design.basis import Record
from analog.design.fields import refuse
from analog.design.kinds import (
    LimitEnd,
    LimitName,
    MeasureName,
    Measures,
    Reason,
    ReelName,
    Share,
    Sigmas,
    SpreadKey,
    read_limit,
)


class LimitOverride(Record):
    """A limit of the user's own on one measure, with the reason for it.

    `measure` is ``bench.measure``; `limit` names the limit it replaces, None adds one. `unit` is
    the one the ends were written in ("1" for a plain number), to be compared with the measure's.
    """

    section = "limits"
    hidden = ("unit",)

    measure: MeasureName
    limit: LimitName | None = None
    minimum: LimitEnd | None = None
    maximum: LimitEnd | None = None
    reason: Reason
    unit: SkipJsonSchema[str] = "1"

    @model_validator(mode="before")
    @classmethod
    def _note_unit(cls, data: Any) -> Any:
        """Keep the unit of whichever end is written as text."""
        ends = [data.get(end) for end in ("minimum", "maximum")] if isinstance(data, dict) else []
        texts = [end for end in ends if isinstance(end, str)]
        if not texts or "unit" in data:
            return data
        units = {read_limit(text)[1] for text in texts}
        if len(units) > 1:
            raise refuse("the two ends have different units", "Write both in one unit")
        return {**data, "unit": units.pop()}


class SpreadRule(Record):
    """How a value differs from board to board, where the usual is not right.

    `of` is a dotted key, or ``parts`` for all resistors and capacitors without a rule of their
    own. Without `distribution` the technology's card says which one it is. A ``normal``
    distribution is cut off at the guaranteed ends, `sigmas` standard deviations from the middle.
    `without` (a share) is the tighter bin that was picked out: nothing lies within it. Parts off
    one `reel` lie at the same place in their tolerance.
    """

    section = "spread"

    of: SpreadKey
    distribution: Literal["uniform", "normal"] | None = None
    sigmas: Sigmas | None = None
    without: Share | None = None
    reel: ReelName | None = None


class Expect(Record):
    """What the design should come out as; for a fail, the measures that fail."""

    section = "expect"

    verdict: Literal["pass", "fail", "undecided"]
    fails: Measures = ()
