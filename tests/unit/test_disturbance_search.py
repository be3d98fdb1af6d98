"""What a disturbance comes to: the worst run, the level at which it begins, what is not certain."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from analog.benches.disturbances import Delivered, Disturbance, Variant
from analog.benches.edge_counts import COUNTS
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.render.disturbanceview import disturbance_lines
from analog.results.records import BenchResult, LimitRow, MeasureRow
from analog.workflows.disturbances import Place, Tried, disturbance_row, try_disturbances

Row = Mapping[str, float]

EXPERIMENT = Experiment(
    Circuit("none", ()),
    Transient(Param("t_stop"), 1e-3),
    ("v(pin)",),
    "analog.benches.edge_counts:counts",
    (*COUNTS, "wave_peak"),
)


class Runner:
    """Stands for the engine: an edge strays from `begins` times the level on."""

    def __init__(self, begins: float, delivered: float = 1.0, lost_from: float = math.inf) -> None:
        self.begins, self.delivered, self.lost_from = begins, delivered, lost_from
        self.runs = 0
        self.levels: list[float] = []

    def __call__(
        self, experiment: Experiment, rows: Sequence[Row], scene: str
    ) -> list[dict[str, float]]:
        assert (experiment, scene) == (EXPERIMENT, "hum")
        self.runs += len(rows)
        self.levels += [row["level"] for row in rows]
        return [self.out(row) for row in rows]

    def out(self, row: Row) -> dict[str, float]:
        if row["level"] >= self.lost_from:
            return dict.fromkeys(EXPERIMENT.outputs, math.nan)
        stray = float(row["level"] * row["harm"] >= self.begins)
        out = dict.fromkeys(EXPERIMENT.outputs, 0.0)
        out |= {"extra": stray, "t_extra": 0.03, "t_missing": math.nan, "part_extra": 1.0}
        return out | {"wave_peak": self.delivered * row["level"]}


def hum(highest: float = 8.0) -> Disturbance:
    return Disturbance(
        "hum",
        "Hum",
        "1 V",
        "common practice, no source",
        "",
        EXPERIMENT,
        tuple(
            Variant(words, lambda _row, level, harm=harm: {"level": level, "harm": harm})
            for words, harm in (("weak", 0.5), ("strong", 1.0))
        ),
        (Delivered("wave_peak", "peak", "level", 0.01, "V"),),
        highest=highest,
        points=2,
    )


PLACES = [Place(np.zeros(1), {"f_mains": 50.0, "t_from": 0.01}), Place(np.ones(1), None)]


def tried(runner: Runner, highest: float = 8.0) -> Tried:
    (found,) = try_disturbances([hum(highest)], PLACES, runner)  # type: ignore[arg-type]
    return found


@pytest.mark.parametrize("begins", [0.3, 1.7, 5.0])
def test_level_at_which_it_begins(begins: float) -> None:
    """Within the fourth root of the step of two, from below and above the stated level."""
    found = tried(Runner(begins))
    assert begins <= found.begins_at * (1 + 1e-9) <= begins * 2**0.25 * (1 + 1e-9)
    row = disturbance_row(found, ("first part", "second part"))
    assert row.extra == (1 if begins <= 1 else 0)
    assert row.where.endswith("second part" if begins <= 1 else "")
    assert row.after == (pytest.approx(0.02) if begins <= 1 else None)


def test_no_level_beyond_the_highest_is_tried() -> None:
    runner = Runner(100.0)
    found = tried(runner, highest=3.0)
    assert math.isnan(found.begins_at)
    assert max(runner.levels) == found.tried_to == 3.0
    assert tried(Runner(100.0), highest=1.0).tried_to == 1.0


def test_an_undelivered_wave_is_not_judged() -> None:
    row = disturbance_row(tried(Runner(0.5, delivered=0.9)), ("a", "b"))
    assert (row.extra, row.missing, row.begins_at) == (None, None, None)
    assert row.reason == "not judged: peak 0.9 V instead of 1 V"
    assert row.delivered[0].found == pytest.approx(0.9)
    assert shown(row).look == "undecided"


def test_lost_runs_at_other_levels_leave_a_doubt() -> None:
    """It is clean at its level; whether it begins at twice that is not known, and said."""
    row = disturbance_row(tried(Runner(100.0, lost_from=2.0)), ("a", "b"))
    assert (row.extra, row.missing) == (0, 0)
    assert row.reason == "may begin at a lower level: no data"
    assert shown(row).look == "pass"
    assert "may begin" in shown(row).where


def shown(row):
    limit = LimitRow("none", None, 0.0, "why")
    judged = MeasureRow("extra_edges", "1", 0.0, 0.0, {}, limit, 0.0, 0.0, "pass", "", 1)
    result = BenchResult("conditioner", "pass", None, 1, 0, (judged,), (row,))
    return disturbance_lines(result)[0]
