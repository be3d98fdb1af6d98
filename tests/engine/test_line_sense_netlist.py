"""Line sense and conditioner as exported netlists under ``ngspice -b``: an independent run path.

The program's own ``.meas`` commands read the waveforms; no code of ours takes part.
"""

from __future__ import annotations

import math
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from line_designs import random_row, samples, values

from analog.benches import conditioner, line_sense
from analog.benches.base import Scene
from analog.engine import Engine, netlist, open_engine

_MEASURED = re.compile(r"^(\w+)\s*=\s*([-+0-9.eE]+|failed)", re.MULTILINE)


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def measured(scene: Scene, row: dict[str, float], folder: Path) -> dict[str, float]:
    """Run the exported netlist by itself and return what its readings print."""
    (folder / ".spiceinit").write_text("")
    (folder / "bench.cir").write_text(netlist(scene.experiment, row, scene.title))
    done = subprocess.run(
        ["ngspice", "-b", "bench.cir"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = dict(_MEASURED.findall(done.stdout))
    return {
        name: float(found[name]) if found.get(name, "failed") != "failed" else math.nan
        for name, _ in scene.experiment.readings
    }


def close(name: str, ours: float, theirs: float, row: dict[str, float]) -> bool:
    """Tell whether two readings agree within the accuracy the project states."""
    if math.isnan(ours) or math.isnan(theirs):
        return math.isnan(ours) and math.isnan(theirs)
    if name.startswith("output_") and name.endswith("_time"):
        return abs(ours - theirs) <= 0.01 * ours
    if name.startswith("t_") or name.endswith("_time"):
        # Their crossings are read on straight lines, two of them for an edge.
        return abs(ours - theirs) <= (4e-6 if name.startswith("t_") else 8e-6)
    return abs(ours - theirs) <= 1e-3 * row["v_rail"]


def test_line_sense(engine: Engine, tmp_path: Path, counts: Callable[[int, int], int]) -> None:
    for design, rng in samples(counts(3, 20), seed=77):
        scene = line_sense.plan(design).scenes[0]
        row = random_row(scene, rng)
        ours = values(engine, scene.experiment, row)
        for name, theirs in measured(scene, row, tmp_path).items():
            assert close(name, ours[name], theirs, row), (name, ours[name], theirs)


def test_conditioner(engine: Engine, tmp_path: Path, counts: Callable[[int, int], int]) -> None:
    for design, rng in samples(counts(2, 15), seed=78):
        for scene in conditioner.plan(design).scenes[:2]:
            row = random_row(scene, rng)
            ours = values(engine, scene.experiment, row)
            for name, theirs in measured(scene, row, tmp_path).items():
                assert close(name, ours[name], theirs, row), (name, ours[name], theirs)
