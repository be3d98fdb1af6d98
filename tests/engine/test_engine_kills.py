"""SIGKILL of the main process or of any worker, at random moments of a sweep with a store."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import engine_cases as cases
import numpy as np

from analog.engine import open_engine
from analog.engine.store import open_store

ROWS = 1500
SWEEP = (
    "import sys, numpy as np, engine_cases as c\n"
    "from pathlib import Path\n"
    "from analog.engine import open_engine\n"
    f"rows = c.spread_rows({ROWS}, np.random.default_rng(31))\n"
    "with open_engine(jobs=2, store=Path(sys.argv[1])) as engine:\n"
    "    print('open', flush=True)\n"
    "    out = engine.run(c.rc_experiment(), c.NAMES, rows,\n"
    "                     lambda done, total: print(done, flush=True))\n"
    "print('end', out.stored, out.runs, len(out.failures), flush=True)\n"
)


def start(path: Path) -> subprocess.Popen[bytes]:
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", SWEEP, str(path)]
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE)


def workers_of(pid: int) -> list[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii")
    return [int(word) for word in text.split()]


def strike(process: subprocess.Popen[bytes], chance: np.random.Generator) -> bool:
    """Kill a worker (three times of four) or the main process; tell whether it was the main."""
    workers = workers_of(process.pid)
    if workers and chance.random() < 0.75:
        with suppress(ProcessLookupError):
            os.kill(workers[chance.integers(len(workers))], signal.SIGKILL)
        return False
    process.kill()
    return True


def reported(output: bytes) -> tuple[int, bool]:
    """Return how many rows the main process said were done, and whether it came to its end."""
    words = [line.split() for line in output.splitlines(keepends=True) if line.endswith(b"\n")]
    counts = [int(line[0]) for line in words if line[0].isdigit()]
    ended = [line for line in words if line[0] == b"end"]
    for line in ended:
        assert line[3] == b"0", "a kill from outside was taken for a sample's own failure"
    return max(counts, default=0), bool(ended)


def one_life(path: Path, chance: np.random.Generator, wanted: int) -> tuple[int, int, bool]:
    """Run the sweep under fire; return kills, rows it reported done and whether it finished."""
    process, kills = start(path), 0
    assert process.stdout is not None
    process.stdout.readline()
    while process.poll() is None and kills < wanted:
        time.sleep(chance.uniform(0, 0.25))
        if process.poll() is None:
            kills += 1
            if strike(process, chance):
                break
    rest = process.stdout.read()
    process.wait()
    process.stdout.close()
    return kills, *reported(rest)


def test_sweep_under_fire_loses_nothing(
    tmp_path: Path, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    rows = cases.spread_rows(ROWS, np.random.default_rng(31))
    with open_engine(jobs=2) as engine:
        calm = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    chance, wanted, kills, mains, sweeps = np.random.default_rng(32), counts(8, 200), 0, 0, 0
    while kills < wanted:
        path, finished, kept = tmp_path / f"{sweeps}.sqlite", False, 0
        while not finished:
            more, done, finished = one_life(path, chance, wanted - kills)
            kills, mains = kills + more, mains + (not finished)
            with open_store(path) as store:
                assert store.count() >= max(done, kept)  # nothing finished is lost
                kept = store.count()
        assert kept == ROWS  # and nothing counted twice
        with open_engine(jobs=1, store=path) as engine:
            again = engine.run(cases.rc_experiment(), cases.NAMES, rows)
        assert (again.stored, again.runs) == (ROWS, 0)
        assert again.values.tobytes() == calm.values.tobytes()
        sweeps += 1
    figure(f"{kills} kills, {mains} of them of the main process, over {sweeps} sweeps")
