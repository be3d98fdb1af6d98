"""Margins and verdicts, and how verdicts combine."""

from __future__ import annotations

import math

import pytest

from analog.verdicts import Limit, combine, judge, margin


def limit(minimum: float | None, maximum: float | None) -> Limit:
    return Limit("some", minimum, maximum, "from memory")


@pytest.mark.parametrize(
    ("value", "minimum", "maximum", "expected"),
    [
        (5.0, 3.0, None, 2.0),
        (2.0, 3.0, None, -1.0),
        (5.0, None, 7.0, 2.0),
        (9.0, None, 7.0, -2.0),
        (4.0, 3.0, 7.0, 1.0),
        (6.5, 3.0, 7.0, 0.5),
        (1.0, 1.0, 1.0, 0.0),
    ],
)
def test_margin_is_the_distance_to_the_nearer_end(value, minimum, maximum, expected) -> None:
    assert margin(value, limit(minimum, maximum)) == pytest.approx(expected)


def test_on_the_limit_passes_and_a_hair_beyond_fails() -> None:
    assert judge(3.0, limit(3.0, None), 1.0).verdict == "pass"
    assert judge(math.nextafter(3.0, 0.0), limit(3.0, None), 1.0).verdict == "fail"


def test_share_is_of_the_binding_end() -> None:
    assert judge(6.0, limit(2.0, 8.0), 1.0).margin_share == pytest.approx(2.0 / 8.0)
    assert judge(3.0, limit(2.0, 8.0), 1.0).margin_share == pytest.approx(1.0 / 2.0)
    assert judge(-3.0, limit(-4.0, None), 1.0).margin_share == pytest.approx(0.25)


def test_share_of_a_limit_at_zero_is_of_the_scale() -> None:
    judgement = judge(0.5, limit(0.0, None), 9.0)
    assert judgement.margin == 0.5
    assert judgement.margin_share == pytest.approx(0.5 / 9.0)


def test_never_happened_is_a_fail_without_a_margin() -> None:
    judgement = judge(math.nan, limit(None, 1.0), 1.0)
    assert (judgement.verdict, judgement.margin, judgement.margin_share) == ("fail", None, None)


def test_limit_without_ends_is_refused() -> None:
    with pytest.raises(ValueError, match="neither end"):
        margin(1.0, limit(None, None))


@pytest.mark.parametrize(
    ("verdicts", "expected"),
    [
        ([], None),
        ([None, None], None),
        ([None, "pass"], "pass"),
        (["pass", "undecided", None], "undecided"),
        (["undecided", "fail", "pass"], "fail"),
    ],
)
def test_fail_beats_undecided_beats_pass(verdicts, expected) -> None:
    assert combine(verdicts) == expected
