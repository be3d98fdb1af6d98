"""What the benchmark reads besides the benches' own measures; called in the engine's workers."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from analog.benches.conditioner_measures import simulated_chain
from analog.engine import Run
from analog.measures import edge_time

CHAIN_OUTPUTS = ("t_out_rise", "t_out_fall", "pin_rise", "pin_fall")


def chain(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the clock's edges and the pin's own 10-90 % times (s), which set what is allowed."""
    values = simulated_chain(run, row)
    time, pin = run.time, run.trace("v(pin)")
    low, high = 0.1 * row["v_rail"], 0.9 * row["v_rail"]
    return {
        "t_out_rise": values["t_out_rise"],
        "t_out_fall": values["t_out_fall"],
        "pin_rise": edge_time(time, pin, low, high, True, row["t_quarter"]),
        "pin_fall": edge_time(time, pin, low, high, False, row["t_start"]),
    }


def resident(_run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Return the worker's process number and its resident memory (bytes)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    size = float(pages * os.sysconf("SC_PAGE_SIZE"))
    return {"worker": float(os.getpid()), "resident_bytes": size}
