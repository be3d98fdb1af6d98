"""From extremes to rows: sides, limits of the design's own, failed runs, reasons, expectations."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from analog.benches.base import Measure, Plan
from analog.design import LimitOverride
from analog.results import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    EngineInfo,
    Expectation,
    MeasureRow,
    Results,
)
from analog.verdicts import Limit
from analog.workflows import Case, expectation_met
from analog.workflows.judging import Found, merged_limits, rows, sides

LEVEL = Measure("level", "V", "level", "both", 10.0)
LOW = Limit("low", 1.0, None, "from memory")
HIGH = Limit("high", None, 9.0, "from memory", "rests on a typical figure")


def case(value: float, **at: float) -> Case:
    return Case("scene", at, {}, {"level": value})


def found(side: str, value: float | None, *, failed: int = 0, settled: bool = True) -> Found:
    worst = None if value is None else case(value, **{f"{side}.at": 1.0})
    return Found(
        "level",
        side,  # type: ignore[arg-type]
        "scene",
        worst,
        case(5.0),
        {"a.part": 2.0, "a.weak": 0.001},
        settled,
        100,
        failed,
        "did not converge" if failed else "",
    )


def only_row(limits: tuple[Limit, ...], *entries: Found) -> MeasureRow:
    ((row, _),) = rows(LEVEL, limits, entries)
    return row


def test_each_limit_is_judged_by_its_own_side() -> None:
    entries = (found("min", 2.0), found("max", 9.5))
    (low, low_case), (high, high_case) = rows(LEVEL, (LOW, HIGH), entries)
    assert (low.worst, low.margin, low.verdict) == (2.0, 1.0, "pass")
    assert (high.worst, high.margin, high.verdict) == (9.5, -0.5, "fail")
    assert low_case.at == {"min.at": 1.0}
    assert high_case.at == {"max.at": 1.0}


def test_two_sided_limit_takes_the_side_with_the_smaller_margin() -> None:
    row = only_row((Limit("band", 1.0, 9.0, "from memory"),), found("min", 1.5), found("max", 8.8))
    assert (row.worst, row.margin, row.margin_share) == (
        8.8,
        pytest.approx(0.2),
        pytest.approx(0.2 / 9),
    )


def test_what_never_happens_is_a_fail_without_a_number() -> None:
    row = only_row((HIGH,), found("max", math.nan))
    assert (row.verdict, row.worst, row.margin) == ("fail", None, None)
    assert "never happens" in row.reason


def test_pass_with_failed_runs_is_undecided_and_a_fail_stays_a_fail() -> None:
    undecided = only_row((HIGH,), found("max", 8.0, failed=3))
    assert undecided.verdict == "undecided"
    assert "3 of 100 runs gave no data (did not converge)" in undecided.reason
    assert only_row((HIGH,), found("max", 9.9, failed=3)).verdict == "fail"


def test_no_data_at_all_is_undecided_and_unjudged_without_a_limit() -> None:
    nothing = (found("min", None, failed=100), found("max", None, failed=100))
    assert only_row((HIGH,), *nothing).verdict == "undecided"
    assert only_row((), *nothing).verdict is None


def test_reason_keeps_the_limit_s_note_and_an_unfinished_search() -> None:
    row = only_row((HIGH,), found("max", 8.0, settled=False))
    assert "rests on a typical figure" in row.reason
    assert "ended by its number of runs" in row.reason


def test_drivers_are_the_telling_keys_in_the_measure_s_unit() -> None:
    assert only_row((HIGH,), found("max", 8.0)).drivers == ({"key": "a.part", "change": 2.0},)


def test_measure_without_limit_states_both_ends() -> None:
    row = only_row((), found("min", 2.0), found("max", 6.0))
    assert (row.verdict, row.worst) == (None, 2.0)
    assert "from 2 to 6 V" in row.reason


@pytest.mark.parametrize(
    ("worst", "limits", "expected"),
    [
        ("max", (), ("max",)),
        ("max", (LOW,), ("min", "max")),
        ("min", (HIGH,), ("min", "max")),
        ("both", (), ("min", "max")),
        ("min", (LOW,), ("min",)),
    ],
)
def test_sides_are_what_measure_and_limits_need(worst, limits, expected) -> None:
    assert sides(replace(LEVEL, worst=worst), limits) == expected


def override(measure: str, limit: str | None, **ends: float) -> LimitOverride:
    return LimitOverride(measure=measure, limit=limit, reason="a longer cable", **ends)


def test_own_limit_replaces_the_one_it_names_and_is_added_otherwise() -> None:
    plan = Plan("bench", "Bench", (LEVEL,), (), {"level": (LOW, HIGH)})
    own = (
        override("bench.level", "high", maximum=7.0),
        override("bench.level", None, minimum=2.0),
        override("other.level", "low", minimum=0.0),
    )
    merged = merged_limits(plan, own)["level"]
    assert [(x.identifier, x.minimum, x.maximum) for x in merged] == [
        ("low", 1.0, None),
        ("high", None, 7.0),
        ("user", 2.0, None),
    ]
    assert merged[1].source == "the design: a longer cable"


def results(expect: Expectation | None, **verdicts: str) -> Results:
    blank = only_row((HIGH,), found("max", 8.0))
    measures = tuple(
        replace(blank, measure=name, verdict=verdict)  # type: ignore[arg-type]
        for name, verdict in verdicts.items()
    )
    overall = "fail" if "fail" in verdicts.values() else "pass"
    return Results(
        SCHEMA,
        "0",
        EngineInfo("ngspice", "39"),
        DesignInfo("a", "", "0" * 64),
        {},
        0,
        overall,  # type: ignore[arg-type]
        expect,
        None,
        (BenchResult("bench", overall, None, 1, 0, measures),),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("expect", "verdicts", "met", "said"),
    [
        (None, {"a": "fail"}, True, "no expectation"),
        (Expectation("pass", ()), {"a": "pass"}, True, "expected: pass"),
        (Expectation("pass", ()), {"a": "fail"}, False, "the verdict is fail, not pass"),
        (Expectation("fail", ("bench.a",)), {"a": "fail", "b": "pass"}, True, "bench.a"),
        (Expectation("fail", ("bench.a",)), {"a": "pass", "b": "fail"}, False, "bench.b"),
        (Expectation("fail", ("bench.a",)), {"a": "fail", "b": "fail"}, False, "unexpectedly"),
        (Expectation("fail", ("bench.a", "bench.b")), {"a": "fail", "b": "pass"}, False, "did not"),
    ],
)
def test_expectation_names_verdict_and_exactly_the_failing_measures(
    expect, verdicts, met: bool, said: str
) -> None:
    outcome, text = expectation_met(results(expect, **verdicts))
    assert outcome is met
    assert said in text
