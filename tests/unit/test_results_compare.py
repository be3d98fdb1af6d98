"""What counts as a change between two results, and what as a breach of the baseline."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_results_files import JUDGED, STATED, results

from analog.results import LimitRow, MeasureRow, compare, unchanged
from analog.results.compare import breaches

EDGE = replace(
    JUDGED,
    measure="rise_time",
    nominal=1.0e-3,
    worst=1.2e-3,
    limit=LimitRow("transition", None, 2.0e-3, "TI SCHS097F, table 6.5"),
    margin=0.8e-3,
)


def changed(row: MeasureRow, **fields: object) -> tuple[tuple[str, bool], ...]:
    found = compare(results(row), results(replace(row, **fields)))
    return tuple((change.field, change.worse) for change in found)


def test_equal_results_have_no_changes() -> None:
    assert compare(results(EDGE, STATED), results(EDGE, STATED)) == ()


def test_digits_below_the_accuracy_are_no_change() -> None:
    assert changed(EDGE, worst=1.2005e-3, margin=0.7995e-3, nominal=1.004e-3) == ()


def test_smaller_margin_is_worse_and_larger_is_not() -> None:
    assert changed(EDGE, margin=0.78e-3) == (("margin", True),)
    assert changed(EDGE, margin=0.82e-3) == (("margin", False),)


def test_margin_that_can_no_longer_be_given_is_worse() -> None:
    assert changed(EDGE, worst=None, margin=None) == (("worst", False), ("margin", True))


def test_graver_verdict_is_worse() -> None:
    assert changed(EDGE, verdict="undecided") == (("verdict", True),)
    assert changed(EDGE, verdict="fail") == (("verdict", True),)
    assert changed(replace(EDGE, verdict="fail")) == ()
    assert changed(replace(EDGE, verdict="fail"), verdict="pass") == (("verdict", False),)


def test_times_are_never_compared_finer_than_a_microsecond() -> None:
    quick = replace(
        EDGE, worst=1e-6, nominal=1e-6, margin=1e-6, limit=replace(EDGE.limit, max=2e-6)
    )
    assert changed(quick, worst=1.8e-6) == ()
    assert changed(replace(quick, unit="V"), worst=1.8e-6) == (("worst", False),)


@pytest.mark.parametrize(("end", "worse"), [(2.5e-3, True), (1.9e-3, False), (None, True)])
def test_loosened_limit_is_worse(end: float | None, worse: bool) -> None:
    limit = LimitRow("transition", 0.0 if end is None else None, end, "the design: because")
    fields = dict(changed(EDGE, limit=limit))
    assert fields["limit.max"] is worse


def test_judged_row_that_is_gone_is_worse_and_a_stated_one_is_not() -> None:
    assert [c.worse for c in compare(results(EDGE, STATED), results(STATED))] == [True]
    assert [c.worse for c in compare(results(EDGE, STATED), results(EDGE))] == [False]


def test_new_row_is_worse_only_when_it_fails() -> None:
    assert [c.worse for c in compare(results(), results(EDGE))] == [False]
    assert [c.worse for c in compare(results(), results(replace(EDGE, verdict="fail")))] == [True]


def test_two_limits_of_one_measure_are_told_apart() -> None:
    other = replace(EDGE, limit=replace(EDGE.limit, id="own"))
    moved = replace(other, margin=0.1e-3)
    (change,) = compare(results(EDGE, other), results(EDGE, moved))
    assert (change.limit, change.before, change.after) == ("own", 0.8e-3, 0.1e-3)


def test_breaches_are_the_worse_changes_only() -> None:
    before = results(EDGE, JUDGED)
    now = results(replace(EDGE, margin=0.9e-3), replace(JUDGED, margin=0.1))
    (breach,) = breaches(before, now)
    assert breach.change.measure == "hold_time"
    assert breach.lost == pytest.approx(1 - 0.1 / 0.17499965)
    assert breach.causes == ()


@pytest.mark.parametrize(("margin", "broken"), [(0.761e-3, False), (0.759e-3, True), (-1e-3, True)])
def test_a_margin_may_lose_the_stated_share(margin: float, broken: bool) -> None:
    assert bool(breaches(results(EDGE), results(replace(EDGE, margin=margin)))) is broken


def test_a_margin_that_failed_already_may_fail_by_no_more_than_that() -> None:
    failing = replace(EDGE, margin=-0.8e-3, verdict="fail")
    for margin, broken in ((-0.83e-3, False), (-0.9e-3, True), (-0.5e-3, False)):
        now = results(replace(failing, margin=margin))
        assert bool(breaches(results(failing), now)) is broken


def test_a_graver_verdict_breaks_whatever_the_share() -> None:
    now = results(replace(EDGE, verdict="undecided"))
    (breach,) = breaches(results(EDGE), now, may_shrink=0.99)
    assert (breach.change.field, breach.lost) == ("verdict", None)


def test_every_cause_is_named() -> None:
    assert EDGE.limit is not None
    before = results(EDGE)
    tighter = replace(EDGE, margin=0.3e-3, limit=replace(EDGE.limit, max=1.5e-3))
    now = replace(
        results(tighter),
        design=replace(before.design, sha256="1" * 64),
        engine=replace(before.engine, version="44"),
        inputs={"cards/40106.toml": "b" * 64},
        package_version="0.2.0",
        seed=7,
    )
    (breach,) = breaches(before, now)
    assert [cause.kind for cause in breach.causes] == [
        "design", "limit", "tool", "tool", "tool", "choice",
    ]  # fmt: skip


def test_the_same_limit_in_other_last_digits_is_the_same_limit() -> None:
    assert EDGE.limit is not None
    close = replace(EDGE, limit=replace(EDGE.limit, max=2.0e-3 * (1 + 1e-12)))
    assert compare(results(EDGE), results(close)) == ()


def test_unchanged_is_the_same_said_of_the_same_inputs() -> None:
    before = results(EDGE, STATED)
    engine = replace(before.engine, version="44")
    elsewhere = replace(EDGE, worst=1.2005e-3, worst_at={"reset.capacitor": 1.1e-6})
    assert unchanged(before, replace(results(elsewhere, STATED), engine=engine))


@pytest.mark.parametrize(
    "other",
    [
        {"seed": 1},
        {"inputs": {"cards/40106.toml": "b" * 64}},
        {"package_version": "0.2.0"},
        {"expect": None},
        {"benches": (replace(results(EDGE).benches[0], failed_runs=1),)},
        {"benches": results(replace(EDGE, worst=1.3e-3)).benches},
        {"benches": results(EDGE, STATED).benches},
    ],
)
def test_what_makes_results_differ(other: dict[str, object]) -> None:
    assert not unchanged(results(EDGE), replace(results(EDGE), **other))  # type: ignore[arg-type]


def test_another_source_of_a_limit_is_a_difference() -> None:
    assert EDGE.limit is not None
    elsewhere = replace(EDGE, limit=replace(EDGE.limit, source="from memory"))
    assert not unchanged(results(EDGE), results(elsewhere))
