"""One hostile design through every renderer, each output read back by what will read it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import html5lib
import junitparser
import pytest
import render_sample
from markdown_it import MarkdownIt

from analog.cli.display import plain_table, say
from analog.plugin.message import fitted, row_message
from analog.render import junit, summary, write_index, write_report
from analog.render.annotations import command, commands, disarmed
from analog.render.chain import Marked, draw_chain
from analog.render.samples import harmless
from analog.results import read_results, to_json
from analog.workflows import Checked, FailedRun

HOSTILE = (
    "=cmd|'/c calc'!A1 </pre></script><script>alert(1)</script><img src=x onerror=alert(2)> "
    "{{7*7}} ]]> | `code` [link](http://x.test) @team ::error::owned ##[error]owned "
    "\x00\x07\x1b[31m \u202e Ω漢字 %0A%25 &amp; \"quoted\" '\\' "
)
LINES = f"{HOSTILE}\n::error::second line\r\n=third\n"


@pytest.fixture(scope="module")
def checked() -> Checked:
    """Return a checked design whose every free text is hostile."""
    plan = render_sample.plan(title=LINES, source=LINES)
    scene = plan.scenes[0]
    circuit = render_sample.circuit(LINES, LINES)
    plot = replace(
        scene.plots[0],
        title=LINES,
        levels=tuple(replace(one, label=LINES) for one in scene.plots[0].levels),
        marks=tuple(replace(one, label=LINES) for one in scene.plots[0].marks),
        curves=tuple(replace(one, label=LINES) for one in scene.plots[0].curves),
    )
    experiment = replace(scene.experiment, circuit=circuit)
    scene = replace(scene, title=LINES, experiment=experiment, plots=(plot,))
    measures = tuple(replace(one, title=LINES, definition=LINES) for one in plan.measures)
    limits = {
        name: tuple(replace(limit, source=LINES, note=LINES) for limit in several)
        for name, several in plan.limits.items()
    }
    plan = replace(plan, measures=measures, scenes=(scene,), limits=limits, notes=(LINES,))
    found = render_sample.checked(plan, lost=(FailedRun("charge", LINES, LINES, {}, LINES),))
    design = replace(found.results.design, title=LINES)
    rows = tuple(replace(row, reason=LINES) for row in found.results.benches[0].measures)
    bench = replace(found.results.benches[0], measures=rows)
    text = f"{found.design.text}\n# {''.join(c for c in HOSTILE if c.isprintable())}\n"
    own = found.design.model_copy(update={"title": LINES, "notes": LINES, "text": text})
    results = replace(found.results, design=design, benches=(bench,))
    return replace(found, design=own, results=results)


@pytest.fixture(scope="module")
def folder(checked: Checked, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("reports")
    engine = render_sample.ClosedForm()
    write_report(checked, engine, place, date="2025-11-25")  # type: ignore[arg-type]
    write_index([checked.results], place, date="2025-11-25")
    return place


@pytest.mark.parametrize("name", ["sample/index.html", "index.html"])
def test_pages_hold_it_as_text(folder: Path, name: str) -> None:
    text = (folder / name).read_text("utf-8")
    document = html5lib.HTMLParser(namespaceHTMLElements=False)
    root = document.parse(text)
    assert document.errors == []
    assert len(root.findall(".//script")) == 1
    assert root.findall(".//img") == []
    assert not [e for e in root.iter() for key in e.attrib if str(key).startswith("on")]
    assert "onerror=alert(2)" in "".join(root.itertext())
    assert "{{7*7}}" in text


def test_junit_holds_it_as_text(folder: Path) -> None:
    document = junitparser.JUnitXml.fromfile(str(folder / "sample" / "junit.xml"))
    assert document.failures >= 1
    root = ElementTree.parse(folder / "sample" / "junit.xml").getroot()
    assert {e.tag for e in root.iter()} <= {
        "testsuites", "testsuite", "testcase", "failure", "error",
    }  # fmt: skip


def test_markdown_holds_it_as_text(folder: Path) -> None:
    parser = MarkdownIt("commonmark", {"html": True}).enable("table")
    tokens = parser.parse((folder / "sample" / "summary.md").read_text("utf-8"))
    kinds = {child.type for token in tokens for child in token.children or ()}
    assert kinds <= {"text", "softbreak", "text_special"}
    assert {token.type for token in tokens} & {"html_block", "fence", "code_block"} == set()


def test_results_json_reads_back(folder: Path, checked: Checked) -> None:
    file = folder / "sample" / "results.json"
    assert "\n" not in to_json(checked.results)
    json.loads(file.read_text("utf-8", "surrogatepass"))
    assert read_results(file).design.name == "sample"


def test_netlists_have_no_line_of_the_users(folder: Path) -> None:
    for file in (folder / "sample" / "netlists").iterdir():
        for line in file.read_text("utf-8").splitlines():
            assert not line.lstrip().startswith(("::", "=third")), file.name


def test_annotations_are_one_line_each_with_nothing_of_the_users_as_a_property(
    checked: Checked,
) -> None:
    found = commands(checked.results, checked.design, f"a{LINES}.toml")
    assert found
    for text in found:
        assert text.isprintable()
        head, _, message = text.removeprefix("::").partition("::")
        level, _, properties = head.partition(" ")
        assert level in ("error", "warning")
        assert [part.split("=")[0] for part in properties.split(",")] == [
            "file", "line", "col", "title",
        ]  # fmt: skip
        assert message.startswith(("final level", "release time"))


def test_an_annotation_decodes_to_what_was_meant() -> None:
    text = command("error", "a,b:c.toml", 3, 4, "50% off", "x: 50%, y")
    assert text == "::error file=a%2Cb%3Ac.toml,line=3,col=4,title=50%25 off::x: 50%25, y"


@pytest.mark.parametrize("text", [LINES, "::error::x", "  ::set-env::y", "a\n\t::x", "##[error]z"])
def test_no_line_of_a_log_is_a_command(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    say(text)
    for line in [*disarmed(text).splitlines(), *capsys.readouterr().out.splitlines()]:
        assert not line.lstrip().startswith("::")
        assert "##[" not in line


def test_what_the_plugin_says_fits_and_acts_on_nothing(checked: Checked) -> None:
    for row in checked.results.benches[0].measures:
        for line in fitted(row_message("a.toml:1", "reset", row, {})).split("\n"):
            assert line.isprintable()
            assert len(line) <= 80
            assert not line.lstrip().startswith("::")


@pytest.mark.parametrize("text", [LINES, "=1+1", "+1", "-1", "@x", "\t=1", "|x"])
def test_no_cell_of_a_table_is_a_formula(text: str) -> None:
    target = io.StringIO()
    csv.writer(target).writerow([harmless(text)])
    (row,) = csv.reader(io.StringIO(target.getvalue()))
    assert row[0][0] not in "=+-@\t\r\n|"


def test_schematics_and_tables_hold_it(checked: Checked) -> None:
    svg = draw_chain(checked.design, {"reset": Marked(LINES, "fail")})
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    assert plain_table([], []) == ["  "]


def test_junit_and_summary_are_the_same_by_themselves(folder: Path, checked: Checked) -> None:
    report = folder / "sample"
    assert (report / "junit.xml").read_bytes().decode() == junit([checked.results])
    assert (report / "summary.md").read_bytes().decode() == summary(checked.results)
