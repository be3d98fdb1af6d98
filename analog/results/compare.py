"""What changed between two results, why, and whether an accepted baseline is kept.

The accuracy is that of the search and the simulation together: 0.5 % of the value, of the
nominal or of the limit, whichever is largest, and never finer than 1 µs for times. Engine
versions, dates and digits below that are no change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analog.results.records import BenchResult, MeasureRow, Results
from analog.verdicts import Verdict

ACCURACY_SHARE = 0.005
FINEST = {"s": 1e-6}

MAY_SHRINK = 0.05
"""Share of an accepted margin that may be lost before the baseline counts as broken."""

_RANK: dict[Verdict | None, int] = {None: 0, "pass": 0, "undecided": 1, "fail": 2}


@dataclass(frozen=True, slots=True)
class Change:
    """One difference: `field` of the row of `measure` (with its `limit`), before and after.

    `worse` says that the change is against the design: a graver verdict, a smaller margin, or a
    judged row that is gone. Numbers are in `unit`.
    """

    bench: str
    measure: str
    limit: str | None
    field: str
    before: float | str | None
    after: float | str | None
    worse: bool
    unit: str = "1"


Kind = Literal["design", "limit", "tool", "choice"]


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that differs between what two results were made from, in words.

    `kind`: the design's text; a limit of this row; the tool (package, simulator, cards, models);
    the random choices.
    """

    kind: Kind
    what: str


@dataclass(frozen=True, slots=True)
class Breach:
    """A change that breaks an accepted baseline, and what can have caused it.

    `lost` is the share of the accepted margin that is gone, None when that cannot be said.
    """

    change: Change
    lost: float | None
    causes: tuple[Cause, ...]


def compare(before: Results, after: Results) -> tuple[Change, ...]:
    """Return every change, in the order of the benches and rows of `before`, new ones last."""
    old, new = _rows(before), _rows(after)
    changes: list[Change] = []
    for key in (*old, *(key for key in new if key not in old)):
        changes += _row_changes(key, old.get(key), new.get(key))
    return tuple(changes)


def only_benches(results: Results, benches: Sequence[str]) -> Results:
    """Return the results with only the named benches, all of them for no names."""
    kept = tuple(one for one in results.benches if not benches or one.bench in benches)
    return replace(results, benches=kept)


def breaches(baseline: Results, now: Results, may_shrink: float = MAY_SHRINK) -> tuple[Breach, ...]:
    """Return the changes since the accepted baseline that are against the design.

    A margin may lose the share `may_shrink` of what it was (dimensionless, 0.05 for 5 %).
    """
    found = []
    for change in compare(baseline, now):
        lost = lost_share(change)
        if change.worse and (lost is None or lost > may_shrink):
            found.append(Breach(change, lost, causes(baseline, now, change)))
    return tuple(found)


def lost_share(change: Change) -> float | None:
    """Return the share of a margin that a change has taken away; None for any other change."""
    before, after = change.before, change.after
    if change.field != "margin" or not isinstance(before, float) or not isinstance(after, float):
        return None
    return (before - after) / abs(before) if before else None


def causes(before: Results, after: Results, of: Change | None = None) -> tuple[Cause, ...]:
    """Return what differs in the making of two results; with `of`, also in that row's limit."""
    found = []
    if before.design.sha256 != after.design.sha256:
        found.append(Cause("design", "the design changed"))
    if of is not None and _limit_moved(before, after, of):
        found.append(Cause("limit", "the limit changed"))
    found += [Cause("tool", what) for what in _tool_changes(before, after)]
    if before.seed != after.seed:
        found.append(Cause("choice", f"the seed changed from {before.seed} to {after.seed}"))
    return tuple(found)


def _limit_moved(before: Results, after: Results, of: Change) -> bool:
    key = (of.bench, of.measure, of.limit)
    old, new = _rows(before).get(key), _rows(after).get(key)
    return old is not None and new is not None and bool(_limit_changes(key, old, new))


def _tool_changes(before: Results, after: Results) -> list[str]:
    said = []
    if before.package_version != after.package_version:
        said.append(f"edgeproof changed from {before.package_version} to {after.package_version}")
    old, new = (f"{one.engine.name} {one.engine.version}" for one in (before, after))
    if old != new:
        said.append(f"the simulator changed from {old} to {new}")
    both = before.inputs.keys() & after.inputs.keys()
    files = sorted(name for name in both if before.inputs[name] != after.inputs[name])
    if files:
        said.append(f"part cards or models changed: {', '.join(files)}")
    return said


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
    changes += _value_changes(key, old, new)
    if old.unit != new.unit:
        changes.append(Change(*key, "unit", old.unit, new.unit, False))
    return changes + _limit_changes(key, old, new)


def _value_changes(key: _Key, old: MeasureRow, new: MeasureRow) -> list[Change]:
    within = max(accuracy(old), accuracy(new))
    changes = []
    for field in ("nominal", "worst", "margin"):
        before, after = getattr(old, field), getattr(new, field)
        if _differ(before, after, within):
            worse = field == "margin" and before is not None and (after is None or before > after)
            changes.append(Change(*key, field, before, after, worse, new.unit))
    return changes


def _limit_changes(key: _Key, old: MeasureRow, new: MeasureRow) -> list[Change]:
    """Return moved limit ends; a limit that was loosened counts as against the design."""
    if old.limit is None or new.limit is None:
        return []
    changes = []
    for end in ("min", "max"):
        before, after = getattr(old.limit, end), getattr(new.limit, end)
        if not _same_end(before, after):
            loosened = before is not None and (
                after is None or (after < before if end == "min" else after > before)
            )
            changes.append(Change(*key, f"limit.{end}", before, after, loosened, new.unit))
    return changes


def _same_end(before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before is after
    return math.isclose(before, after, rel_tol=1e-9)


def _differ(before: float | None, after: float | None, within: float) -> bool:
    if before is None or after is None:
        return before is not after
    return abs(after - before) > within
