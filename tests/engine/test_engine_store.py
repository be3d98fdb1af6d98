"""The results store: nothing lost, nothing twice, nothing foreign believed."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import engine_cases as cases
import numpy as np
import pytest

from analog.engine import FAILURE_KINDS, Failure, default_store_path, open_engine
from analog.engine.identity import experiment_identity
from analog.engine.store import Sample, Store, context_hash, open_store, row_keys
from analog.errors import MachineError

Counts = Callable[[int, int], int]
KEYS = [context_hash(str(number)) for number in range(1200)]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "results.sqlite"


def fill(store: Store, count: int = 3) -> None:
    store.keep((key, Sample(np.array([number, np.nan]))) for number, key in enumerate(KEYS[:count]))


def test_values_come_back_bit_for_bit(path: Path) -> None:
    values = np.array([0.1 + 0.2, np.nan, -0.0, 5e-324])
    failure = Failure("did not converge", "reason: µ", "", 2)
    with open_store(path) as store:
        store.keep([(KEYS[0], Sample(values, "gear")), (KEYS[1], Sample(values, "", failure))])
    with open_store(path) as store:
        found = store.find(KEYS, 4)
    assert set(found) == set(KEYS[:2])
    assert found[KEYS[0]].values.tobytes() == values.tobytes()
    assert found[KEYS[0]].way == "gear"
    assert found[KEYS[0]].failure is None
    assert found[KEYS[1]].failure == replace(failure, stored=True)


def test_first_entry_of_a_key_stands(path: Path) -> None:
    with open_store(path) as store:
        fill(store)
        store.keep([(KEYS[1], Sample(np.array([99.0, 99.0])))])
        assert store.find(KEYS[1:2], 2)[KEYS[1]].values[0] == 1.0
        assert store.count() == 3


def test_engine_runs_only_what_is_not_known(path: Path) -> None:
    experiment, rows = cases.rc_experiment(), cases.spread_rows(30, np.random.default_rng(7))
    with open_engine(jobs=2, store=path) as engine:
        first = engine.run(experiment, cases.NAMES, rows[:20])
        second = engine.run(experiment, cases.NAMES, rows)
    with open_engine(jobs=1) as engine:
        fresh = engine.run(experiment, cases.NAMES, rows)
    assert (first.runs, first.stored) == (20, 0)
    assert (second.runs, second.stored) == (10, 20)
    assert second.values.tobytes() == fresh.values.tobytes()


def test_order_of_names_does_not_matter(path: Path) -> None:
    experiment, rows = cases.rc_experiment(), cases.spread_rows(5, np.random.default_rng(8))
    with open_engine(jobs=1, store=path) as engine:
        engine.run(experiment, cases.NAMES, rows)
        again = engine.run(experiment, cases.NAMES[::-1], rows[:, ::-1])
    assert again.stored == 5


def test_failures_are_remembered_only_if_they_last(path: Path) -> None:
    breaking = cases.breaking_off_experiment()
    with open_engine(jobs=1, store=path) as engine:
        once = engine.run(breaking, ("start_s",), np.array([[5e-4]]))
        twice = engine.run(breaking, ("start_s",), np.array([[5e-4]]))
        crash = cases.rc_experiment("crash_above_ten")
        rows = np.array([[12.0, 1e3, 1e-6]])
        crashes = [engine.run(crash, cases.NAMES, rows) for _ in range(2)]
    assert (once.runs, twice.runs, twice.stored) == (2, 0, 1)
    known, found = once.failures[0], twice.failures[0]
    assert found == replace(known, stored=True)
    assert [out.stored for out in crashes] == [0, 0]
    assert all(out.failures[0].kind == "engine died" for out in crashes)


@pytest.mark.parametrize(
    "change",
    [
        lambda e: replace(e, analysis=replace(e.analysis, reltol=1e-5)),
        lambda e: replace(e, saves=("v(out)",)),
        lambda e: replace(e, outputs=("last", "half_time")),
        lambda e: replace(e, reducer="engine_cases:crash_above_ten"),
        lambda e: replace(e, reducer="bare_session:main"),
        lambda e: replace(e, circuit=replace(e.circuit, elements=e.circuit.elements[::-1])),
    ],
)
def test_whatever_changes_values_changes_the_key(change: Callable[..., object]) -> None:
    experiment = cases.rc_experiment()
    changed = change(experiment)
    assert experiment_identity(changed, "39") != experiment_identity(experiment, "39")  # type: ignore[arg-type]


def test_engine_version_and_row_belong_to_the_key() -> None:
    experiment = cases.rc_experiment()
    context = experiment_identity(experiment, "39")
    assert context != experiment_identity(experiment, "44")
    rows = np.array([[1.0, 2.0], [2.0, 1.0], [1.0, np.nextafter(2.0, 3.0)]])
    keys = row_keys(context, ("a", "b"), rows)
    assert len(set(keys)) == 3
    assert row_keys(context, ("b", "a"), rows[:1]) == keys[1:2]
    assert context_hash("ab", "c") != context_hash("a", "bc")


def test_files_that_are_none_of_ours_are_left_alone(tmp_path: Path) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("not a database" * 50)
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    connection.close()
    for foreign in (text, other):
        before = foreign.read_bytes()
        with pytest.raises(MachineError, match="no results store"), open_store(foreign):
            pass
        assert foreign.read_bytes() == before


def test_cut_short_file_is_refused_with_a_remedy(path: Path) -> None:
    with open_store(path) as store:
        fill(store, 1200)
    whole = path.read_bytes()
    for size in (len(whole) // 2, len(whole) - 1, 50):
        path.write_bytes(whole[:size])
        with pytest.raises(MachineError) as caught, open_store(path):
            pass
        assert caught.value.remedy


def test_damaged_contents_are_refused(path: Path) -> None:
    with open_store(path) as store:
        fill(store, 1200)
    content = bytearray(path.read_bytes())
    content[4096:] = bytes(len(content) - 4096)
    path.write_bytes(content)
    with open_store(path) as store, pytest.raises(MachineError, match="cannot be used"):
        store.find(KEYS, 2)
    with open_store(path.with_name("second")) as store:
        fill(store)
    with sqlite3.connect(path.with_name("second")) as connection:
        connection.execute("UPDATE sample SET numbers = x'00'")
    connection.close()
    with open_store(path.with_name("second")) as store, pytest.raises(MachineError):
        store.find(KEYS, 2)


def test_store_of_a_newer_version_is_refused(path: Path) -> None:
    with open_store(path):
        pass
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(MachineError, match="newer version"), open_store(path):
        pass


def test_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(MachineError) as caught, open_store(tmp_path / "file" / "results.sqlite"):
        pass
    assert "writable" in caught.value.remedy


def test_full_disk_is_a_clear_error(path: Path) -> None:
    with open_store(path) as store:
        store._connection.execute("PRAGMA max_page_count = 4")
        with pytest.raises(MachineError, match="full"):
            fill(store, 1200)
        assert store.count() == 0


def test_two_programs_share_one_store(path: Path) -> None:
    script = (
        "import sys, numpy as np, engine_cases as c\n"
        "from pathlib import Path\n"
        "from analog.engine import open_engine\n"
        "rows = c.spread_rows(60, np.random.default_rng(9))\n"
        "with open_engine(jobs=1, store=Path(sys.argv[1])) as engine:\n"
        "    out = engine.run(c.rc_experiment(), c.NAMES, rows)\n"
        "sys.stdout.buffer.write(out.values.tobytes())\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", script, str(path)]
    pair = [subprocess.Popen(command, env=environment, stdout=subprocess.PIPE) for _ in range(2)]
    told = [process.communicate()[0] for process in pair]
    assert [process.returncode for process in pair] == [0, 0]
    assert told[0] == told[1]
    assert len(told[0]) == 60 * 2 * 8
    with open_store(path) as store:
        assert store.count() == 60


def test_killed_program_loses_no_finished_sample(path: Path, counts: Counts) -> None:
    script = (
        "import sys, numpy as np, engine_cases as c\n"
        "from pathlib import Path\n"
        "from analog.engine import open_engine\n"
        "rows = c.spread_rows(2000, np.random.default_rng(10))\n"
        "with open_engine(jobs=1, store=Path(sys.argv[1])) as engine:\n"
        "    engine.run(c.rc_experiment(), c.NAMES, rows,\n"
        "               lambda done, total: print(done, flush=True))\n"
    )
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    pause = np.random.default_rng(11)
    reported = 0
    for _ in range(counts(3, 40)):
        process = subprocess.Popen(
            [sys.executable, "-c", script, str(path)], env=environment, stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        line = process.stdout.readline()
        time.sleep(pause.uniform(0, 0.2))
        process.send_signal(signal.SIGKILL)
        reported = int(([line, *process.stdout.readlines()][-1] or b"0").split()[0])
        process.wait()
        process.stdout.close()
        with open_store(path) as store:
            assert store.count() >= reported
    rows = cases.spread_rows(2000, np.random.default_rng(10))[: reported + 20]
    with open_engine(jobs=2, store=path) as engine:
        resumed = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    with open_engine(jobs=2) as engine:
        undisturbed = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    assert resumed.stored >= reported
    assert resumed.values.tobytes() == undisturbed.values.tobytes()


def test_usual_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("EDGEPROOF_STORE", str(tmp_path / "mine"))
    assert default_store_path() == tmp_path / "mine"
    monkeypatch.delenv("EDGEPROOF_STORE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert default_store_path() == tmp_path / "edgeproof" / "results.sqlite"
    monkeypatch.delenv("XDG_CACHE_HOME")
    assert default_store_path().parts[-3:] == (".cache", "edgeproof", "results.sqlite")


def test_failure_kinds_are_a_contract() -> None:
    assert FAILURE_KINDS == (
        "did not converge",
        "timed out",
        "engine died",
        "truncated",
        "bad circuit",
    )
