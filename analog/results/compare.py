"""What changed between two results, within the accuracy they are stated to.

The accuracy is that of the search and the simulation together: 0.5 % of the value, of the
nominal or of the limit, whichever is largest, and never finer than 1 µs for times. Engine
versions, dates and digits below that are no change.
"""

from __future__ import annotations

from dataclasses import dataclass

from analog.results.records import BenchResult, MeasureRow, Results
from analog.verdicts import Verdict

ACCURACY_SHARE = 0.005
FINEST = {"s": 1e-6}

_RANK: dict[Verdict | None, int] = {None: 0, "pass": 0, "undecided": 1, "fail": 2}


@dataclass(frozen=True, slots=True)
class Change:
    """One difference: `field` of the row of `measure` (with its `limit`), before and after.

    `worse` says that the change is against the design: a graver verdict, a smaller margin, or a
    judged row that is gone.
    """

    bench: str
    measure: str
    limit: str | None
    field: str
    before: float | str | None
    after: float | str | None
    worse: bool


def compare(before: Results, after: Results) -> tuple[Change, ...]:
    """Return every change, in the order of the benches and rows of `before`, new ones last."""
    old, new = _rows(before), _rows(after)
    changes: list[Change] = []
    for key in (*old, *(key for key in new if key not in old)):
        changes += _row_changes(key, old.get(key), new.get(key))
    return tuple(changes)


def breaches(baseline: Results, now: Results) -> tuple[Change, ...]:
    """Return the changes since the accepted baseline that are against the design."""
    return tuple(change for change in compare(baseline, now) if change.worse)


def unchanged(before: Results, after: Results) -> bool:
    """Tell whether two results say the same of the same inputs, within the stated accuracy.

    Design, package, cards, models, random choices and expectation are the same, every row has
    its verdict, limit and source, and the runs without data are as many. Engine versions, where
    an equal worst lies, and digits below the accuracy may differ.
    """
    return (
        _origin(before) == _origin(after)
        and _judged_by(before) == _judged_by(after)
        and not compare(before, after)
    )


def _origin(results: Results) -> tuple[object, ...]:
    return (
        results.design,
        results.package_version,
        dict(results.inputs),
        results.seed,
        results.expect,
        results.engine.name,
    )


def _judged_by(results: Results) -> list[tuple[object, ...]]:
    return [
        (bench.bench, bench.failed_runs, row.measure, row.limit and row.limit.source)
        for bench in results.benches
        for row in bench.measures
    ]


def accuracy(row: MeasureRow) -> float:
    """Return the accuracy, in the row's unit, to which its values are compared."""
    ends = (row.limit.min, row.limit.max) if row.limit else ()
    sizes = [abs(v) for v in (row.worst, row.nominal, *ends) if v is not None]
    return max(ACCURACY_SHARE * max(sizes, default=0.0), FINEST.get(row.unit, 0.0))


_Key = tuple[str, str, str | None]


def _rows(results: Results) -> dict[_Key, MeasureRow]:
    return {
        (bench.bench, row.measure, row.limit.id if row.limit else None): row
        for bench in results.benches
        for row in _judged_first(bench)
    }


def _judged_first(bench: BenchResult) -> tuple[MeasureRow, ...]:
    return tuple(sorted(bench.measures, key=lambda row: row.limit is None))


def _row_changes(key: _Key, old: MeasureRow | None, new: MeasureRow | None) -> list[Change]:
    if old is None or new is None:
        lost = new is None and old is not None and old.limit is not None
        verdict = (old or new).verdict  # type: ignore[union-attr]  # one of them is there
        before, after = (verdict, "absent") if new is None else ("absent", verdict)
        return [Change(*key, "row", before, after, lost or (old is None and verdict == "fail"))]
    changes = []
    if old.verdict != new.verdict:
        worse = _RANK[new.verdict] > _RANK[old.verdict]
        changes.append(Change(*key, "verdict", old.verdict, new.verdict, worse))
    within = max(accuracy(old), accuracy(new))
    for field in ("nominal", "worst", "margin"):
        before, after = getattr(old, field), getattr(new, field)
        if _differ(before, after, within):
            worse = field == "margin" and (after is None or (before or 0.0) > after)
            changes.append(Change(*key, field, before, after, worse and before is not None))
    for field in ("unit",):
        if getattr(old, field) != getattr(new, field):
            changes.append(Change(*key, field, getattr(old, field), getattr(new, field), False))
    return changes + _limit_changes(key, old, new)


def _limit_changes(key: _Key, old: MeasureRow, new: MeasureRow) -> list[Change]:
    """Return moved limit ends; a limit that was loosened counts as against the design."""
    if old.limit is None or new.limit is None:
        return []
    changes = []
    for end in ("min", "max"):
        before, after = getattr(old.limit, end), getattr(new.limit, end)
        if before != after:
            loosened = before is not None and (
                after is None or (after < before if end == "min" else after > before)
            )
            changes.append(Change(*key, f"limit.{end}", before, after, loosened))
    return changes


def _differ(before: float | None, after: float | None, within: float) -> bool:
    if before is None or after is None:
        return before is not after
    return abs(after - before) > within
