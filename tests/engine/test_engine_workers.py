"""Worker processes: crashes, endless runs, interrupts, hostile files, memory, what is left over."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import engine_cases as cases
import numpy as np
import pytest

from analog.engine import open_engine, pool
from analog.errors import MachineError

Counts = Callable[[int, int], int]
ROWS = np.array([[level, 1e3, 1e-6] for level in (5.0, 6.0, 12.0, 7.0, 8.0, 9.0)])


def children() -> set[int]:
    """Process numbers of this process's living children."""
    listed = Path(f"/proc/self/task/{os.getpid()}/children").read_text(encoding="ascii")
    return {int(word) for word in listed.split()}


@pytest.mark.parametrize("jobs", [1, 2])
def test_crash_takes_one_sample_with_it(jobs: int) -> None:
    with open_engine(jobs=jobs) as engine:
        out = engine.run(cases.rc_experiment("crash_above_ten"), cases.NAMES, ROWS)
        sound = engine.run(cases.rc_experiment(), cases.NAMES, ROWS)
    assert list(out.failures) == [2]
    assert out.failures[2].kind == "engine died"
    assert "SIGSEGV" in out.failures[2].reason
    assert ".param level=12.0" in out.failures[2].netlist
    others = np.delete(np.arange(6), 2)
    assert out.values[others].tobytes() == sound.values[others].tobytes()
    assert np.isnan(out.values[2]).all()


def test_endless_run_times_out() -> None:
    with open_engine(jobs=2, limit_s=0.3) as engine:
        out = engine.run(cases.rc_experiment("endless_above_ten"), cases.NAMES, ROWS)
    assert {i: f.kind for i, f in out.failures.items()} == {2: "timed out"}
    assert out.failures[2].attempts == 4  # in its task and alone, by either way
    assert np.isfinite(np.delete(out.values, 2, axis=0)).all()


def test_endless_simulation_times_out() -> None:
    # Not the measuring code but ngspice itself: 1e10 points.
    endless = cases.rc_experiment(stop_s=1e2, step_s=1e-8)
    with open_engine(jobs=1, limit_s=0.3) as engine:
        out = engine.run(endless, cases.NAMES, ROWS[:1])
        assert out.failures[0].kind == "timed out"
        assert not engine.run(cases.rc_experiment(), cases.NAMES, ROWS[:1]).failures


def test_run_that_waits_for_ever_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    # No processor time is used, so that the worker's own timer never fires.
    monkeypatch.setattr(pool, "_STALL_S", 0.3)
    monkeypatch.setattr(pool, "_POLL_S", 0.1)
    with open_engine(jobs=1) as engine:
        out = engine.run(cases.rc_experiment("asleep_above_ten"), cases.NAMES, ROWS[1:4])
    assert {i: f.kind for i, f in out.failures.items()} == {1: "timed out"}
    assert "never came" in out.failures[1].reason


def test_workers_killed_at_random_lose_nothing(counts: Counts) -> None:
    # Whichever worker is struck: in the middle of its rows, idle, or just starting.
    rows = cases.spread_rows(300, np.random.default_rng(5))
    experiment = cases.rc_experiment()
    chance = np.random.default_rng(12)
    killed: list[int] = []

    def strike(_done: int, _total: int) -> None:
        alive = sorted(children())
        if alive and chance.random() < 0.3:
            killed.append(alive[chance.integers(len(alive))])
            os.kill(killed[-1], signal.SIGKILL)

    with open_engine(jobs=2) as engine:
        sound = engine.run(experiment, cases.NAMES, rows)
        while len(killed) < counts(4, 200):
            struck = engine.run(experiment, cases.NAMES, rows, strike)
            assert not struck.failures
            assert not struck.retried
            assert struck.values.tobytes() == sound.values.tobytes()


def test_sample_whose_workers_are_always_killed_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    # As when memory runs out: not computed in another way, and not for ever.
    monkeypatch.setattr(pool, "_STRIKES", 2)
    with open_engine(jobs=1) as engine:
        out = engine.run(cases.rc_experiment("killed_above_ten"), cases.NAMES, ROWS[1:4])
    assert {i: f.kind for i, f in out.failures.items()} == {1: "engine died"}
    assert out.failures[1].killed
    assert not out.retried


def test_workers_sit_in_folders_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = children()
    outputs = ("pid", "core_limit", "spiceinit_size")
    with open_engine(jobs=1) as engine:
        values = engine.run(cases.rc_experiment("whereabouts", outputs), cases.NAMES, ROWS).values
        (folder,) = tmp_path.glob("edgeproof-*/worker-*")
        assert [entry.name for entry in folder.iterdir()] == [".spiceinit"]
        assert children() - before == {int(values[0, 0])}
    assert values[:, 1:].tolist() == [[0.0, 0.0]] * 6
    assert children() == before
    assert list(tmp_path.iterdir()) == []


def test_planted_start_up_files_are_not_executed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # ngspice executes a .spiceinit of the current folder when it is loaded.
    here = tmp_path / "designs"
    here.mkdir()
    for folder in (here, tmp_path):
        (folder / ".spiceinit").write_text(f"shell touch {tmp_path}/executed\n")
    monkeypatch.chdir(here)
    subprocess.run(["ngspice", "-b", "nothing.cir"], capture_output=True, check=False)
    assert (tmp_path / "executed").exists(), "the trap itself does not work any more"
    (tmp_path / "executed").unlink()
    with open_engine(jobs=1) as engine:
        assert not engine.run(cases.rc_experiment(), cases.NAMES, ROWS).failures
    assert not (tmp_path / "executed").exists()


