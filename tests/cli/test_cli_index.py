"""`report` and `demo` over several designs: an index page leads to every report."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli_cases import FAILING, PASSING, run, written

from analog.cli import demo


def test_report_of_several_designs_writes_an_index(tmp_path: Path) -> None:
    one, two = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", FAILING)
    assert run("report", one).exit_code == 0
    assert not (tmp_path / "reports/index.html").exists()
    assert run("report", two).exit_code == 1
    text = (tmp_path / "reports/index.html").read_text("utf-8")
    assert text.index('href="leaks/index.html"') < text.index('href="holds/index.html"')


def test_demo_leaves_an_unchanged_index_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = tuple(
        Path(written(tmp_path, name, text + '\n[expect]\nverdict = "pass"\n'))
        for name, text in (("a.toml", PASSING), ("b.toml", PASSING.replace("holds", "too")))
    )
    monkeypatch.setattr(demo, "scenario_files", lambda: paths)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1751328000")
    assert run("demo").exit_code == 0
    index = tmp_path / "reports/index.html"
    before = index.read_bytes()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1754006400")
    assert run("demo").exit_code == 0
    assert index.read_bytes() == before
    index.unlink()
    assert run("demo").exit_code == 0
    assert b"2025-08-01" in index.read_bytes()
