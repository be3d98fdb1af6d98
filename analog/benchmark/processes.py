"""The usual way: one ``ngspice -b`` per sample, as many at a time as there are cores."""

from __future__ import annotations

import os
import re
import resource
import subprocess
import tempfile
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from analog.errors import MachineError

_PRINTED = re.compile(r"^(\w+)\s*=\s*(\S+)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Cost:
    """What samples took: wall time and processor time (s) of everything involved, in all."""

    samples: int
    wall_s: float
    cpu_s: float


def run_batch(
    texts: Sequence[str], cores: int, limit_s: float = 120.0
) -> tuple[list[dict[str, float]], Cost]:
    """Run netlists, each in a process of its own, and return what their ``.meas`` lines printed.

    Raises MachineError when there is no ngspice program.
    """
    with tempfile.TemporaryDirectory(prefix="edgeproof-") as name:
        folder = Path(name)
        (folder / ".spiceinit").touch()
        cpu_s, wall_s = _cpu_s(), time.perf_counter()
        with ThreadPoolExecutor(cores) as pool:
            read = list(pool.map(lambda k: _one(folder, k, texts[k], limit_s), range(len(texts))))
        cost = Cost(len(texts), time.perf_counter() - wall_s, _cpu_s() - cpu_s)
    return read, cost


def _one(folder: Path, number: int, text: str, limit_s: float) -> dict[str, float]:
    path = folder / f"{number}.cir"
    path.write_text(text, encoding="ascii")
    environment = os.environ | {"NGSPICE_MEAS_PRECISION": "12", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            ["ngspice", "-b", path.name],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=limit_s,
            check=False,
        )
    except FileNotFoundError as problem:
        raise MachineError(
            "There is no ngspice program to compare with", "Install the package ngspice"
        ) from problem
    except subprocess.TimeoutExpired:
        return {}
    return _numbers(_PRINTED.findall(done.stdout.decode("ascii", "replace")))


def _numbers(found: Sequence[tuple[str, str]]) -> dict[str, float]:
    numbers: Mapping[str, float | None] = {name: _number(text) for name, text in found}
    return {name: number for name, number in numbers.items() if number is not None}


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _cpu_s() -> float:
    ours, theirs = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return ours.ru_utime + ours.ru_stime + theirs.ru_utime + theirs.ru_stime