def test_foreign_settings_do_not_reach_the_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPICE_LIB_DIR", "/nonexistent")
    monkeypatch.setenv("PYTHONPATH", "/nonexistent")
    with open_engine(jobs=1) as engine:
        assert not engine.run(cases.rc_experiment(), cases.NAMES, ROWS).failures


def test_messages_go_to_the_log_only(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "engine.log"
    with open_engine(jobs=1, log=log) as engine:
        engine.run(cases.breaking_off_experiment(), ("start_s",), np.array([[5e-4]]))
    assert capfd.readouterr() == ("", "")
    assert "out of range for sqrt" in log.read_text()


@pytest.mark.parametrize(
    ("store", "said"),
    [
        ("None", b"simulations were done and are lost"),
        ("Path('kept')", b"simulations were done and are kept; the same"),
    ],
)
def test_interrupt_ends_everything_at_once(
    tmp_path: Path, figure: Callable[[str], None], store: str, said: bytes
) -> None:
    script = (
        "import numpy as np, engine_cases as c\n"
        "from pathlib import Path\n"
        "from analog.engine import open_engine\n"
        f"with open_engine(jobs=2, store={store}) as engine:\n"
        "    engine.run(c.rc_experiment(), c.NAMES, np.array([c.ROW]))\n"
        "    print('started', flush=True)\n"
        "    engine.run(c.rc_experiment('endless_above_ten'), c.NAMES, np.full((4, 3), 12.0))\n"
    )
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join(sys.path),
        "TMPDIR": str(tmp_path),
    }
    # A test run in the background of a shell has interrupts ignored, and hands that on.
    process = subprocess.Popen(
        ["env", "--default-signal=INT", sys.executable, "-c", script],
        cwd=tmp_path,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"started\n"
    time.sleep(0.3)
    struck = time.monotonic()
    os.killpg(process.pid, signal.SIGINT)  # as Ctrl-C does: the whole group gets it
    try:
        _, told = process.communicate(timeout=50)  # by themselves the samples would take minutes
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        raise
    figure(f"gone {time.monotonic() - struck:.2f} s after the interrupt")
    assert b"KeyboardInterrupt" in told
    assert b"1 " + said in told  # the one before; those under way will be run again
    assert [path.name for path in tmp_path.iterdir() if not path.name.startswith("kept")] == []
    with pytest.raises(ProcessLookupError):
        os.killpg(process.pid, 0)


def test_workers_end_when_the_main_process_is_killed(tmp_path: Path) -> None:
    script = (
        "import time, numpy as np, engine_cases as c\n"
        "from analog.engine import open_engine\n"
        "with open_engine(jobs=1) as engine:\n"
        "    pid = engine.run(c.rc_experiment('whereabouts', ('pid',)), c.NAMES, c.ROW[None])\n"
        "    print(int(pid.values[0, 0]), flush=True)\n"
        "    time.sleep(60)\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "TMPDIR": str(tmp_path)}
    process = subprocess.Popen(
        [sys.executable, "-c", script], env=environment, stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    worker = int(process.stdout.readline())
    process.kill()
    process.wait()
    process.stdout.close()
    for _ in range(50):
        if not Path(f"/proc/{worker}").exists():
            break
        time.sleep(0.1)
    assert not Path(f"/proc/{worker}").exists()
    assert list(tmp_path.iterdir()) == []


def test_workers_give_way_before_they_grow(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = cases.spread_rows(60, np.random.default_rng(13))
    experiment = cases.rc_experiment("whereabouts", ("pid",))
    with open_engine(jobs=1) as engine:
        sound = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    monkeypatch.setattr(pool, "_MOST_RUNS", 10)
    monkeypatch.setattr(pool, "_LARGEST_TASK", 5)
    with open_engine(jobs=1) as engine:
        pids = engine.run(experiment, cases.NAMES, rows).column("pid")
        renewed = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    assert len(set(pids.tolist())) >= 6
    assert renewed.values.tobytes() == sound.values.tobytes()
    assert not renewed.failures


def test_memory_stays_flat(counts: Counts, figure: Callable[[str], None]) -> None:
    total = counts(3000, 20000)
    rows = np.tile(cases.ROW, (total, 1))
    experiment = cases.rc_experiment("resident_bytes", ("bytes",), step_s=1e-4)
    with open_engine(jobs=1) as engine:
        used = engine.run(experiment, cases.NAMES, rows).column("bytes")
    settled = used[total // 3 :]
    slope = np.polyfit(np.arange(settled.size), settled, 1)[0]
    figure(f"{slope:.1f} B per run over {settled.size} runs")
    # Reloading without freeing ngspice's own record of commands costs 560 B per run and more.
    assert slope < counts(200, 100)  # 1 B with ngspice 39, 63 B with 44


def test_library_that_is_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fake = tmp_path / "libngspice.so.0"
    fake.write_bytes(b"no library at all")
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(fake))
    with open_engine(jobs=1) as engine, pytest.raises(MachineError, match="cannot be used"):
        engine.run(cases.rc_experiment(), cases.NAMES, ROWS)
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(tmp_path / "absent"))
    with pytest.raises(MachineError, match="which is no file"), open_engine(jobs=1):
        pass


def test_log_that_cannot_be_written(tmp_path: Path) -> None:
    log = tmp_path / "absent" / "engine.log"
    with open_engine(jobs=1, log=log) as engine, pytest.raises(MachineError, match="be started"):
        engine.run(cases.rc_experiment(), cases.NAMES, ROWS)


def test_number_of_jobs_is_checked() -> None:
    with pytest.raises(ValueError, match="at least 1"), open_engine(jobs=0):
        pass
