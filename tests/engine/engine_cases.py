"""Circuits and reducers shared by the engine's tests; importable in worker processes."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import (
    Circuit,
    Dc,
    DcSweep,
    Element,
    Experiment,
    Model,
    OperatingPoint,
    Param,
    Pulse,
    Transient,
)
from analog.engine import Run

FOLDER = Path(__file__).parent

NAMES = ("level", "resistance", "capacitance")
ROW = np.array([5.0, 1e3, 1e-6])


def environment() -> dict[str, str]:
    """Return the environment for a process that finds what this one finds."""
    return os.environ | {"PYTHONPATH": os.pathsep.join([str(FOLDER), *sys.path])}


def rc_experiment(
    reducer: str = "half_time", outputs: tuple[str, ...] = ("half_time", "last"), **settings: Any
) -> Experiment:
    """A capacitor charged from 0 V through a resistor; steps of 10 µs at most by default."""
    circuit = Circuit(
        "charging",
        (
            Element("V1", "V", ("source", "0"), Dc(Param("level"))),
            Element("R1", "R", ("source", "out"), Param("resistance")),
            Element("C1", "C", ("out", "0"), Param("capacitance")),
        ),
    )
    chosen = {"stop_s": 2e-3, "step_s": 1e-5, "reltol": 1e-6} | settings
    return Experiment(
        circuit=circuit,
        analysis=Transient(use_initial=True, initial=(("out", 0.0),), **chosen),
        saves=("v(out)", "i(v1)"),
        reducer=f"engine_cases:{reducer}",
        outputs=outputs,
        readings=(("half_time", "when v(out)={0.5*level} rise=1"), ("last", "find v(out) at=2e-3")),
    )


def operating_point(*elements: Element, **circuit: Any) -> Experiment:
    """An operating point of the node ``out``."""
    return Experiment(
        Circuit("point", elements, **circuit),
        OperatingPoint(),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )


def sweep(*elements: Element, **circuit: Any) -> Experiment:
    """V1 from 0 to 5 V in steps of 0.25 V, seen at ``out``."""
    return Experiment(
        Circuit("sweep", elements, **circuit),
        DcSweep("V1", 0.0, 5.0, 0.25),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )


def diode_experiment() -> Experiment:
    """A diode fed with 1 mA: its voltage falls by about 2 mV per degree."""
    return operating_point(
        Element("I1", "I", ("0", "out"), Dc(1e-3)),
        Element("D1", "D", ("out", "0"), model="junction"),
        models=(Model("junction", "D", (("IS", Param("saturation")), ("XTI", 3.0), ("EG", 1.11))),),
    )


def breaking_off_experiment() -> Experiment:
    """An expression that leaves the domain of its square root at `start_s`, in mid-run."""
    return Experiment(
        Circuit(
            "breaking off",
            (
                Element(
                    "V1", "V", ("a", "0"), Pulse(0.0, 1.0, Param("start_s"), 1e-6, 1e-6, 1.0, 2.0)
                ),
                Element("B1", "B", ("b", "0"), "v = v(a) > 0.5 ? sqrt(-v(a)) : 0"),
                Element("R1", "R", ("b", "0"), 1.0),
            ),
        ),
        Transient(stop_s=1e-3, step_s=1e-5),
        ("v(b)",),
        "engine_cases:last_b",
        ("b",),
    )


def spread_rows(count: int, generator: np.random.Generator) -> NDArray[np.float64]:
    """Random levels, resistances and capacitances with time constants of 0.1 to 1 ms."""
    level = generator.uniform(1.0, 15.0, count)
    resistance = 10 ** generator.uniform(2, 5, count)
    capacitance = 10 ** generator.uniform(-4, -3, count) / resistance
    return np.column_stack([level, resistance, capacitance])


def half_time(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Time at which half the level is reached (linear between points), and the last level."""
    trace = run.trace("v(out)")
    half = row["level"] / 2
    reached = trace[-1] >= half
    time = float(np.interp(half, trace, run.time)) if reached else float("nan")
    return {"half_time": time, "last": float(trace[-1])}


def level_out(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"out": float(run.trace("v(out)")[-1])}


def last_levels(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"out": float(run.trace("v(out)")[-1]), "h": float(run.trace("v(h)")[-1])}


def last_b(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"b": float(run.trace("v(b)")[-1])}


def crash_above_ten(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Stand in for a fault inside the library: the process gets a segmentation fault."""
    if row["level"] > 10:
        os.kill(os.getpid(), signal.SIGSEGV)
    return half_time(run, row)


def killed_above_ten(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Stand in for a system that kills the process for its use of memory."""
    if row["level"] > 10:
        os.kill(os.getpid(), signal.SIGKILL)
    return half_time(run, row)


def endless_above_ten(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Stand in for an endless computation inside the library."""
    while row["level"] > 10:
        pass
    return half_time(run, row)


def asleep_above_ten(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Stand in for a library that waits for something."""
    while row["level"] > 10:
        time.sleep(10)
    return half_time(run, row)


def broken(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    raise ZeroDivisionError("planted")


def forgetful(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"half_time": 1.0}


def infinite(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"half_time": float("inf"), "last": 0.0}


def whereabouts(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Tell the worker's process number, its core-dump limit and the size of its .spiceinit."""
    import resource

    return {
        "pid": float(os.getpid()),
        "core_limit": float(resource.getrlimit(resource.RLIMIT_CORE)[0]),
        "spiceinit_size": float(Path(".spiceinit").stat().st_size),
    }


def resident_bytes(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Tell the worker's resident memory."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return {"bytes": float(pages * os.sysconf("SC_PAGE_SIZE"))}


def nothing(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {}
