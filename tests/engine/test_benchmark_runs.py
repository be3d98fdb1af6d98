"""The benchmark on the real engine, with few samples: no figure is judged, they are checked."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from analog.benchmark.processes import run_batch
from analog.errors import MachineError


def test_one_bench_as_json() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "analog.benchmark", "--json", "--bench", "reset", "--samples", "4"],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    reset = found["benches"]["reset"]
    assert {"ratio_geomean", "ratio_min", "same_recipe_geomean", "overhead_ok"} <= found.keys()
    assert reset["verified_on"] == 4
    # Whatever the speed: neither side may be compared before it is exact enough.
    assert 0 <= reset["error_usual"] <= 1
    assert 0 <= reset["error_ours"] <= 1
    # Both parts of a sample's processor time, and the whole of it in wall time.
    assert reset["engine"] == pytest.approx(reset["floor"] * found["cores"])
    assert reset["ours"] * found["cores"] > 0.9 * reset["engine"]


def test_readings_come_from_processes_of_their_own() -> None:
    text = "* rc\nV1 in 0 DC 1\nR1 in out 1k\nC1 out 0 1u IC=0\n.tran 1u 1m uic\n"
    text += ".meas tran last find v(out) at=1m\n.meas tran never when v(out)=2\n.end\n"
    reads, cost = run_batch([text] * 3, 2)
    assert all("last" in read and "never" not in read for read in reads)
    assert reads[0]["last"] == pytest.approx(0.63212, rel=1e-3)
    assert cost.samples == 3
    assert cost.cpu_s > 0


def test_without_the_program_a_remedy_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nonexistent")
    with pytest.raises(MachineError, match="Install the package ngspice"):
        run_batch(["* nothing\n.end\n"], 1)
