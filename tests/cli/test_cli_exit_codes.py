"""One test per exit code, and which code wins when designs end differently."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from dataclasses import replace
from pathlib import Path

import pytest
from cli_cases import (
    COMMAND,
    FAILING,
    PASSING,
    assert_located,
    process_environment,
    run,
    run_process,
    written,
)

from analog.cli import exits, session
from analog.design import starter_text


def test_a_design_that_holds_gives_0(tmp_path: Path) -> None:
    result = run("check", written(tmp_path, "a.toml", PASSING))
    assert result.exit_code == 0
    assert "holds: pass" in result.stdout
    assert "reset.hold_time" in result.stdout


def test_a_failed_limit_gives_1_and_says_which_and_where(tmp_path: Path) -> None:
    result = run("check", written(tmp_path, "a.toml", FAILING))
    assert result.exit_code == 1
    assert "fail: reset.release_level_margin" in result.stdout
    assert "reset.capacitor.leakage" in result.stdout


def test_bad_input_gives_2_and_the_other_designs_are_still_judged(tmp_path: Path) -> None:
    good, bad = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", "x = ")
    result = run("check", bad, good)
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert "holds: pass" in result.stdout


def test_undecided_gives_3(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    judged = session.checked

    def undecided(job: object, engine: object, request: object) -> object:
        outcome = judged(job, engine, request)
        return replace(outcome, results=replace(outcome.results, verdict="undecided"))

    monkeypatch.setattr(session, "checked", undecided)
    assert run("check", written(tmp_path, "a.toml", PASSING)).exit_code == 3


def test_fail_beats_undecided_and_bad_input_beats_both() -> None:
    assert exits.gravest([0, 3, 1]) == 1
    assert exits.gravest([1, 2, 3]) == 2
    assert exits.gravest([0, 3]) == 3
    assert exits.gravest([]) == 0
    assert exits.of_verdict(None) == 0


def test_no_engine_gives_3_and_the_command_that_installs_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analog.engine.library.find_libraries", tuple)
    for variable in ("EDGEPROOF_NGSPICE", "NGSPICE_LIBRARY_PATH"):
        monkeypatch.delenv(variable, raising=False)
    result = run("check", written(tmp_path, "a.toml", PASSING))
    assert result.exit_code == 3
    assert_located(result.stderr)
    assert "apt-get install libngspice0" in result.stderr
    assert result.stdout == ""


def test_a_named_library_that_does_not_exist_gives_3(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    done = run_process(
        "check", path, folder=tmp_path, environment={"EDGEPROOF_NGSPICE": "/nowhere/lib.so"}
    )
    assert done.returncode == 3
    assert_located(done.stderr)
    assert "EDGEPROOF_NGSPICE" in done.stderr


def test_interrupted_gives_130_and_leaves_no_worker(tmp_path: Path) -> None:
    path = written(tmp_path, "starter.toml", starter_text("starter"))
    environment = process_environment({"EDGEPROOF_STORE": str(tmp_path / "store.sqlite")})
    # A test run in the background of a shell has interrupts ignored, and hands that on.
    command = ["env", "--default-signal=INT", *COMMAND, "check", path, "--jobs", "1"]
    process = subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    workers = await_children(process)
    process.send_signal(signal.SIGINT)
    stdout, stderr = process.communicate(timeout=60)
    assert process.returncode == 130
    assert stdout == ""
    assert "Traceback" not in stderr
    assert "interrupted" in stderr
    assert all(ends(worker) for worker in workers)


def ends(number: int) -> bool:
    """Tell whether a process is gone soon: init may need a moment to reap an ended orphan."""
    for _ in range(200):
        if not is_alive(number):
            return True
        time.sleep(0.05)
    return False


def await_children(process: subprocess.Popen[str]) -> list[int]:
    """Wait until the process has started a worker; return the workers' process numbers."""
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    for _ in range(600):
        assert process.poll() is None, process.communicate()
        found = [int(word) for word in children.read_text().split()]
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError("no worker was started within 30 s")


def is_alive(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    return True


def test_doctor_gives_0_where_the_known_circuit_comes_out_right() -> None:
    result = run("doctor")
    assert result.exit_code == 0
    assert "right" in result.stdout


def test_doctor_gives_1_for_a_wrong_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analog.engine.doctor.TOLERANCE", 1e-30)
    result = run("doctor")
    assert result.exit_code == 1
    assert "WRONG" in result.stdout


def test_doctor_gives_3_without_an_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analog.engine.library.find_libraries", tuple)
    result = run("doctor")
    assert result.exit_code == 3
    assert "apt-get install libngspice0" in result.stdout


def test_version_and_help_give_0() -> None:
    assert run("--version").stdout.startswith("edgeproof, version 0.")
    for command in (
        "accept",
        "check",
        "compare",
        "demo",
        "doctor",
        "netlist",
        "new",
        "parts",
        "report",
    ):
        result = run(command, "--help")
        assert result.exit_code == 0
        assert result.stdout.startswith(f"Usage: edgeproof {command}")


@pytest.mark.parametrize(
    "arguments",
    [
        ["chek"],
        ["check"],
        ["check", "--no-such-option", "a.toml"],
        ["check", "a.toml", "--jobs", "0"],
        ["check", "a.toml", "--seed", "x"],
        ["netlist", "a.toml"],
    ],
)
def test_a_wrong_command_line_gives_2(arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert result.stdout == ""


def test_output_into_a_closed_pipe_ends_quietly_and_is_no_pass(tmp_path: Path) -> None:
    command = " ".join([*COMMAND, "parts", "40106"]) + " | head -1; echo ${PIPESTATUS[0]}"
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=tmp_path,
        env=process_environment(),
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "141"
    assert done.stderr == ""
