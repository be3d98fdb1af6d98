"""The misting valve passes: its line sense here, every bench of it at the full count."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analog.engine import open_engine
from analog.workflows import check, expectation_met

VALVE = Path(__file__).parents[2] / "analog" / "scenarios" / "mist-valve.toml"
BENCHES = ["line_sense", "conditioner", "reset", "gate_drive", "supply"]
MOST_RUNS = 1500


def test_the_misting_valve_passes(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Zener clamp on a winding's end, tied Schmitt NAND, valve on a winding of its own."""
    benches = BENCHES[: counts(1, len(BENCHES))]
    with open_engine(jobs=1) as engine:
        checked = check(VALVE, engine, benches=benches)
    assert checked.results.verdict == "pass"
    assert expectation_met(checked.results)[0]
    runs = {bench.result.bench: bench.result.runs for bench in checked.benches}
    figure(", ".join(f"{bench} {number} runs" for bench, number in runs.items()))
    assert max(runs.values()) < MOST_RUNS
