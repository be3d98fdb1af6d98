"""What a sweep lost against an earlier one: yields that are lower beyond doubt, graver verdicts."""

from __future__ import annotations

from collections.abc import Iterator

from analog.results.records import Results, Yield

_RANK = {None: 0, "pass": 0, "undecided": 1, "fail": 2}


def yield_losses(before: Results, now: Results) -> tuple[str, ...]:
    """Return in words what is worse now: for the design, every bench and every limit.

    Two intervals that overlap are no loss: other boards would have given other numbers.
    """
    pairs = list(_pairs(before, now))
    return tuple(text for name, old, new in pairs for text in _lost(name, old, new))


_Judged = tuple[str | None, Yield | None]


def _pairs(before: Results, now: Results) -> Iterator[tuple[str, _Judged, _Judged]]:
    """Yield name, verdict and yield of whatever both results judge, before and now."""
    yield now.design.name, (before.verdict, before.yield_), (now.verdict, now.yield_)
    old, new = _parts(before), _parts(now)
    for name in old:
        if name in new:
            yield name, old[name], new[name]


def _parts(results: Results) -> dict[str, _Judged]:
    found: dict[str, _Judged] = {}
    for bench in results.benches:
        found[bench.bench] = (bench.verdict, bench.yield_)
        for row in bench.measures:
            if row.limit is not None:
                found[f"{bench.bench}.{row.measure} {row.limit.id}"] = (row.verdict, row.yield_)
    return found


def _lost(name: str, before: _Judged, now: _Judged) -> Iterator[str]:
    old, new = before[1], now[1]
    if old is not None and new is not None and new.high < old.low:
        yield f"{name}: at most {100 * new.high:.4g} % work, at least {100 * old.low:.4g} % did"
    elif _RANK.get(now[0], 0) > _RANK.get(before[0], 0):
        yield f"{name}: {now[0]}, was {before[0] or 'not judged'}"
