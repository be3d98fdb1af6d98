"""The work sent through dask.distributed: a scheduler and two workers on this machine."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import engine_cases as cases
import numpy as np
import pytest

from analog.engine import open_engine
from analog.errors import MachineError, RunError

distributed = pytest.importorskip(
    "distributed", reason="dask.distributed is not installed: pip install 'edgeproof[dask]'"
)

EXPERIMENT = cases.rc_experiment()


@dataclass
class Cluster:
    """The scheduler's address and the worker processes."""

    address: str
    workers: list[subprocess.Popen[bytes]]


def launch(folder: Path, *words: str) -> subprocess.Popen[bytes]:
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-W", "ignore", "-m", "dask", *words, "--no-dashboard"]
    with (folder / f"{words[0]}-{time.monotonic_ns()}.log").open("wb") as log:
        return subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=log)


def add_worker(cluster: Cluster, folder: Path) -> None:
    words = ("--nthreads", "1", "--no-nanny", "--host", "127.0.0.1")
    cluster.workers.append(launch(folder, "worker", cluster.address, *words))
    wait_for(lambda: len(known_workers(cluster.address)) == alive(cluster))


def known_workers(address: str) -> dict[str, object]:
    with distributed.Client(address, set_as_default=False) as client:
        return dict(client.scheduler_info(n_workers=-1)["workers"])


def alive(cluster: Cluster) -> int:
    return sum(1 for worker in cluster.workers if worker.poll() is None)


def wait_for(state: Callable[[], bool]) -> None:
    for _ in range(300):
        if state():
            return
        time.sleep(0.2)
    raise TimeoutError("the cluster did not come up")


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    told = tmp_path / "scheduler.json"
    words = ("--host", "127.0.0.1", "--port", "0", "--scheduler-file", str(told))
    scheduler = launch(tmp_path, "scheduler", *words)
    try:
        wait_for(lambda: told.exists() and told.stat().st_size > 0)
        with distributed.Client(scheduler_file=str(told), set_as_default=False) as client:
            made = Cluster(client.scheduler.address, [])
        try:
            for _ in range(2):
                add_worker(made, tmp_path)
            yield made
        finally:
            for worker in made.workers:
                worker.kill()
                worker.wait()
    finally:
        scheduler.kill()
        scheduler.wait()


def test_a_worker_killed_in_mid_run_changes_no_bit(
    cluster: Cluster, tmp_path: Path, figure: Callable[[str], None]
) -> None:
    rows = cases.spread_rows(800, np.random.default_rng(41))
    store, struck = tmp_path / "store.sqlite", []

    def strike(done: int, _total: int) -> None:
        if not struck and done > 100:
            struck.append(done)
            cluster.workers[0].kill()

    with open_engine(dask=cluster.address, store=store) as engine:
        far = engine.run(EXPERIMENT, cases.NAMES, rows, strike)
        version = engine.version
        again = engine.run(EXPERIMENT, cases.NAMES, rows)
    with open_engine(jobs=2) as engine:
        near = engine.run(EXPERIMENT, cases.NAMES, rows)
        assert engine.version == version
    assert struck
    assert 100 < struck[0] < 800
    assert not far.failures
    assert far.values.tobytes() == near.values.tobytes()
    assert (again.stored, again.runs) == (800, 0)
    with open_engine(jobs=1, store=store) as engine:  # the same store serves both ways
        assert engine.run(EXPERIMENT, cases.NAMES, rows).stored == 800
    figure(f"one of two workers killed after {struck[0]} of 800 rows")


def test_failures_and_faults_come_back_as_they_are(cluster: Cluster) -> None:
    rows = np.array([[5.0, 1e3, 1e-6], [12.0, 1e3, 1e-6], [5.0, -1.0, 1e-6]])
    with open_engine(dask=cluster.address) as engine:
        out = engine.run(cases.rc_experiment("crash_above_ten"), cases.NAMES, rows)
        with pytest.raises(RunError, match="planted"):
            engine.run(cases.rc_experiment("broken"), cases.NAMES, rows[:1])
        run = engine.traces(EXPERIMENT, cases.NAMES, rows[0])
    assert {k: failure.kind for k, failure in out.failures.items()} == {
        1: "engine died",
        2: "bad circuit",
    }
    assert all(".param level=" in failure.netlist for failure in out.failures.values())
    assert run.trace("v(out)")[-1] == pytest.approx(5 * (1 - np.exp(-2)), rel=1e-4)


def test_workers_made_otherwise_are_refused(
    cluster: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    from analog.engine import remote

    monkeypatch.setattr(remote, "code_identity", lambda: "another version")
    with (
        open_engine(dask=cluster.address) as engine,
        pytest.raises(MachineError, match="another version"),
    ):
        engine.run(EXPERIMENT, cases.NAMES, cases.ROW[None])


def test_nobody_at_the_address(monkeypatch: pytest.MonkeyPatch) -> None:
    from analog.engine import remote

    monkeypatch.setattr(remote, "_CONNECT_S", 0.5)
    with (
        open_engine(dask="tcp://127.0.0.1:9") as engine,
        pytest.raises(MachineError, match="No scheduler answers"),
    ):
        engine.run(EXPERIMENT, cases.NAMES, cases.ROW[None])


def test_without_the_extra_a_remedy_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        open_engine(dask="tcp://127.0.0.1:9") as engine,
        pytest.raises(MachineError, match="edgeproof\\[dask\\]"),
    ):
        engine.run(replace(EXPERIMENT), cases.NAMES, cases.ROW[None])
