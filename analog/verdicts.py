"""Value and limit to margin and verdict. Pure: no file, no simulator.

Fail beats undecided beats pass, in a measure, a bench, a design, a command. A measure without
a limit has verdict None and counts for nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["pass", "fail", "undecided"]

_RANK = {"pass": 0, "undecided": 1, "fail": 2}


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on one measure.

    `identifier` tells limits of one measure apart (``absolute_maximum``, ``working``); `minimum`
    and `maximum` in the measure's unit; `source` names document and table, or says "common
    practice, no source" or "from memory". `note` is what the finding must add ("rests on a
    typical figure", "interpolated", "not guaranteed below 5 V").
    """

    identifier: str
    minimum: float | None
    maximum: float | None
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """Margin (negative = fail, in the measure's unit) and its share of the limit or scale."""

    verdict: Verdict
    margin: float | None
    margin_share: float | None


def margin(value: float, limit: Limit) -> float:
    """Return the smaller distance of `value` to the limit's ends, negative when outside."""
    sides = []
    if limit.minimum is not None:
        sides.append(value - limit.minimum)
    if limit.maximum is not None:
        sides.append(limit.maximum - value)
    if not sides:
        raise ValueError(f"limit {limit.identifier} has neither end")
    return min(sides)


def judge(value: float, limit: Limit, scale: float) -> Judgement:
    """Judge one value; NaN means that the thing never happened, which is a fail.

    The share is of the binding end's magnitude, or of `scale` (the measure's own, same unit)
    where that end is 0.
    """
    if math.isnan(value):
        return Judgement("fail", None, None)
    distance = margin(value, limit)
    if limit.minimum is not None and distance == value - limit.minimum:
        binding = limit.minimum
    else:
        assert limit.maximum is not None  # margin() raised otherwise
        binding = limit.maximum
    share = distance / (abs(binding) if binding else scale)
    return Judgement("pass" if distance >= 0 else "fail", distance, share)


def combine(verdicts: Iterable[Verdict | None]) -> Verdict | None:
    """Return the gravest verdict, None when nothing was judged."""
    judged = [verdict for verdict in verdicts if verdict is not None]
    return max(judged, key=_RANK.__getitem__, default=None)
