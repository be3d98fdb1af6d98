"""What was accepted, what changed since, and why: accept, check --baseline, compare."""

from __future__ import annotations

import json
import shlex
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from cli_cases import FAILING, PASSING, assert_located, listing, run, written

KEPT = "reports/holds/baseline.json"


@pytest.fixture
def design(tmp_path: Path) -> str:
    """Return a design whose results are accepted."""
    path = written(tmp_path, "a.toml", PASSING)
    result = run("accept", "a.toml")
    assert result.exit_code == 0
    assert f"edgeproof check a.toml --baseline {KEPT}" in result.stdout
    return path


def edit(change: Any) -> None:
    data = json.loads(Path(KEPT).read_text("utf-8"))
    change(data)
    Path(KEPT).write_text(json.dumps(data), "utf-8")


def check(name: str = "a.toml", *more: str) -> Any:
    return run("check", name, "--baseline", KEPT, *more)


@pytest.mark.usefixtures("design")
def test_accept_writes_only_the_baseline_and_the_same_design_keeps_it(tmp_path: Path) -> None:
    assert {name for name in listing(tmp_path / "reports") if "." in name} == {
        "holds/baseline.json"
    }
    result = check()
    assert result.exit_code == 0
    assert result.stderr == ""


def test_a_smaller_margin_names_itself_its_line_its_cause_and_the_way_out(
    design: str, tmp_path: Path
) -> None:
    written(tmp_path, "a.toml", Path(design).read_text("utf-8").replace("1u 10%", "820n 10%"))
    result = check()
    assert result.exit_code == 1
    assert_located(result.stderr)
    (breach,) = [line for line in result.stderr.splitlines() if "reset.hold_time" in line]
    line = PASSING.splitlines().index('driven = "4013"') + 1
    assert breach.startswith(f"a.toml:{line}:")  # the pulse that part needs is the limit
    assert "of it lost (the design changed)" in breach
    command = result.stderr.rpartition("accept it: ")[2].strip()
    assert run(*shlex.split(command)[1:]).exit_code == 0
    assert check().exit_code == 0


@pytest.mark.parametrize(("share", "code"), [("40%", 0), ("0.1", 1), ("0", 1)])
def test_the_share_that_may_be_lost_is_the_users(
    design: str, tmp_path: Path, share: str, code: int
) -> None:
    smaller = Path(design).read_text("utf-8").replace("1u 10%", "820n 10%")
    written(tmp_path, "a.toml", smaller)
    assert check("a.toml", "--may-shrink", share).exit_code == code


@pytest.mark.usefixtures("design")
@pytest.mark.parametrize("share", ["x", "-1%", "100%", "nan", "1"])
def test_what_is_no_share_is_refused(share: str) -> None:
    result = check("a.toml", "--may-shrink", share)
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_a_tightened_limit_is_the_cause(design: str, tmp_path: Path) -> None:
    limit = '\n[[limits]]\nmeasure = "reset.release_time"\nmaximum = "{}"\nreason = "wanted"\n'
    text = Path(design).read_text("utf-8")
    written(tmp_path, "a.toml", text + limit.format("3 s"))
    assert run("accept", "a.toml").exit_code == 0
    written(tmp_path, "a.toml", text + limit.format("2.5 s"))
    result = check()
    assert result.exit_code == 1
    (breach,) = [line for line in result.stderr.splitlines() if "release_time" in line]
    assert "the design changed; the limit changed" in breach


@pytest.mark.usefixtures("design")
def test_another_tool_is_the_cause() -> None:
    def change(data: dict[str, Any]) -> None:
        data["package_version"], data["engine"]["version"] = "0.0.1", "1"
        data["inputs"]["cards/40106.toml"] = "0" * 64
        for row in data["benches"][0]["measures"]:
            if row["measure"] == "hold_time":
                row["margin"] *= 1.3

    edit(change)
    result = check()
    assert result.exit_code == 1
    for words in ("edgeproof changed from 0.0.1", "simulator changed from ngspice 1 to",
                  "part cards or models changed: cards/40106.toml"):  # fmt: skip
        assert words in result.stderr
    assert "the design changed" not in result.stderr


