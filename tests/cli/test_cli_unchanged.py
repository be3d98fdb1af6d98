"""Reports kept with a design stay as they are while they say the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cli_cases import PASSING, run, written

from analog.cli import demo

REPORT = Path("reports/holds")
JULY, AUGUST = "1751328000", "1754006400"


@pytest.fixture
def design(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the one scenario, whose report of July lies in the folder."""
    path = Path(written(tmp_path, "a.toml", PASSING + '\n[expect]\nverdict = "pass"\n'))
    monkeypatch.setattr(demo, "scenario_files", lambda: (path,))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", JULY)
    assert run("demo").exit_code == 0
    monkeypatch.setenv("SOURCE_DATE_EPOCH", AUGUST)
    return path


def contents() -> dict[str, tuple[bytes, int]]:
    files = (path for path in REPORT.rglob("*") if path.is_file())
    return {str(path): (path.read_bytes(), path.stat().st_mtime_ns) for path in files}


def edit(change: Callable[[dict[str, Any]], None]) -> None:
    file = REPORT / "results.json"
    data = json.loads(file.read_text("utf-8"))
    change(data)
    file.write_text(json.dumps(data), "utf-8")


def scaled(factor: float) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        for row in data["benches"][0]["measures"]:
            for name in ("nominal", "worst"):
                row[name] = None if row[name] is None else factor * row[name]

    return change


def newer_engine(data: dict[str, Any]) -> None:
    data["engine"]["version"] = "99"


def assert_left_alone() -> None:
    before = contents()
    result = run("demo")
    assert result.exit_code == 0
    assert "(unchanged)" in result.stdout
    assert contents() == before


def assert_written_again() -> None:
    before = contents()
    result = run("demo")
    assert result.exit_code == 0
    assert "(unchanged)" not in result.stdout
    assert contents().keys() >= before.keys()
    assert "2025-08-01" in (REPORT / "index.html").read_text("utf-8")


@pytest.mark.usefixtures("design")
def test_another_date_changes_nothing() -> None:
    assert_left_alone()


@pytest.mark.usefixtures("design")
@pytest.mark.parametrize("change", [newer_engine, scaled(1.001)])
def test_engine_version_and_last_digits_change_nothing(
    change: Callable[[dict[str, Any]], None],
) -> None:
    edit(change)
    assert_left_alone()


@pytest.mark.usefixtures("design")
def test_a_value_beyond_the_accuracy_is_written() -> None:
    edit(scaled(1.02))
    assert_written_again()


@pytest.mark.parametrize(
    ("old", "new"), [("5 °C", "4 °C"), ("reset that takes", "reset that surely takes")]
)
def test_another_design_text_is_written(design: Path, old: str, new: str) -> None:
    design.write_text(design.read_text("utf-8").replace(old, new, 1), "utf-8")
    assert_written_again()


@pytest.mark.usefixtures("design")
def test_another_card_is_written() -> None:
    edit(lambda data: data["inputs"].update({"cards/40106.toml": "0" * 64}))
    assert_written_again()


@pytest.mark.usefixtures("design")
@pytest.mark.parametrize("name", ["index.html", "summary.md", "junit.xml", "results.json"])
def test_a_missing_file_is_written(name: str) -> None:
    (REPORT / name).unlink()
    result = run("demo")
    assert "(unchanged)" not in result.stdout
    assert (REPORT / name).is_file()


@pytest.mark.usefixtures("design")
def test_a_broken_results_file_is_written() -> None:
    (REPORT / "results.json").write_text("{", "utf-8")
    assert_written_again()


@pytest.mark.usefixtures("design")
def test_a_report_of_another_form_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analog.render.form._made_by", lambda: "another template")
    assert_written_again()


@pytest.mark.usefixtures("design")
def test_report_writes_whenever_it_is_asked() -> None:
    assert run("report", "a.toml").exit_code == 0
    assert "2025-08-01" in (REPORT / "index.html").read_text("utf-8")
