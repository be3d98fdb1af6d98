"""Swept boards before the real engine: against exact propagation, interrupted, sent elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "cli"))
from cli_cases import FAILING, PASSING

from analog.design import parse_design
from analog.engine import open_engine
from analog.engine.outcome import Failure
from analog.errors import InputError
from analog.studies.intervals import over_replicates
from analog.studies.stopping import Claim
from analog.workflows.board_runs import FAILED, LOST, no_runs, run_more, tally
from analog.workflows.boards import boards
from analog.workflows.check import make_plans
from analog.workflows.sweep import Order, sweep
from analog.workflows.sweep_rows import Scale, board_verdicts

QUICK = Order(Claim(0.9))


def test_hold_time_spreads_as_rc_charging_says(counts: Callable[[int, int], int]) -> None:
    """Against exact propagation: after a ramp of t_r to V, an RC node with the leakage g·V to
    ground and leak_c out of it follows v' = (V_in - v)/RC - i/C, solved in closed form.

    The pin's own diodes do not conduct on a rising rail; 1 % covers the capacitance of the pin.
    """
    design = parse_design(PASSING, "holds")
    fleet = boards(design, make_plans(design))
    count = counts(60, 1000)
    with open_engine(jobs=1) as engine:
        runs = no_runs(fleet)
        run_more(runs, fleet.independent(0, 0, count), engine)
    own = next(one for one in runs.scenes if one.scene.scene.identifier == "power-up")
    names, rows = own.scene.rows(fleet.independent(0, 0, count))
    row = dict(zip(names, rows.T, strict=True))
    exact = exact_release(row) - row["valid_supply"] / row["rail"] * row["t_rise"]
    found = own.column("hold_time")
    assert found == pytest.approx(exact, rel=0.01)
    assert found.std() == pytest.approx(exact.std(), rel=0.02)


def exact_release(row: dict[str, np.ndarray]) -> np.ndarray:
    """Return when the node passes the threshold of the full rail, by bisection on closed forms."""
    rail, rise = row["rail"], row["t_rise"]
    load = 1 / row["r_reset"] + 0 * rail
    drawn = row["leak_c"] + row["g_pin"] * rail
    tau = row["r_reset"] * row["c_reset"]
    low, high = 0 * rise, rise + 12 * tau
    for _ in range(80):
        middle = (low + high) / 2
        inside = np.minimum(middle, rise)
        # Ramp: v = k(t - τ(1 - e^(-t/τ))); then an exponential to the rail. Leakage: a step, drawn
        # in proportion to the rail during the ramp (g), constantly (capacitor).
        ramp = (rail / rise) * (inside - tau * (1 - np.exp(-inside / tau)))
        after = np.maximum(middle - rise, 0)
        charged = rail + (ramp - rail) * np.exp(-after / tau)
        sunk = row["leak_c"] / load * (1 - np.exp(-middle / tau))
        pin = (row["g_pin"] / load) * charged  # follows the rail as the node itself does
        above = charged - sunk - pin >= row["threshold_low"]
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    assert np.all(drawn >= -1e-6)
    return high


def test_moments_of_replicates_agree_with_independent_boards() -> None:
    design = parse_design(PASSING, "holds")
    with open_engine(jobs=2) as engine:
        swept = sweep(design, engine, order=QUICK)
    for bench, result in zip(swept.verdicts.benches, swept.results.benches, strict=True):
        for one, row in zip(bench.judged, result.measures, strict=True):
            assert row.spread is not None
            plain = over_replicates(one.values, 0.999)
            assert row.spread.mean.low <= plain.high
            assert row.spread.mean.high >= plain.low


class Flaky:
    """An engine some of whose runs gave no data; everything else is the real one's."""

    def __init__(self, engine: object, lost: set[int], stop_after: int = 10**9) -> None:
        self.engine, self.lost, self.stop_after = engine, lost, stop_after
        self.name, self.version = engine.name, engine.version  # type: ignore[attr-defined]
        self.calls = 0

    def run(self, experiment, names, rows, progress=None):  # type: ignore[no-untyped-def]
        self.calls += 1
        if self.calls > self.stop_after:
            raise KeyboardInterrupt
        found = self.engine.run(experiment, names, rows, progress)
        failures = {
            index: Failure("timed out", "made up", "") for index in self.lost if index < len(rows)
        }
        values = found.values.copy()
        values[list(failures)] = np.nan
        from dataclasses import replace

        return replace(found, values=values, failures=failures)


def test_lost_runs_are_failures_below_and_passes_above() -> None:
    design = parse_design(PASSING, "holds")
    with open_engine(jobs=2) as engine:
        plans = make_plans(design)
        fleet = boards(design, plans)
        numbers = fleet.independent(0, 0, 20)
        runs = no_runs(fleet)
        run_more(runs, numbers, Flaky(engine, {3, 7}))  # type: ignore[arg-type]
        verdicts = board_verdicts(runs, plans, design)
    assert np.flatnonzero(verdicts.status == LOST).tolist() == [3, 7]
    counted = tally(verdicts.status)
    assert (counted.boards, counted.failed, counted.lost) == (20, 0, 2)
    found = Scale(Claim(0.5), True).yield_of(counted, runs.failed_runs)
    assert found.high == 1.0
    assert found.estimate == pytest.approx(0.9)
    assert found.failed_runs == 2 * len(runs.scenes)


def test_a_board_that_fails_somewhere_fails_though_it_is_lost_elsewhere() -> None:
    design = parse_design(FAILING, "leaks")
    with open_engine(jobs=2) as engine:
        plans = make_plans(design)
        fleet = boards(design, plans)
        clean, flaky = no_runs(fleet), no_runs(fleet)
        run_more(clean, fleet.independent(0, 0, 20), engine)
        whole = board_verdicts(clean, plans, design).status
        run_more(flaky, fleet.independent(0, 0, 20), engine)
        flaky.scenes[0].failed[:] = True
        part = board_verdicts(flaky, plans, design).status
    assert (whole == FAILED).any()
    assert set(part.tolist()) <= {FAILED, LOST}
    assert np.all((part == FAILED) <= (whole == FAILED))


def test_an_interrupted_sweep_goes_on_from_the_store(tmp_path: Path) -> None:
    design, store = parse_design(PASSING, "holds"), tmp_path / "kept.sqlite"
    with open_engine(jobs=2) as engine:
        straight = sweep(design, engine, order=QUICK)
    with (
        pytest.raises(KeyboardInterrupt) as stop,
        open_engine(jobs=2, store=store) as engine,
    ):
        sweep(design, Flaky(engine, set(), stop_after=5), order=QUICK)  # type: ignore[arg-type]
    assert "goes on from there" in stop.value.__notes__[0]
    with open_engine(jobs=1, store=store) as engine:
        resumed = sweep(design, engine, order=QUICK)
    assert resumed.results == straight.results
    assert resumed.runs.cost.stored > 0
    assert resumed.runs.cost.runs + resumed.runs.cost.stored == straight.runs.cost.runs


def test_an_order_that_cannot_be_fulfilled_runs_nothing() -> None:
    with pytest.raises(InputError, match="368 or more"):
        sweep(parse_design(PASSING, "holds"), None, order=Order(samples=367))  # type: ignore[arg-type]