@pytest.mark.usefixtures("design")
def test_benches_that_are_not_checked_are_not_missed() -> None:
    edit(lambda data: data["benches"].append({**data["benches"][0], "bench": "gate_drive"}))
    assert check("a.toml", "--bench", "reset").exit_code == 0
    result = check()
    assert result.exit_code == 1
    assert "gate_drive.hold_time" in result.stderr


def test_accept_of_a_failing_design_says_so_with_its_exit_code(tmp_path: Path) -> None:
    written(tmp_path, "b.toml", FAILING)
    result = run("accept", "b.toml", "--baseline", "kept.json")
    assert result.exit_code == 1
    assert "leaks: fail. Accepted: kept.json" in result.stdout
    result = run("check", "b.toml", "--baseline", "kept.json")
    assert result.exit_code == 1
    assert "worse" not in result.stderr


def test_accept_says_what_is_new(design: str, tmp_path: Path) -> None:
    written(tmp_path, "a.toml", Path(design).read_text("utf-8").replace("1u 10%", "820n 10%"))
    result = run("accept", "a.toml")
    assert "reset.hold_time [reset_pulse]: margin from " in result.stdout
    Path(KEPT).write_text("{", "utf-8")
    assert run("accept", "a.toml").exit_code == 0
    assert check().exit_code == 0


def test_accept_into_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    written(tmp_path, "a.toml", PASSING)
    written(tmp_path, "file", "in the way")
    for place in ("file/kept.json", "."):
        result = run("accept", "a.toml", "--baseline", place)
        assert result.exit_code == 2
        assert_located(result.stderr)


def two_results(tmp_path: Path) -> None:
    written(tmp_path, "a.toml", PASSING)
    written(tmp_path, "b.toml", PASSING.replace("1u 10%", "820n 10%"))
    for name in "ab":
        written(tmp_path, f"{name}.json", run("check", f"{name}.toml", "--json").stdout)


def test_compare_shows_what_changed_and_why(tmp_path: Path) -> None:
    two_results(tmp_path)
    result = run("compare", "a.json", "b.json")
    assert result.exit_code == 1
    assert "the design changed" in result.stdout
    table = [line for line in result.stdout.splitlines() if "reset.hold_time" in line]
    assert "worse" in table[0]
    assert "for the worse" in result.stdout
    back = run("compare", "b.json", "a.json")
    margins = [line for line in back.stdout.splitlines() if " margin " in line]
    assert "better" in next(line for line in margins if "reset.hold_time" in line)
    same = run("compare", "a.json", "a.json")
    assert same.exit_code == 0
    assert "Nothing changed" in same.stdout


def test_compare_object_fits_its_schema(tmp_path: Path) -> None:
    two_results(tmp_path)
    place = files("analog.cli").joinpath("schemas", "compare.json")
    schema = json.loads(place.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    found = json.loads(run("compare", "a.json", "b.json", "--json").stdout)
    jsonschema.validate(found, schema)
    assert found["worse"] >= 1
    assert [cause["kind"] for cause in found["causes"]] == ["design"]
    (margin,) = [
        c for c in found["changes"] if (c["measure"], c["field"]) == ("hold_time", "margin")
    ]
    assert margin["worse"] is True
    assert margin["unit"] == "s"
    assert margin["after"] < margin["before"]


def test_compare_takes_report_folders(tmp_path: Path) -> None:
    written(tmp_path, "a.toml", PASSING)
    assert run("report", "a.toml").exit_code == 0
    assert run("compare", "reports/holds", "reports/holds/results.json").exit_code == 0


@pytest.mark.parametrize("wrong", ["none.json", "a.toml", "."])
def test_compare_refuses_what_is_no_results_file(tmp_path: Path, wrong: str) -> None:
    two_results(tmp_path)
    result = run("compare", wrong, "a.json")
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_annotate_prints_a_command_per_failed_limit_at_its_line(tmp_path: Path) -> None:
    written(tmp_path, "b.toml", FAILING)
    result = run("check", "b.toml", "--annotate", "--json")
    (command,) = result.stderr.splitlines()
    line = FAILING.splitlines().index('receiver = "40106"') + 1
    assert command.startswith(f"::error file=b.toml,line={line},col=12,title=")
    assert "limit at least 0 V" in command
    json.loads(result.stdout)
    written(tmp_path, "a.toml", PASSING)
    assert run("check", "a.toml", "--annotate").stderr == ""
