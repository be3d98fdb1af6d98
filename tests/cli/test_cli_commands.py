"""What each command does beyond its exit code: files, tables, comparisons, hostile places."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cli_cases import (
    COMMAND,
    FAILING,
    PASSING,
    assert_located,
    listing,
    process_environment,
    run,
    run_process,
    written,
)
from junitparser import JUnitXml

from analog.cli import demo
from analog.design import read_design

EXPECTING = '\n[expect]\nverdict = "{verdict}"\nfails = [{fails}]\n'


def test_new_writes_a_starter_that_reads_clean(tmp_path: Path) -> None:
    result = run("new", "towel-rail")
    assert result.exit_code == 0
    assert "edgeproof check towel-rail.toml" in result.stdout
    assert listing(tmp_path) == {"towel-rail.toml"}
    nominal = run("netlist", "towel-rail.toml", "--bench", "reset")
    assert nominal.exit_code == 0, nominal.stderr


def test_report_writes_the_folder_named_by_the_design(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("report", path)
    assert result.exit_code == 0
    written_files = listing(tmp_path / "reports" / "holds")
    assert {"index.html", "results.json", "junit.xml", "summary.md"} <= written_files
    assert any(name.startswith("netlists/") for name in written_files)
    assert "index.html" in result.stdout


def test_report_takes_its_date_from_source_date_epoch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert run("report", path).exit_code == 0
    page = (tmp_path / "reports/holds/index.html").read_text(encoding="utf-8")
    assert "1970-01-02" in page
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    result = run("report", path)
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_a_full_disk_gives_3_and_keeps_the_old_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    assert run("report", path).exit_code == 0
    before = (tmp_path / "reports/holds/index.html").read_bytes()

    def no_space(*_arguments: object, **_more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("analog.render.write.replace_folder", no_space)
    result = run("report", path)
    assert result.exit_code == 3
    assert_located(result.stderr)
    assert "No space left" in result.stderr
    assert (tmp_path / "reports/holds/index.html").read_bytes() == before


def test_junit_file_has_a_case_per_limit(tmp_path: Path) -> None:
    one, two = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", FAILING)
    result = run("check", one, two, "--junit", str(tmp_path / "made" / "junit.xml"))
    assert result.exit_code == 1
    suites = JUnitXml.fromfile(str(tmp_path / "made" / "junit.xml"))
    assert suites.tests > 8
    assert suites.failures >= 1
    assert suites.errors == 0


def test_junit_into_a_full_device_gives_3(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("check", path, "--junit", "/dev/full")
    assert result.exit_code == 3
    assert_located(result.stderr)
    assert Path("/dev/full").is_char_device()


def test_baseline_holds_until_a_margin_gets_worse(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    baseline = written(tmp_path, "baseline.json", run("check", path, "--json").stdout)
    assert run("check", path, "--baseline", baseline).exit_code == 0
    smaller = PASSING.replace("1u 10%", "820n 10%")
    result = run("check", written(tmp_path, "b.toml", smaller), "--baseline", baseline)
    assert result.exit_code == 1
    assert "reset.hold_time" in result.stderr
    assert "holds: pass" in result.stdout


def test_baseline_of_another_design_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    baseline = written(tmp_path, "baseline.json", run("check", path, "--json").stdout)
    other = PASSING.replace('"holds"', '"another"')
    result = run("check", written(tmp_path, "b.toml", other), "--baseline", baseline)
    assert result.exit_code == 2
    assert "holds" in result.stderr


def test_fine_shows_what_finer_steps_change(tmp_path: Path) -> None:
    result = run("check", written(tmp_path, "a.toml", PASSING), "--fine")
    assert result.exit_code == 0
    assert "a tenth of the step" in result.stdout


@pytest.mark.parametrize("case", ["nominal", "worst:hold_time"])
def test_netlist_runs_as_it_is_in_batch_mode(case: str, tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("netlist", path, "--bench", "reset", "--at", case)
    assert result.exit_code == 0
    (tmp_path / ".spiceinit").write_text("", encoding="utf-8")
    (tmp_path / "deck.cir").write_text(result.stdout, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    printed = next(line for line in done.stdout.splitlines() if line.startswith("hold_time"))
    simulated = float(printed.split("=")[1].split()[0])
    checked = json.loads(run("check", path, "--json").stdout)
    rows = {row["measure"]: row for row in checked["benches"][0]["measures"]}
    expected = rows["hold_time"]["nominal" if case == "nominal" else "worst"]
    assert simulated == pytest.approx(expected, rel=1e-3)


def test_netlist_can_name_the_circuit(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("netlist", path, "--bench", "reset", "--scene", "power-down")
    assert result.exit_code == 0
    assert "pin_discharge_current" in result.stdout


def test_a_hostile_spiceinit_beside_the_design_does_nothing(tmp_path: Path) -> None:
    written(tmp_path, ".spiceinit", "shell touch pwned\nset ngbehavior=ps\n")
    path = written(tmp_path, "a.toml", PASSING)
    environment = {"EDGEPROOF_STORE": str(tmp_path / "store.sqlite")}
    done = run_process("check", path, folder=tmp_path, environment=environment)
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "pwned").exists()
    checked = run_process("doctor", folder=tmp_path)
    assert checked.returncode == 0
    assert not (tmp_path / "pwned").exists()


def test_a_cache_that_cannot_be_used_is_only_noted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("EDGEPROOF_STORE")
    monkeypatch.setenv("XDG_CACHE_HOME", "/dev/null")
    path = written(tmp_path, "a.toml", PASSING)
    result = run("check", path)
    assert result.exit_code == 0
    assert "without the cache" in result.stderr


def test_a_named_store_must_work(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    foreign = written(tmp_path, "notes.txt", "these are notes and no store of simulations\n" * 9)
    result = run("check", path, "--store", foreign)
    assert result.exit_code == 3
    assert_located(result.stderr)
    assert "notes" in Path(foreign).read_text(encoding="utf-8")


def test_demo_says_what_was_expected_and_what_came_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing = FAILING + EXPECTING.format(verdict="fail", fails='"reset.release_level_margin"')
    paths = [
        Path(written(tmp_path, "a.toml", PASSING + EXPECTING.format(verdict="pass", fails=""))),
        Path(written(tmp_path, "b.toml", failing)),
    ]
    monkeypatch.setattr(demo, "scenario_files", lambda: tuple(paths))
    result = run("demo")
    assert result.exit_code == 0
    assert "2 of 2 scenarios came out as expected" in result.stdout
    assert (tmp_path / "reports/holds/index.html").is_file()
    assert (tmp_path / "reports/leaks/index.html").is_file()


def test_demo_fails_when_a_scenario_comes_out_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(written(tmp_path, "a.toml", FAILING + EXPECTING.format(verdict="pass", fails="")))
    monkeypatch.setattr(demo, "scenario_files", lambda: (path,))
    result = run("demo")
    assert result.exit_code == 1
    assert "NOT AS EXPECTED" in result.stdout
    assert "reset.release_level_margin" in result.stdout


def test_shipped_scenarios_state_what_they_expect() -> None:
    names = {path.stem for path in demo.scenario_files()}
    assert {"propagator-mat", "first-draft"} <= names
    for path in demo.scenario_files():
        assert read_design(path).expect is not None


def test_the_shipped_scenarios_come_out_as_they_say(
    tmp_path: Path, counts: Callable[[int, int], int]
) -> None:
    """Wholly, and the starter design with them, with --full, which takes minutes; else their
    resets."""
    if counts(0, 1):
        done = run_process("demo", folder=tmp_path)
        assert done.returncode == 0, done.stdout + done.stderr
        assert run("new", "third").exit_code == 0
        third = run_process("check", "third.toml", folder=tmp_path)
        assert third.returncode == 0, third.stdout + third.stderr
        return
    for path in demo.scenario_files():
        expect = read_design(path).expect
        assert expect is not None
        result = json.loads(run("check", str(path), "--bench", "reset", "--json").stdout)
        failed = {row["measure"] for row in rows_of(result) if row["verdict"] == "fail"}
        named = {name.removeprefix("reset.") for name in expect.fails if "reset." in name}
        assert failed == named, path


def rows_of(results: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for bench in results["benches"] for row in bench["measures"]]


def test_a_terminal_without_our_letters_gets_escapes(tmp_path: Path) -> None:
    environment = process_environment({"PYTHONIOENCODING": "latin-1", "PYTHONUTF8": "0"})
    command = [*COMMAND, "parts", "40106"]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert b"\\u221255 \xb0C" in done.stdout  # −55 °C, with a minus sign Latin-1 does not have


def test_plain_output_has_no_control_characters(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    done = run_process("check", path, folder=tmp_path, environment={"TERM": "xterm"})
    assert done.returncode == 0
    assert "\x1b" not in done.stdout + done.stderr
