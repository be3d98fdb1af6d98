"""Values, margins and verdicts in words."""

from __future__ import annotations

from dataclasses import replace

import pytest
import render_sample

from analog.render.safety import CAUTIONS, SUMMARY, as_lines
from analog.render.words import (
    expectation_sentence,
    finding,
    is_exact,
    judged,
    limit_words,
    quantity,
    share,
    verdict_sentence,
)
from analog.results.records import Expectation, LimitRow, MeasureRow

ROW = MeasureRow("m", "V", 1.0, 2.0, {}, None, None, None, None, "", 1)


def limited(margin_share: float | None, verdict: str, **limit: float | None) -> MeasureRow:
    ends = {"min": None, "max": 1.0} | limit
    row = LimitRow("l", ends["min"], ends["max"], "s")
    return replace(ROW, limit=row, margin_share=margin_share, verdict=verdict)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (0.000123, "s", "123 µs"),
        (47e3, "Ω", "47 kΩ"),
        (None, "V", "–"),
        (float("nan"), "V", "–"),
        (float("inf"), "V", "–"),
        (2.0, "1", "2"),
    ],
)
def test_quantities(value: float | None, unit: str, words: str) -> None:
    assert quantity(value, unit).replace("\N{NO-BREAK SPACE}", " ") == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.123, "+12 %"),
        (0.0123, "+1.2 %"),
        (-0.5, "−50 %"),
        (17.3, "+17.3 times"),
        (-300.0, "over 100 times short"),
        (5e5, "over 100 times"),
        (None, ""),
    ],
)
def test_shares(value: float | None, words: str) -> None:
    assert share(value).replace("\N{NO-BREAK SPACE}", " ") == words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (1.0, None, "at least 1 V"),
        (None, 1.0, "at most 1 V"),
        (1.0, 2.0, "1 V to 2 V"),
        (1.0, 1.0, "exactly 1 V"),
    ],
)
def test_limits(low: float | None, high: float | None, words: str) -> None:
    row = LimitRow("l", low, high, "s")
    assert limit_words(row, "V").replace("\N{NO-BREAK SPACE}", " ") == words


def test_the_thinnest_margin_comes_first_and_failures_before_all() -> None:
    results = render_sample.checked().results
    rows = (
        limited(0.5, "pass"),
        limited(-0.1, "fail"),
        limited(None, "fail"),
        limited(0.01, "pass"),
        limited(None, "undecided"),
        ROW,
    )
    bench = replace(results.benches[0], measures=rows)
    order = [row for _, row in judged(replace(results, benches=(bench,)))]
    assert order == [rows[2], rows[1], rows[4], rows[3], rows[0]]


def test_a_count_met_exactly_is_no_thin_margin() -> None:
    row = replace(limited(0.0, "pass", min=1.0, max=1.0), unit="1", worst=1.0, margin=0.0)
    assert is_exact(row)
    assert is_exact(replace(limited(0.0, "pass", max=0.0), unit="1", margin=0.0))
    assert is_exact(replace(limited(0.0, "pass", max=1.0), unit="1", margin=0.0))
    assert not is_exact(replace(limited(0.0, "pass", max=0.02), unit="1", margin=0.0))
    assert not is_exact(replace(limited(0.5, "pass", max=2.0), unit="1", margin=1.0))
    assert not is_exact(replace(limited(0.0, "pass", max=0.0), unit="V", margin=0.0))
    results = render_sample.checked().results
    bench = replace(results.benches[0], measures=(row, limited(0.5, "pass")))
    assert judged(replace(results, benches=(bench,)))[-1][1] == row


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("pass", "All 2 limits hold"),
        ("fail", "1 of 2 limits is broken"),
        ("undecided", "could not be judged"),
        (None, "Nothing was judged"),
    ],
)
def test_the_verdict_is_a_sentence(verdict: str | None, words: str) -> None:
    results = replace(render_sample.checked().results, verdict=verdict)
    assert words in verdict_sentence(results)


def test_expectations_are_compared_with_what_failed() -> None:
    results = render_sample.checked().results
    assert expectation_sentence(results) == ""
    met = replace(results, expect=Expectation("fail", ("reset.final_level",)))
    assert expectation_sentence(met).endswith("fail on reset.final_level. It came out so.")
    missed = replace(results, expect=Expectation("fail", ("reset.release_time",)))
    assert expectation_sentence(missed).endswith("It did not.")


def test_a_thing_that_never_happens_is_said_so() -> None:
    row = replace(limited(None, "fail"), worst=None, reason="never crosses")
    assert (
        finding(row)
        == "m: worst it never happens, limit at most 1\N{NO-BREAK SPACE}V (never crosses)"
    )


@pytest.mark.parametrize(
    "word",
    [
        "kill", "fire", "discharged", "short circuit", "cut-out", "creepage", "clearance",
        "pollution degree", "residual-current", "IEC 61558-2-6", "breaking capacity", "class X",
        "class Y", "heatsink", "fusible", "earthed oscilloscope", "sound card", "isolated",
        "function, not safety",
    ],
)  # fmt: skip
def test_every_caution_is_there(word: str) -> None:
    assert word in " ".join(as_lines())


def test_cautions_are_plain_sentences() -> None:
    assert all(text.endswith(".") and title for title, text in CAUTIONS)
    assert len(as_lines()) == len(CAUTIONS) + 1
    assert as_lines()[0] == SUMMARY


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.36e6, "V/s", "4.36 V/µs"),
        (-3.2e6, "V/s", "−3.2 V/µs"),
        (23e3, "V/s", "23 kV/s"),
        (5.8e6, "A/s", "5.8 A/µs"),
        (2.7e3, "A/s", "2.7 A/ms"),
    ],
)
def test_steep_slopes_are_in_the_units_of_data_sheets(value: float, unit: str, text: str) -> None:
    assert quantity(value, unit).replace("\N{NO-BREAK SPACE}", " ") == text
