"""From the extremes of all scenes to the rows of the results: one per measure and limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analog.benches.base import Measure, Plan
from analog.design import LimitOverride
from analog.results.records import LimitRow, MeasureRow
from analog.verdicts import Judgement, Limit, judge
from analog.workflows.checked import Case

Side = Literal["min", "max"]


@dataclass(frozen=True, slots=True)
class Found:
    """One side of one measure in one scene: the worst case, or None when no run gave data.

    `effects` maps dotted keys to the change of the measure, in its unit, from the key's low to
    its high, the mean of all steps seen. `note` is what else there is to say of the worst case.
    """

    measure: str
    side: Side
    title: str
    case: Case | None
    nominal: Case
    effects: Mapping[str, float]
    settled: bool
    runs: int
    failed_runs: int
    failure: str
    note: str = ""

    @property
    def value(self) -> float:
        """The worst value; NaN when it never happened."""
        return math.nan if self.case is None else self.case.values[self.measure]


def merged_limits(plan: Plan, overrides: Iterable[LimitOverride]) -> dict[str, tuple[Limit, ...]]:
    """Return the plan's limits with the design's own replacing those of one name, or added."""
    limits = {
        measure.identifier: plan.limits.get(measure.identifier, ()) for measure in plan.measures
    }
    for override in overrides:
        bench, _, measure = override.measure.partition(".")
        if bench != plan.bench or measure not in limits:
            continue
        name = override.limit or "user"
        own = Limit(name, override.minimum, override.maximum, f"the design: {override.reason}")
        kept = tuple(limit for limit in limits[measure] if limit.identifier != name)
        limits[measure] = (*kept, own)
    return limits


def sides(measure: Measure, limits: Sequence[Limit]) -> tuple[Side, ...]:
    """Return the sides to search: what the measure declares and what its limits need."""
    wanted: list[Side] = []
    for side, ends in (("min", [x.minimum for x in limits]), ("max", [x.maximum for x in limits])):
        if measure.worst in (side, "both") or any(end is not None for end in ends):
            wanted.append(side)  # type: ignore[arg-type]  # the loop's two words are the sides
    return tuple(wanted)


def rows(
    measure: Measure, limits: Sequence[Limit], found: Sequence[Found]
) -> tuple[tuple[MeasureRow, Case | None], ...]:
    """Return the measure's rows, each with the case its worst value comes from."""
    if not limits:
        return (_unjudged_row(measure, found),)
    return tuple(_judged_row(measure, limit, found) for limit in limits)


def _judged_row(
    measure: Measure, limit: Limit, found: Sequence[Found]
) -> tuple[MeasureRow, Case | None]:
    ends = {"min": limit.minimum, "max": limit.maximum}
    against = [one for one in found if ends[one.side] is not None and one.case is not None]
    shown = LimitRow(limit.identifier, limit.minimum, limit.maximum, limit.source)
    if not against:
        row = replace(_blank_row(measure, found), limit=shown, verdict="undecided")
        return row, None
    judged = [(judge(one.value, limit, measure.scale), one) for one in against]
    judgement, worst = min(judged, key=lambda pair: _gravity(pair[0]))
    verdict = judgement.verdict
    if verdict == "pass" and any(one.failed_runs for one in found):
        verdict = "undecided"
    row = replace(
        _filled_row(measure, worst, found, limit.note),
        limit=shown,
        margin=judgement.margin,
        margin_share=judgement.margin_share,
        verdict=verdict,
    )
    return row, worst.case


def _gravity(judgement: Judgement) -> float:
    """Order judgements, gravest first; never happened is graver than any margin."""
    return -math.inf if judgement.margin is None else judgement.margin


def _unjudged_row(measure: Measure, found: Sequence[Found]) -> tuple[MeasureRow, Case | None]:
    """Return the row of a measure without a limit: its worst over all scenes; of two sides, the
    one farther from nominal."""
    with_data = [one for one in found if one.case is not None]
    if not with_data:
        return _blank_row(measure, found), None
    worst = max(with_data, key=_distance if measure.worst == "both" else _badness)
    note = ""
    if measure.worst == "both" and not any(math.isnan(one.value) for one in with_data):
        low = min(one.value for one in with_data)
        high = max(one.value for one in with_data)
        note = f"from {low:.4g} to {high:.4g} {measure.unit.replace('1', '')}".rstrip()
    return _filled_row(measure, worst, found, note), worst.case


def _badness(found: Found) -> float:
    """Return the value so that the worst of all scenes is the largest."""
    if math.isnan(found.value):
        return math.inf
    return found.value if found.side == "max" else -found.value


def _distance(found: Found) -> float:
    """Return how bad a value is, beyond the nominal, on the found side."""
    nominal = found.nominal.values[found.measure]
    if math.isnan(found.value):
        return math.inf
    sign = 1.0 if found.side == "max" else -1.0
    return sign * (found.value - (0.0 if math.isnan(nominal) else nominal))


def _blank_row(measure: Measure, found: Sequence[Found]) -> MeasureRow:
    return MeasureRow(
        measure=measure.identifier,
        unit=measure.unit,
        nominal=None,
        worst=None,
        worst_at={},
        limit=None,
        margin=None,
        margin_share=None,
        verdict=None,
        reason=_failure_text(found) or "no scene of this design gives it",
        samples=_total(found, "runs"),
    )


def _filled_row(measure: Measure, worst: Found, found: Sequence[Found], note: str) -> MeasureRow:
    value, nominal = worst.value, worst.nominal.values[measure.identifier]
    reasons = [
        "it never happens at the worst case" if math.isnan(value) else "",
        _failure_text(found),
        note,
        worst.note,
        f"worst in: {worst.title}" if len({one.title for one in found}) > 1 else "",
        "" if worst.settled else "the search was ended by its number of runs",
    ]
    return replace(
        _blank_row(measure, found),
        nominal=None if math.isnan(nominal) or worst.nominal.failed else nominal,
        worst=None if math.isnan(value) else value,
        worst_at=dict(worst.case.at) if worst.case else {},
        reason="; ".join(reason for reason in reasons if reason),
        drivers=_drivers(worst, measure.scale),
    )


def _drivers(worst: Found, scale: float) -> tuple[Mapping[str, object], ...]:
    """Return up to five design keys that move the measure most, largest first."""
    ranked = sorted(worst.effects.items(), key=lambda item: -abs(item[1]))
    telling = [(key, change) for key, change in ranked if abs(change) > 1e-3 * scale]
    return tuple({"key": key, "change": change} for key, change in telling[:5])


def _failure_text(found: Sequence[Found]) -> str:
    failed = _total(found, "failed_runs")
    if not failed:
        return ""
    first = next(one.failure for one in found if one.failed_runs)
    return f"{failed} of {_total(found, 'runs')} runs gave no data ({first})"


def _total(found: Sequence[Found], count: Literal["runs", "failed_runs"]) -> int:
    """Return the sum over scenes; two sides of one scene share their runs."""
    return sum({one.title: int(getattr(one, count)) for one in found}.values())
