"""Memory over many samples: the resident memory of each worker, told by the worker itself."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Scene
from analog.benchmark.compare import random_rows
from analog.benchmark.exactness import table
from analog.circuits.space import Floats
from analog.engine import Engine

SETTLED_RUNS = 5000
"""Runs a worker may take to reach its working size."""

_PARTS = 10
_ROWS = 500


@dataclass(frozen=True, slots=True)
class Growth:
    """One worker: its runs, resident memory (bytes) at shares of them, and bytes per run.

    The slope is that after the first `SETTLED_RUNS`, NaN for a worker that had fewer.
    """

    runs: int
    resident: tuple[float, ...]
    slope: float


def growth(scene: Scene, engine: Engine, samples: int) -> tuple[list[Growth], list[float]]:
    """Run a scene's random rows again and again; return each worker's growth.

    Also the wall time (s) of each tenth of the samples.
    """
    experiment = replace(
        scene.experiment,
        reducer="analog.benchmark.reducers:resident",
        outputs=("worker", "resident_bytes"),
    )
    rows = random_rows(scene, _ROWS, seed=2)
    numbers, names = table(rows), tuple(rows[0])
    found, spent = [], []
    for _ in range(_PARTS):
        started = time.perf_counter()
        found.append(engine.run(experiment, names, _repeated(numbers, samples // _PARTS)).values)
        spent.append(time.perf_counter() - started)
    told = np.concatenate(found)
    workers = list(dict.fromkeys(told[:, 0].tolist()))
    return [_growth(told[told[:, 0] == worker, 1]) for worker in workers], spent


def as_text(found: Sequence[Growth], spent: Sequence[float]) -> str:
    """Return the table: one line per worker, then the time per tenth of the samples."""
    lines = ["runs of a worker   resident MB at 0, 10, ... 100 % of them   B per run after 5 000"]
    for one in found:
        sizes = " ".join(f"{size / 1e6:.1f}" for size in one.resident)
        lines.append(f"{one.runs:>16}   {sizes}   {one.slope:.1f}")
    lines.append("s per tenth of the samples: " + " ".join(f"{each:.1f}" for each in spent))
    return "\n".join(lines)


def _repeated(numbers: Floats, count: int) -> Floats:
    return numbers[np.arange(count) % len(numbers)]


def _growth(resident: Floats) -> Growth:
    places = np.linspace(0, resident.size - 1, _PARTS + 1).astype(int)
    settled = resident[SETTLED_RUNS:]
    enough = settled.size > SETTLED_RUNS
    slope = np.polyfit(np.arange(settled.size), settled, 1)[0] if enough else np.nan
    return Growth(resident.size, tuple(resident[places].tolist()), float(slope))
