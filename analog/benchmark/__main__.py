"""``python -m analog.benchmark``: prints the table, or one JSON object with ``--json``."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import analog
from analog.benches.base import Scene
from analog.benchmark import memory
from analog.benchmark.compare import Comparison, compare, random_rows, run_engine
from analog.benchmark.subjects import SUBJECTS
from analog.benchmark.summary import Side, as_object, as_text
from analog.design import Design, read_design
from analog.engine import open_engine
from analog.errors import EdgeproofError

_DESIGN = Path(analog.__file__).parent / "scenarios" / "propagator-mat.toml"
_FEWEST = 60


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the comparison; 0 when it ran, whatever came out, 3 when it cannot run here."""
    parser = argparse.ArgumentParser(prog="run benchmark", description=__doc__)
    names = [subject.bench for subject in SUBJECTS]
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--bench", action="append", choices=names, help="only this bench")
    parser.add_argument("--samples", type=int, default=_FEWEST, help="fresh samples verified")
    parser.add_argument(
        "--memory", type=int, metavar="N", help="only show the workers' memory over N samples"
    )
    chosen = parser.parse_args(arguments)
    try:
        if chosen.memory:
            print(memory_table(chosen.memory))
            return 0
        found, side = measure(chosen.bench or names, chosen.samples)
    except EdgeproofError as problem:
        print(f"benchmark: {problem}", file=sys.stderr)
        return 3
    print(json.dumps(as_object(found, side), indent=1) if chosen.json else as_text(found, side))
    return 0


def measure(benches: Sequence[str], fresh: int) -> tuple[list[Comparison], Side]:
    """Compare the subjects of `benches` on the shipped design, on all cores."""
    design, cores = read_design(_DESIGN), len(os.sched_getaffinity(0))
    started = time.perf_counter()
    with open_engine(jobs=cores) as engine:
        banner = f"{engine.name} {engine.version}"
        start_s = time.perf_counter() - started
        found = [
            compare(subject, design, engine, cores, fresh, tell=_tell)
            for subject in SUBJECTS
            if subject.bench in benches
        ]
    return found, Side(banner, cores, start_s, store_cost_s(design, cores))


def memory_table(samples: int) -> str:
    """Return the table of the workers' memory over `samples` runs of the reset bench."""
    scene = _reset(read_design(_DESIGN))
    with open_engine(jobs=len(os.sched_getaffinity(0))) as engine:
        return memory.as_text(*memory.growth(scene, engine, samples))


def _reset(design: Design) -> Scene:
    return next(one for one in SUBJECTS if one.bench == "reset").find(design)


def store_cost_s(design: Design, cores: int) -> float:
    """Return what writing to the store adds per sample (s of processor time)."""
    scene = _reset(design)
    rows = random_rows(scene, 400, seed=1)
    spent = []
    with tempfile.TemporaryDirectory(prefix="edgeproof-") as folder:
        for store in (None, Path(folder) / "store.sqlite"):
            with open_engine(jobs=cores, store=store) as engine:
                run_engine(scene, engine, rows[:2])
                started = time.process_time()
                run_engine(scene, engine, rows)
                spent.append(time.process_time() - started)
    return max(0.0, spent[1] - spent[0]) / len(rows)


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
