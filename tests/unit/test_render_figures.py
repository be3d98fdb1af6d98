"""Waveform figures: what is shown, that nothing is hidden or cut, and that they repeat exactly."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import render_sample
from hypothesis import given
from hypothesis import strategies as st

from analog.benches.base import Curve, Level, Mark, Plot
from analog.engine import Run
from analog.render.figures import draw_plot, scale, wrapped, y_range
from analog.render.geometry import text_width
from analog.render.picture import Case, compose, in_words, thinned
from analog.render.spacing import spread_out, stack_rows
from analog.render.svg import finish

PLOT = render_sample.plan().scenes[0].plots[0]
NOMINAL = {"rail": 9.0, "r": 470e3, "c": 1e-6, "v_p": 6.3}
WORST = {"rail": 8.55, "r": 446.5e3, "c": 0.9e-6, "v_p": 5.985}


def case(name: str, row: dict[str, float]) -> Case:
    values = np.array(list(row.values()))
    run = render_sample.ClosedForm().traces(
        render_sample.plan().scenes[0].experiment, tuple(row), values
    )
    return Case(name, run, row)


CASES = (case("nominal", NOMINAL), case("worst case of release", WORST))


def test_both_cases_lie_on_one_axis_with_levels_and_points() -> None:
    picture = compose(PLOT, CASES)
    assert picture.units == ("V", "A")
    assert [trace.case for trace in picture.traces] == [0, 1, 0, 1]
    assert {(line.label, line.case) for line in picture.lines} == {
        ("highest threshold", 0),
        ("highest threshold", 1),
        ("rail", 0),
        ("rail", 1),
    }
    release = [point for point in picture.points if point.label == "release"]
    assert [point.y for point in release] == pytest.approx([6.3, 5.985], rel=1e-4)


def test_a_level_that_is_the_same_in_both_cases_is_one_line() -> None:
    plot = replace(PLOT, levels=(Level("limit", 7.0, "V"),))
    assert [line.case for line in compose(plot, CASES).lines] == [None]


def test_a_point_that_never_happened_is_left_out_and_the_rest_drawn() -> None:
    run = replace(CASES[1].run, values={"release_time": float("nan")})
    picture = compose(PLOT, (CASES[0], replace(CASES[1], run=run)))
    assert [point.case for point in picture.points] == [0]


def test_the_window_covers_what_either_case_needs() -> None:
    plot = replace(PLOT, window=("release_time", 2.0))
    low, high = compose(plot, CASES).window
    assert low <= min(one.run.values["release_time"] for one in CASES)
    assert high >= 2.0
    assert high <= render_sample.STOP_S


def test_edges_far_apart_are_laid_over_each_other() -> None:
    """Two edges of 1 µs, 5 ms apart: time counts from where each begins."""

    def edge(name: str, at: float) -> Case:
        time = np.array([0.0, at, at + 1e-6, 1e-2])
        values = {"low": at, "high": at + 1e-6}
        return Case(name, Run(time, {"v(q)": np.array([0, 0, 9.0, 9.0])}, None, values), {})

    plot = Plot(
        "Edge",
        "rise",
        (Curve("v(q)", "output", "V"),),
        (),
        (Mark("10 %", "low", "v(q)"), Mark("90 %", "high", "v(q)")),
        ("low", "high"),
    )
    cases = (edge("nominal", 2e-3), edge("worst", 7e-3))
    picture = compose(plot, cases)
    assert picture.x_from == "10 %"
    assert picture.window[1] < 2e-6
    assert [point.x for point in picture.points] == pytest.approx([0, 1e-6, 0, 1e-6], abs=1e-12)
    assert "time from 10 % in " in draw_plot(plot, cases, "e").svg
    near = compose(plot, (edge("nominal", 2e-3), edge("worst", 2e-3 + 1e-7)))
    assert near.x_from == ""


def test_a_swept_source_is_the_abscissa() -> None:
    sweep = np.linspace(0, 5, 11)
    run = Run(np.empty(0), {"v(out)": 5 - sweep}, sweep, {"threshold": 2.5})
    plot = Plot(
        "Transfer",
        "threshold",
        (Curve("v(out)", "output", "V"),),
        (),
        (Mark("threshold", "threshold", "v(out)"),),
    )
    picture = compose(plot, (Case("nominal", run, {}),))
    assert (picture.x_unit, picture.window) == ("V", (0.0, 5.0))
    assert (picture.points[0].x, picture.points[0].y) == (2.5, 2.5)
    assert "swept voltage in V" in draw_plot(plot, (Case("nominal", run, {}),), "s").svg


@given(st.integers(0, 40_000), st.floats(-50, 50))
def test_thinning_keeps_every_lone_peak(place: int, height: float) -> None:
    x = np.linspace(0, 1, 40_001)
    y = np.zeros_like(x)
    y[place] = height
    xs, ys = thinned(x, y, (0.0, 1.0))
    assert len(xs) <= 1100
    assert np.all(np.diff(xs) > 0)
    assert (ys.min(), ys.max()) == (min(0.0, height), max(0.0, height))


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=20))
def test_an_axis_holds_zero_and_everything_that_is_on_it(reach: list[float]) -> None:
    low, high = y_range(reach)
    assert low < min(0.0, *reach) or low < 0 <= min(reach)
    assert high > max(0.0, *reach) or high > 0 >= max(reach)


def test_a_close_axis_shows_what_lies_far_from_zero() -> None:
    low, high = y_range([2.56, 2.7], "close")
    assert 2.5 < low < 2.56
    assert 2.7 < high < 2.75


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(5, 30)), min_size=1, max_size=6).map(sorted))
def test_labels_in_the_margin_never_overlap(wanted: list[tuple[float, float]]) -> None:
    targets, sizes = [t for t, _ in wanted], [s for _, s in wanted]
    centres = spread_out(targets, sizes, 0.0, 200.0)
    edges = [(c - s / 2, c + s / 2) for c, s in zip(centres, sizes, strict=True)]
    for (_, top), (bottom, _) in itertools.pairwise(edges):
        assert bottom >= top - 1e-6
    assert edges[0][0] >= -1e-6
    assert edges[-1][1] <= 200 + 1e-6


def test_labels_with_room_stay_where_they_belong() -> None:
    assert spread_out([20.0, 100.0], [10.0, 10.0], 0.0, 200.0) == [20.0, 100.0]


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(1, 120)), min_size=1, max_size=12))
def test_names_above_the_axes_share_no_row_where_they_would_meet(
    wanted: list[tuple[float, float]],
) -> None:
    spans = [(left, left + width) for left, width in wanted]
    rows = stack_rows(spans)
    for i, (one, row) in enumerate(zip(spans, rows, strict=True)):
        for other, other_row in zip(spans[:i], rows[:i], strict=True):
            if row == other_row:
                assert one[1] <= other[0] or other[1] <= one[0]


def test_a_name_is_broken_between_words_but_not_between_number_and_unit() -> None:
    lines = wrapped("highest guaranteed threshold 7.35\N{NO-BREAK SPACE}V", 90.0)
    assert len(lines) > 1
    assert lines[-1].endswith("7.35\N{NO-BREAK SPACE}V")
    assert all(text_width(line, 9.0) <= 90.0 for line in lines)


@pytest.mark.parametrize(
    ("span", "expected"),
    [(9.0, (1.0, "V")), (0.9, (1e-3, "mV")), (12e3, (1e3, "kV")), (0.0, (1e-12, "pV"))],
)
def test_axes_use_readable_units(span: float, expected: tuple[float, str]) -> None:
    assert scale(span, "V") == expected


def test_a_figure_is_byte_identical_every_time() -> None:
    assert draw_plot(PLOT, CASES, "f1") == draw_plot(PLOT, CASES, "f1")


def test_identifiers_are_unique_and_begin_with_the_figures_own() -> None:
    svg = draw_plot(PLOT, CASES, "reset-1").svg
    identifiers = re.findall(r'\sid="([^"]+)"', svg)
    assert identifiers
    assert len(set(identifiers)) == len(identifiers)
    assert all(name.startswith("reset-1-") for name in identifiers)
    used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', svg))
    assert {a or b for a, b in used} == set(identifiers)


def test_colours_are_roles_and_no_stand_in_is_left() -> None:
    svg = draw_plot(PLOT, CASES, "f").svg
    for role in ("ink", "rule", "limit", "curve-1", "curve-2"):
        assert f"var(--{role}," in svg
    assert not re.search(r"#fe..fe", svg)


def test_names_and_values_stand_in_the_figure_as_text() -> None:
    svg = draw_plot(PLOT, CASES, "f").svg
    texts = "|".join(
        "".join(element.itertext())
        for element in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
    )
    for words in ("reset pin", "charging", "highest", "release", "time in s", "voltage in V"):
        assert words in texts
    assert "nominal" in texts


def test_the_text_alternative_says_what_the_figure_shows() -> None:
    words = in_words(compose(PLOT, CASES)).replace("\N{NO-BREAK SPACE}", " ")
    assert "release, nominal: 6.3 V at 566 ms" in words
    assert "highest threshold, worst case of release: 5.99 V" in words


@pytest.mark.parametrize("label", ['<script>alert("1")</script>', "$x_1$ & $y$", "a\N{ESCAPE}b"])
def test_hostile_names_stay_text(label: str) -> None:
    plot = replace(PLOT, title=label, levels=(Level(label, 7.0, "V"),))
    svg = draw_plot(plot, CASES, "f").svg
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    assert label.startswith("<") or "$" not in label or "$x_1$" in svg


def test_a_figure_without_cases_or_with_an_unsaved_curve_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one case"):
        draw_plot(PLOT, (), "f")
    with pytest.raises(KeyError, match="was not saved"):
        draw_plot(replace(PLOT, curves=(Curve("v(nix)", "?", "V"),)), CASES, "f")


def test_foreign_styles_and_metadata_do_not_reach_the_page() -> None:
    raw = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="9pt" height="9pt" viewBox="0 0 9 9">'
        "<style>*{color:red}</style><metadata>x</metadata><title>t</title>"
        '<path id="unused" d="M 1.23456 2"/></svg>'
    )
    svg = finish(raw, "a", "T", "words").svg
    for gone in ("style>", "metadata", "unused", "pt", "1.23456"):
        assert gone not in svg
    assert 'aria-label="T. words"' in svg
