"""--json prints the contract and nothing else, and every object fits its shipped schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from cli_cases import FAILING, PASSING, ROOT, run, run_process, written

from analog.cards import parts_schema
from analog.cli import demo
from analog.engine.doctor import doctor_schema
from analog.results import results_schema


def schema(name: str) -> dict[str, Any]:
    text = (ROOT / "analog" / "cli" / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


def test_shipped_schemas_are_schemas() -> None:
    for path in (ROOT / "analog" / "cli" / "schemas").glob("*.json"):
        jsonschema.Draft202012Validator.check_schema(schema(path.stem))


def test_check_prints_one_results_object_per_line(tmp_path: Path) -> None:
    one, two = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", FAILING)
    done = run_process("check", one, two, "--json", folder=tmp_path)
    assert done.returncode == 1
    assert done.stderr == ""
    objects = [json.loads(line) for line in done.stdout.splitlines()]
    assert [each["design"]["name"] for each in objects] == ["holds", "leaks"]
    assert [each["verdict"] for each in objects] == ["pass", "fail"]
    for each in objects:
        jsonschema.validate(each, results_schema())


def test_good_and_bad_designs_together(tmp_path: Path) -> None:
    good, bad = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", "x = ")
    result = run("check", good, bad, "--json")
    assert result.exit_code == 2
    by_schema = {json.loads(line)["schema"] for line in result.stdout.splitlines()}
    assert by_schema == {"edgeproof-errors-1", "edgeproof-results-1"}


def test_fine_adds_nothing_to_json(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("check", path, "--json", "--fine")
    assert len(result.stdout.splitlines()) == 1
    jsonschema.validate(json.loads(result.stdout), results_schema())


def test_the_same_command_gives_the_same_bytes(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    outputs = [
        run("check", path, "--json", "--store", str(tmp_path / f"{n}.sqlite"), "--jobs", n).stdout
        for n in ("1", "2")
    ]
    assert outputs[0] == outputs[1]


def test_report_prints_the_results_it_wrote(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("report", path, "--json", "--out", str(tmp_path / "out"))
    assert result.exit_code == 0
    kept = json.loads((tmp_path / "out/holds/results.json").read_text(encoding="utf-8"))
    assert json.loads(result.stdout) == kept


def test_parts_object_fits_its_schema() -> None:
    for arguments in ((), ("40106",), ("X7R",)):
        result = run("parts", *arguments, "--json")
        assert result.exit_code == 0
        jsonschema.validate(json.loads(result.stdout), parts_schema())


def test_parts_audit_object_fits_its_schema_and_counts_every_figure() -> None:
    result = run("parts", "--audit", "--json")
    found = json.loads(result.stdout)
    jsonschema.validate(found, schema("parts-audit"))
    kinds = ("document", "memory", "practice", "computed")
    per_part = [sum(part[kind] for kind in kinds) for part in found["parts"]]
    total = sum(found["total"][kind] for kind in kinds)
    # Figures of a family stand in many parts and count once in all.
    assert max(per_part) < total <= sum(per_part)
    assert found["total"]["document"] > 0


def test_doctor_object_fits_its_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    found = json.loads(run("doctor", "--json").stdout)
    jsonschema.validate(found, doctor_schema())
    assert found["known_circuit"]["right"] is True
    assert found["used"] in {library["path"] for library in found["libraries"]}
    monkeypatch.setattr("analog.engine.library.find_libraries", tuple)
    without = json.loads(run("doctor", "--json").stdout)
    jsonschema.validate(without, doctor_schema())
    assert without["known_circuit"] is None


def test_demo_object_fits_its_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    expecting = PASSING + '\n[expect]\nverdict = "pass"\n'
    path = Path(written(tmp_path, "a.toml", expecting))
    monkeypatch.setattr(demo, "scenario_files", lambda: (path,))
    result = run("demo", "--json", "--out", str(tmp_path / "out"))
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    jsonschema.validate(found, schema("demo"))
    assert found["met"] is True
    assert Path(found["designs"][0]["report"]).is_file()
