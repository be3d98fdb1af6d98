"""Values, limits and verdicts in words, the same in every kind of report."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from analog.quantities import format_quantity
from analog.results.records import BenchResult, LimitRow, MeasureRow, Results
from analog.verdicts import Verdict

NO_BREAK = "\N{NO-BREAK SPACE}"

SYMBOLS: dict[Verdict | None, str] = {"pass": "✓", "fail": "✗", "undecided": "?", None: "–"}
VERDICT_WORDS: dict[Verdict | None, str] = {
    "pass": "pass",
    "fail": "fail",
    "undecided": "undecided",
    None: "stated, no limit",
}


_SLOPES: Final = (
    ("V/s", 1e5, 1e-6, "V/µs"),
    ("A/s", 1e6, 1e-6, "A/µs"),
    ("A/s", 1e2, 1e-3, "A/ms"),
)
"""Slopes as data sheets give them: unit, from where on, factor, and the unit it then has."""


def quantity(value: float | None, unit: str) -> str:
    """Return a value with its unit in three significant digits; a dash for none.

    Number and unit are held together by a no-break space. Steep slopes are in the data sheets'
    own units.
    """
    if value is None or not math.isfinite(value):
        return "–"
    for plain, least, factor, usual in _SLOPES:
        if unit == plain and abs(value) >= least:
            number = format_quantity(value * factor, "1")
            return f"{number}{NO_BREAK}{usual}"
    return format_quantity(value, unit).replace(" ", NO_BREAK)


def share(value: float | None) -> str:
    """Return a share as a percentage: ``+12 %``; empty for none."""
    if value is None:
        return ""
    return _percent(value).replace("-", "−").replace(" %", f"{NO_BREAK}%")


def _percent(value: float) -> str:
    percent = 100 * value
    if abs(percent) > 1e4:
        return "over 100 times short" if value < 0 else "over 100 times"
    if abs(percent) >= 1000:
        return f"{value:+.3g} times"
    return f"{percent:+.2g} %" if abs(percent) < 10 else f"{percent:+.0f} %"


def limit_words(limit: LimitRow | None, unit: str) -> str:
    """Return a limit as the trade says it: ``at least 2.5 ms``."""
    if limit is None:
        return "none"
    if limit.min is not None and limit.max is not None:
        if limit.min == limit.max:
            return f"exactly {quantity(limit.min, unit)}"
        return f"{quantity(limit.min, unit)} to {quantity(limit.max, unit)}"
    if limit.min is not None:
        return f"at least {quantity(limit.min, unit)}"
    return f"at most {quantity(limit.max, unit)}"


def measure_words(identifier: str) -> str:
    """Return a measure's identifier as words, where no title is at hand."""
    return identifier.replace("_", " ")


def finding(row: MeasureRow) -> str:
    """Return one sentence: what was measured, against what, and what is left."""
    worst = quantity(row.worst, row.unit) if row.worst is not None else "it never happens"
    said = f"{measure_words(row.measure)}: worst {worst}"
    if row.limit is not None:
        said += f", limit {limit_words(row.limit, row.unit)}"
    if row.margin is not None:
        said += f", margin {quantity(row.margin, row.unit)}"
    return f"{said} ({row.reason})" if row.reason else said


def judged(results: Results) -> list[tuple[BenchResult, MeasureRow]]:
    """Return all judged rows, the thinnest margin first: failures, then undecided, then passes."""
    rows = [
        (bench, row)
        for bench in results.benches
        for row in bench.measures
        if row.verdict is not None
    ]
    return sorted(rows, key=lambda pair: _thinness(pair[1]))


def _thinness(row: MeasureRow) -> tuple[int, float, str]:
    rank = {"fail": 0, "undecided": 1, "pass": 2}[row.verdict or "pass"]
    known = row.margin_share if row.margin_share is not None else -math.inf
    return rank, math.inf if is_exact(row) and rank == 2 else known, row.measure


def is_exact(row: MeasureRow) -> bool:
    """Tell whether a count must be met exactly, so that there is no margin to measure.

    Such are "exactly 1", and "at most 1" met by 1: a whole number at its limit is as good as any.
    """
    if row.limit is None or row.unit != "1":
        return False
    ends = [end for end in (row.limit.min, row.limit.max) if end is not None]
    one_value = len(ends) == 2 and ends[0] == ends[1]
    return one_value or (row.margin == 0 and all(float(end).is_integer() for end in ends))


def verdict_sentence(results: Results) -> str:
    """Return the verdict on the design as a sentence."""
    rows = [row for _, row in judged(results)]
    counts = {verdict: sum(row.verdict == verdict for row in rows) for verdict in VERDICT_WORDS}
    limits = f"{len(rows)} limit{'' if len(rows) == 1 else 's'}"
    if results.verdict == "fail":
        broken = counts["fail"]
        return f"{broken} of {limits} {'is' if broken == 1 else 'are'} broken at the worst case."
    if results.verdict == "undecided":
        return f"{counts['undecided']} of {limits} could not be judged; none is known to be broken."
    if results.verdict == "pass":
        return f"All {limits} hold at the worst the parts, the mains and the heat may do."
    return "Nothing was judged: no measure has a limit."


def expectation_sentence(results: Results) -> str:
    """Say whether the design came out as its file says it should; empty when it says nothing."""
    if results.expect is None:
        return ""
    failing = {
        f"{bench.bench}.{row.measure}" for bench, row in judged(results) if row.verdict == "fail"
    }
    met = results.verdict == results.expect.verdict and failing == set(results.expect.fails)
    wanted: str = results.expect.verdict
    if results.expect.fails:
        wanted += f" on {_listed(results.expect.fails)}"
    return f"The design file expects: {wanted}. {'It came out so.' if met else 'It did not.'}"


def _listed(names: Iterable[str]) -> str:
    several: Sequence[str] = tuple(names)
    if len(several) < 2:
        return "".join(several)
    return f"{', '.join(several[:-1])} and {several[-1]}"
