"""The page as an independent HTML parser reads it: complete, well formed, offline, escaped."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
import render_sample

from analog.render.page import Link, overview_page, report_page
from analog.workflows import FailedRun

VOID = {"meta", "link", "br", "hr", "img", "input", "col", "wbr"}
BESIDE = (Link("results.json", "all numbers"),)


class Reader(HTMLParser):
    """Collects elements and text, and checks that every tag is closed in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.rows: list[list[str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).replace("\N{NO-BREAK SPACE}", " ").split())


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


def page(**changes: object) -> str:
    checked = render_sample.checked(**changes)  # type: ignore[arg-type]
    return report_page(checked, render_sample.ClosedForm(), "2025-11-25", BESIDE)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def sample() -> Reader:
    return read(page())


def test_the_verdict_and_the_thinnest_margin_stand_first(sample: Reader) -> None:
    text = sample.text
    order = [
        "✗ fail",
        "1 of 2 limits is broken at the worst case.",
        "The thinnest margins, and what sets them",
        "Final pin level".lower(),
        "Before you touch anything",
        "All margins, the thinnest first",
        "Reset bench ✗ fail",
        "Runs without data",
        "How it was made",
    ]
    places = [text.lower().index(words.lower()) for words in order]
    assert places == sorted(places)


def test_what_sets_the_thinnest_margin_is_its_true_cost(sample: Reader) -> None:
    """At the worst, 8.55 V and R, C high, v = V(1 − e^(−3/RC)): the rail alone costs 0.05·9 V."""
    tau = 470e3 * 1.05 * 1.1e-6
    gain = 0.45 * (1 - 2.718281828459045 ** (-3 / tau))
    assert f"at 8.55 V instead of 9 V costs {gain * 1e3:.0f} mV" in sample.text.replace(
        f"{gain:.3g} V", f"{gain * 1e3:.0f} mV"
    )


def test_every_limit_has_its_source_and_every_row_its_words(sample: Reader) -> None:
    text = sample.text
    assert text.count("TI CD40106B, SCHS097F, table 6.5") == 2
    assert "rests on a typical figure" in text
    assert "none, stated only" in text
    assert "at least 8.6 V" in text
    assert "400 ms to 1 s" in text


def test_how_it_was_made_is_complete(sample: Reader) -> None:
    text = sample.text
    for words in (
        "edgeproof 0.1.0", "ngspice 39.3", render_sample.design().sha256, "2025-11-25",
        "edgeproof report sample.toml --seed 0", 'resistor = "470k 5% carbon-film 0.25W"',
        "results.json", "None: every simulation of this report gave valid data.",
    ):  # fmt: skip
        assert words in text, words


def test_identifiers_are_unique_and_links_lead_somewhere(sample: Reader) -> None:
    identifiers = [a["id"] for _, a in sample.elements if a.get("id")]
    assert len(set(identifiers)) == len(identifiers)
    for tag, attributes in sample.elements:
        target = attributes.get("href")
        if tag == "a" and target and target.startswith("#"):
            assert target[1:] in identifiers
        if tag == "section":
            assert attributes.get("aria-labelledby") in identifiers


def test_nothing_comes_from_elsewhere(sample: Reader) -> None:
    for tag, attributes in sample.elements:
        for name in ("src", "href", "xlink:href", "action", "srcset", "data"):
            target = attributes.get(name)
            if target is not None and tag != "link":
                assert target == "results.json" or target.startswith("#"), (tag, name, target)
    html = page()
    assert not re.search(r"@import|url\((?!#)", html)
    outside = set(re.findall(r"https?://[^\s\"'<]+", html))
    assert outside <= {"http://www.w3.org/2000/svg"}


def test_pictures_have_text_alternatives_and_tables_headings(sample: Reader) -> None:
    pictures = [a for tag, a in sample.elements if tag == "svg"]
    assert len(pictures) >= 4
    for attributes in pictures:
        named = attributes.get("role") == "img" and attributes.get("aria-label")
        assert named or attributes.get("aria-hidden") == "true"
    assert all(a.get("scope") for tag, a in sample.elements if tag == "th")
    assert next(a for tag, a in sample.elements if tag == "html")["lang"] == "en"


def test_tables_have_equal_rows(sample: Reader) -> None:
    assert {len(row) for row in sample.rows} <= {1, 6, 7}


def test_verdicts_are_words_with_symbols_not_colours_alone(sample: Reader) -> None:
    assert sample.text.count("✗ fail") >= 4
    assert sample.text.count("✓ pass") >= 2


def test_no_stray_python_words(sample: Reader) -> None:
    assert not re.search(r"\b(nan|inf|None\b(?!:)|Undefined|Param\()", sample.text)


HOSTILE = "</pre><script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}\"'"


def test_hostile_text_stays_text_everywhere() -> None:
    bench = render_sample.plan(title=HOSTILE, source=HOSTILE)
    scene = replace(
        bench.scenes[0],
        title=HOSTILE,
        experiment=replace(
            bench.scenes[0].experiment, circuit=render_sample.circuit(HOSTILE, HOSTILE)
        ),
        plots=(replace(bench.scenes[0].plots[0], title=HOSTILE),),
    )
    measures = tuple(replace(m, title=HOSTILE, definition=HOSTILE) for m in bench.measures)
    bench = replace(bench, scenes=(scene,), measures=measures, notes=(HOSTILE,))
    text = render_sample.DESIGN_TEXT.replace('"Sample reset"', f"'''{HOSTILE[:-1]}'''")
    lost = FailedRun("charge", "truncated", HOSTILE, {}, HOSTILE)
    html = page(own_plan=bench, own_design=render_sample.design(text), lost=(lost,))
    reader = read(html)
    tags = [tag for tag, _ in reader.elements]
    assert tags.count("script") == 1
    assert "img" not in tags
    assert not any(name.startswith("on") for _, a in reader.elements for name in a)
    assert "{{7*7}}" in reader.text


def test_lost_runs_are_listed_with_reason_and_netlist() -> None:
    lost = [FailedRun("charge", "truncated", "ended at 1 ms", {}, ".tran 1u 1m")] * 3
    text = read(page(lost=lost)).text
    assert "The capacitor charges : 3 × truncated. ended at 1 ms" in text
    assert ".tran 1u 1m" in text
    assert "3 without data" in text


def test_undecided_is_said_and_never_shown_as_a_pass() -> None:
    text = read(page(undecided=True)).text
    assert "? undecided" in text
    assert "2 of 2 limits could not be judged" in text
    assert "✓" not in text


def test_the_overview_links_every_design_with_its_verdict() -> None:
    results = render_sample.checked().results
    other = replace(results, design=replace(results.design, name="b", title="<b>"), verdict="pass")
    reader = read(overview_page([("a/index.html", results), ("b/index.html", other)], "today"))
    links = [a["href"] for tag, a in reader.elements if tag == "a"]
    assert links == ["a/index.html", "b/index.html"]
    assert "✗ fail" in reader.text
    assert "✓ pass" in reader.text
    assert "<b>" in reader.text
