"""The rows a check will give, before anything is simulated."""

from __future__ import annotations

from collections.abc import Iterator

from analog.benches.base import Plan
from analog.design import Design
from analog.results.records import LimitRow, MeasureRow
from analog.workflows.judging import merged_limits


def planned_rows(plan: Plan, design: Design) -> Iterator[MeasureRow]:
    """Yield one row without values per limit that `check` will judge, in its order."""
    limits = merged_limits(plan, design.limits)
    for measure in plan.measures:
        for limit in limits[measure.identifier]:
            yield MeasureRow(
                measure=measure.identifier,
                unit=measure.unit,
                nominal=None,
                worst=None,
                worst_at={},
                limit=LimitRow(limit.identifier, limit.minimum, limit.maximum, limit.source),
                margin=None,
                margin_share=None,
                verdict=None,
                reason=limit.note,
                samples=0,
            )
