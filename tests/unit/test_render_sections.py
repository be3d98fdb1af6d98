"""Sections that not every report has: finer runs, changes since the baseline; PDF; the index."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import html5lib
import junitparser
import pytest
import render_sample
from test_render_page import read

from analog.errors import MachineError
from analog.render import junit, reports_in, summary, write_index, write_report
from analog.render.page import report_page
from analog.render.pdf import find_browser, print_page
from analog.results import MeasureRow, Results, write_results
from analog.workflows import Checked, FineRow


def page(checked: Checked, baseline: Results | None = None) -> str:
    engine = render_sample.ClosedForm()
    return report_page(checked, engine, "2025-11-25", (), baseline)  # type: ignore[arg-type]


def write(checked: Checked, folder: Path) -> Path:
    engine = render_sample.ClosedForm()
    return write_report(checked, engine, folder, date="2025-11-25")  # type: ignore[arg-type]


def better(results: Results) -> Results:
    """Return results in which the final level had 0.5 V more to spare."""
    bench = results.benches[0]
    rows = tuple(
        replace(row, worst=row.worst + 0.5, margin=row.margin + 0.5, verdict="pass")
        if row.measure == "final_level" and row.worst is not None and row.margin is not None
        else row
        for row in bench.measures
    )
    design = replace(results.design, sha256="0" * 64)
    return replace(results, design=design, benches=(replace(bench, measures=rows),))


def test_what_finer_steps_change_is_shown_largest_first() -> None:
    rows = (
        FineRow("reset", "release_time", "s", "nominal", 0.5, 0.5001, 1e-4, 2e-4),
        FineRow("reset", "final_level", "V", "worst:final_level", 8.5, 8.46, -0.04, -4.4e-3),
        FineRow("reset", "start_current", "A", "nominal", None, None, None, None),
    )
    text = read(page(replace(render_sample.checked(), fine=rows))).text
    assert "The largest change is +0.44 % of its measure's scale" in text
    section = text[text.index("In finer steps") :]
    assert section.index("reset, final level") < section.index("reset, release time")
    assert "−40 mV" in text or "−0.04 V" in text
    assert "In finer steps" not in read(page(render_sample.checked())).text


def test_changes_since_the_baseline_stand_in_page_and_summary() -> None:
    now = render_sample.checked()
    before = better(now.results)
    text = read(page(now, before)).text
    assert "Since the accepted baseline" in text
    assert "the design changed" in text
    assert "verdict pass fail worse" in text
    short = summary(now.results, before)
    assert "Since the accepted baseline" in short
    assert "- reset final\\_level (threshold)\\: verdict from pass to fail" in short
    assert "baseline" not in summary(now.results)
    assert "Nothing changed" in read(page(now, now.results)).text


def test_the_baseline_in_the_folder_is_the_one_compared_with(tmp_path: Path) -> None:
    now = render_sample.checked()
    write(now, tmp_path)
    write_results(better(now.results), tmp_path / "sample" / "baseline.json")
    text = write(now, tmp_path).read_text("utf-8")
    assert "Since the accepted baseline" in text
    (tmp_path / "sample" / "baseline.json").write_text("{", "utf-8")
    assert "Since the accepted baseline" not in write(now, tmp_path).read_text("utf-8")


def test_the_index_has_every_report_of_the_folder_the_worst_first(tmp_path: Path) -> None:
    now = render_sample.checked()
    write(now, tmp_path)
    for name, verdict in (("a-pass", "pass"), ("z-open", "undecided")):
        design = replace(now.results.design, name=name, title=name)
        write(replace(now, results=replace(now.results, design=design, verdict=verdict)), tmp_path)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "results.json").write_text("{}", "utf-8")
    found = reports_in(tmp_path)
    assert [one.design.name for one in found] == ["a-pass", "sample", "z-open"]
    text = write_index(found, tmp_path, date="2025-11-25").read_text("utf-8")
    places = [text.index(f'href="{name}/') for name in ("sample", "z-open", "a-pass")]
    assert places == sorted(places)


@pytest.mark.parametrize("undecided", [False, True])
def test_pages_are_without_a_fault_to_a_browsers_parser(undecided: bool) -> None:
    now = render_sample.checked(undecided=undecided)
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    root = parser.parse(page(now, better(now.results)))
    assert parser.errors == []
    levels = [int(e.tag[1]) for e in root.iter() if str(e.tag) in ("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    identifiers = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(identifiers) == len(set(identifiers))


def test_a_pdf_without_a_browser_names_the_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("EDGEPROOF_CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert find_browser() is None
    with pytest.raises(MachineError, match="apt-get install chromium"):
        print_page(tmp_path / "index.html", "2025-11-25")
    monkeypatch.setenv("EDGEPROOF_CHROMIUM", str(tmp_path / "none"))
    with pytest.raises(MachineError, match="EDGEPROOF_CHROMIUM"):
        print_page(tmp_path / "index.html", "2025-11-25")
    assert list(tmp_path.iterdir()) == []


def with_rows(checked: Checked, rows: tuple[MeasureRow, ...]) -> Checked:
    result = replace(checked.results.benches[0], measures=rows)
    bench = replace(checked.benches[0], result=result)
    results = replace(checked.results, benches=(result,))
    return replace(checked, results=results, benches=(bench,))


def golden_rows(name: str, row: MeasureRow) -> tuple[MeasureRow, ...]:
    """Return the rows of a nasty case made from one ordinary row."""
    never = replace(row, worst=None, margin=None, margin_share=None, verdict="fail",
                    reason="it never happens at the worst case")  # fmt: skip
    cases = {
        "one measure": (row,),
        "never happens": (never,),
        "no nominal either": (replace(never, nominal=None, worst_at={}),),
        "margin beyond counting": (replace(row, margin=1e300, margin_share=1e308),),
        "next to nothing": (replace(row, worst=5e-324, nominal=-5e-324, margin=5e-324),),
        "long name in Unicode": (replace(row, measure="Ω≥漢字" * 60, reason="é" * 2000),),
        "200 measures": tuple(replace(row, measure=f"measure_{k}") for k in range(200)),
        "nothing": (),
    }
    return cases[name]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("one measure", "8.52 V"),
        ("never happens", "never happens"),
        ("no nominal either", "never happens"),
        ("margin beyond counting", "over 100 times"),
        ("next to nothing", "0 V"),
        ("long name in Unicode", "Ω≥漢字Ω≥漢字"),
        ("200 measures", "measure 199"),
        ("nothing", "Nothing was judged"),
    ],
)
def test_nasty_cases_give_whole_pages_summaries_and_junit(name: str, words: str) -> None:
    plain = render_sample.checked()
    row = next(r for r in plain.results.benches[0].measures if r.measure == "final_level")
    nasty = with_rows(plain, golden_rows(name, row))
    if name == "nothing":
        nasty = replace(nasty, results=replace(nasty.results, verdict=None))
    html = page(nasty)
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    parser.parse(html)
    assert parser.errors == []
    text = read(html).text
    assert words in text
    assert not re.search(r"\b(nan|inf|None\b(?!:))\b", text)
    assert len(summary(nasty.results)) < 65_536
    found = junitparser.JUnitXml.fromstring(junit([nasty.results]).encode())
    assert found.tests == len(nasty.results.benches[0].measures)


def test_the_mains_side_begins_with_its_cautions() -> None:
    """Before any picture or figure of the gate drive; other benches have the page's own."""
    sound = render_sample.checked()
    (bench,) = sound.benches
    result = replace(bench.result, bench="gate_drive")
    gate = replace(bench, plan=replace(bench.plan, bench="gate_drive"), result=result)
    html = page(replace(sound, benches=(gate,), results=replace(sound.results, benches=(result,))))
    section = html[html.index('id="gate_drive"') :]
    assert section.index("Everything from here on") < section.index("<figure")
    for word in ("can kill", "Fire", "creepage", "fuse", "heatsink", "licensed", "0.1 µF"):
        assert word in section[: section.index("<figure")]
    assert "Everything from here on" not in page(sound)


def test_a_figure_names_the_sample_of_its_worst_case() -> None:
    """By the parameters that the plot names, in its caption."""
    sound = render_sample.checked()
    (bench,) = sound.benches
    (scene,) = bench.scenes
    (plot, *others) = scene.scene.plots
    name = next(iter(scene.nominal.row))
    named = replace(plot, naming=(("the culprit's value", name, "Ω"),))
    drawn = replace(scene, scene=replace(scene.scene, plots=(named, *others)))
    changed = replace(sound, benches=(replace(bench, scenes=(drawn,)),))
    assert "The sample of the worst case: the culprit's value" in read(page(changed)).text
    assert "The sample of the worst case" not in page(sound)
