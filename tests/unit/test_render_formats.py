"""JUnit and Markdown, read back by independent parsers."""

from __future__ import annotations

from dataclasses import replace

import junitparser
import pytest
import render_sample
from markdown_it import MarkdownIt

from analog.render import junit, summary
from analog.results.records import MeasureRow, Results

HOSTILE = (
    "a|b`c`<img src=x>[l](http://x.test) ![i](y) @team #1 **b** https://x.test www.x.test\n# h"
)


def results(**changes: object) -> Results:
    return replace(render_sample.checked().results, **changes)  # type: ignore[arg-type]


def with_rows(*rows: MeasureRow) -> Results:
    plain = results()
    return replace(plain, benches=(replace(plain.benches[0], measures=rows),))


def read(text: str) -> junitparser.JUnitXml:
    return junitparser.JUnitXml.fromstring(text.encode())


def test_a_fail_is_a_failure_with_all_that_is_needed_to_understand_it() -> None:
    document = read(junit([results()]))
    assert (document.tests, document.failures, document.errors) == (2, 1, 0)
    suite = next(iter(document))
    assert suite.name == "sample.reset"
    cases = {case.name: case for case in suite}
    assert set(cases) == {"release_time[window]", "final_level[threshold]"}
    assert cases["release_time[window]"].is_passed
    failure = cases["final_level[threshold]"].result[0]
    assert isinstance(failure, junitparser.Failure)
    assert failure.message.startswith("final level: worst 8.52 V, limit at least 8.6 V, margin −")
    for words in ("TI CD40106B, SCHS097F", "supply.rail = 8.55", "nominal"):
        assert words in failure.text


def test_undecided_is_an_error_and_a_measure_without_limit_no_test() -> None:
    checked = render_sample.checked(undecided=True)
    document = read(junit([checked.results]))
    assert (document.tests, document.failures, document.errors) == (2, 0, 2)


def test_several_designs_share_a_document() -> None:
    other = results(design=replace(results().design, name="other"))
    document = read(junit([results(), other]))
    assert [suite.name for suite in document] == ["sample.reset", "other.reset"]
    assert document.tests == 4


@pytest.mark.parametrize("text", ["]]><x>&\"'", "bell\x07 esc\x1b nul\x00", "lone \ud800", HOSTILE])
def test_junit_holds_any_text(text: str) -> None:
    row = results().benches[0].measures[1]
    assert row.limit is not None
    hostile = replace(row, reason=text, limit=replace(row.limit, id=text, source=text))
    document = read(junit([with_rows(hostile)]))
    assert document.failures == 1


def render(text: str) -> tuple[str, list[str]]:
    """Return the HTML and the kinds of all inline tokens, links found in plain text included."""
    parser = MarkdownIt("commonmark", {"linkify": False, "html": True}).enable("table")
    kinds = [
        child.type for token in parser.parse(text) if token.children for child in token.children
    ]
    return parser.render(text), kinds


def test_the_summary_is_one_heading_and_one_table_with_all_limits() -> None:
    html, _ = render(summary(results()))
    assert html.count("<h2>") == 1
    assert html.count("<tr>") == 3
    assert html.count("<td") == 2 * 6
    assert "✗ fail" in html
    assert html.index("final_level") < html.index("release_time")
    assert "9 simulations, 0 without data" in html


def test_user_text_cannot_format_link_or_notify() -> None:
    row = results().benches[0].measures[1]
    hostile = replace(with_rows(replace(row, measure=HOSTILE)),
                      design=replace(results().design, title=HOSTILE))  # fmt: skip
    html, kinds = render(summary(hostile))
    assert set(kinds) <= {"text", "softbreak", "text_special"}
    assert html.count("<td") == 6
    assert "<img" not in html
    assert "@team" not in html
    assert "http\\://" in summary(hostile) or "http:" not in summary(hostile)
    assert html.count("<h") == 1


def test_a_long_table_is_cut_and_says_so() -> None:
    row = results().benches[0].measures[1]
    text = summary(with_rows(*[replace(row, measure=f"m{k}") for k in range(200)]))
    assert len(text) < 65_536  # the longest comment a hosted page takes
    assert "and 160 more, with wider margins" in text


def test_nothing_judged_gives_no_empty_table() -> None:
    html, _ = render(summary(with_rows(results().benches[0].measures[2])))
    assert "<table" not in html


def test_long_names_and_unicode_survive() -> None:
    row = replace(results().benches[0].measures[1], measure="Ω" * 500, reason="≥ µ 漢字")
    assert "Ω" * 500 in render(summary(with_rows(row)))[0]
    read(junit([with_rows(row)]))
