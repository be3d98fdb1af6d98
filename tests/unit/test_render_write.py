"""The report folder: whole or untouched, the same bytes every time, the right files."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import render_sample

from analog.errors import MachineError
from analog.render import write_index, write_report
from analog.render.write import replace_folder
from analog.results import read_results, results_schema


def write(folder: Path, date: str = "2025-11-25") -> Path:
    engine = render_sample.ClosedForm()
    return write_report(render_sample.checked(), engine, folder, date=date)  # type: ignore[arg-type]


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_all_files_are_there_and_nothing_else(tmp_path: Path) -> None:
    page = write(tmp_path)
    assert page == tmp_path / "sample" / "index.html"
    assert sorted(contents(tmp_path)) == [
        "sample/index.html",
        "sample/junit.xml",
        "sample/netlists/reset-charge-nominal.cir",
        "sample/netlists/reset-charge-worst-final_level.cir",
        "sample/netlists/reset-charge-worst-release_time.cir",
        "sample/results.json",
        "sample/summary.md",
    ]


def test_results_json_suits_its_schema_and_reads_back(tmp_path: Path) -> None:
    write(tmp_path)
    file = tmp_path / "sample" / "results.json"
    jsonschema.validate(json.loads(file.read_text(encoding="utf-8")), results_schema())
    assert read_results(file) == render_sample.checked().results


def test_netlists_hold_the_values_of_their_case(tmp_path: Path) -> None:
    write(tmp_path)
    folder = tmp_path / "sample" / "netlists"
    assert "470000" in (folder / "reset-charge-nominal.cir").read_text(encoding="utf-8")
    worst = (folder / "reset-charge-worst-final_level.cir").read_text(encoding="utf-8")
    assert "8.55" in worst
    assert "493500" in worst


def test_writing_again_gives_the_same_bytes(tmp_path: Path) -> None:
    write(tmp_path / "a")
    write(tmp_path / "b")
    write(tmp_path / "b")
    assert contents(tmp_path / "a") == contents(tmp_path / "b")


def test_only_the_page_knows_the_date(tmp_path: Path) -> None:
    write(tmp_path / "a", "2025-11-25")
    write(tmp_path / "b", "2031-01-02")
    a, b = contents(tmp_path / "a"), contents(tmp_path / "b")
    assert [name for name in a if a[name] != b[name]] == ["sample/index.html"]
    assert a["sample/index.html"].replace(b"2025-11-25", b"2031-01-02") == b["sample/index.html"]


def test_a_baseline_survives_and_stale_netlists_go(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "sample" / "baseline.json").write_text("mine", encoding="utf-8")
    (tmp_path / "sample" / "netlists" / "old.cir").write_text("stale", encoding="utf-8")
    write(tmp_path)
    assert (tmp_path / "sample" / "baseline.json").read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "sample" / "netlists" / "old.cir").exists()


def test_a_folder_that_cannot_be_made_is_a_machine_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(MachineError, match="cannot write the report there"):
        write(tmp_path / "file")
    (tmp_path / "sample").write_text("in the way", encoding="utf-8")
    with pytest.raises(MachineError, match="--out"):
        write(tmp_path)
    assert (tmp_path / "sample").read_text(encoding="utf-8") == "in the way"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "sample"]


def test_a_write_that_breaks_off_leaves_the_old_report(tmp_path: Path) -> None:
    write(tmp_path)
    before = contents(tmp_path)
    long_name = "x" * 300  # longer than any file system takes
    with pytest.raises(OSError, match="too long"):
        replace_folder(tmp_path / "sample", {"index.html": "half", long_name: "never"})
    assert contents(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == ["sample"]


def test_the_index_leads_to_every_report(tmp_path: Path) -> None:
    write(tmp_path)
    page = write_index([render_sample.checked().results], tmp_path, date="2025-11-25")
    assert page == tmp_path / "index.html"
    assert 'href="sample/index.html"' in page.read_text(encoding="utf-8")


def test_an_index_that_cannot_be_written_is_a_machine_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(MachineError, match="cannot write the index there"):
        write_index([render_sample.checked().results], tmp_path / "file", date="today")
