"""The map of interruptions: which cuts and dips of the mains the reset misses, by simulation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analog.benches.reset import network_of, reset_parts
from analog.benches.reset_interruption import floor_v, return_experiment, return_rows
from analog.circuits.space import Floats
from analog.design import Design
from analog.engine import Engine
from analog.errors import RunError
from analog.studies.window_map import Classes, WindowMap, window_map
from analog.workflows.checked import Case

LENGTHS = 41
RESIDUALS = 25

TEST_POINTS = (
    (0.5, 0.0, "0 %, half a cycle"),
    (1.0, 0.0, "0 %, one cycle"),
    (10.0, 0.4, "40 %, 10 cycles"),
    (25.0, 0.7, "70 %, 25 cycles"),
    (250.0, 0.8, "80 %, 250 cycles"),
    (250.0, 0.0, "0 %, 250 cycles"),
)
"""Cycles at 50 Hz, residual share and words of the levels of IEC 61000-4-11:2004, tables 1 and 2,
classes 2 and 3."""


@dataclass(frozen=True, slots=True)
class InterruptionMap:
    """`window` has lengths (s) as x and residual shares of the mains as y; `at` is its case."""

    window: WindowMap
    at: Case
    points: tuple[tuple[float, float, str, bool], ...]
    """The standard's test points: length (s), residual share, words, and whether missed."""


def interruption_map(
    design: Design, case: Case, engine: Engine, lengths: int = LENGTHS, residuals: int = RESIDUALS
) -> InterruptionMap:
    """Return the map at one case of the scene ``interruption``, usually its worst.

    Lengths run from a third of the one that loses the state to twice the one that resets surely,
    residual shares from none to well above what keeps the rail at the logic's lowest supply.
    Raises RunError when a point gives no data.
    """
    row, values = case.row, case.values
    keeping = (1.5 * row["valid_supply"] + row["v_dropped"]) / row["v_crest"]
    first, last = values["t_lost"] / 3, 2.0 * max(values["t_sure"], values["t_lost"])
    x, y = np.geomspace(first, last, lengths), np.linspace(0.0, min(keeping, 0.99), residuals)

    def classify(length_s: Floats, share: Floats) -> Classes:
        return missed(design, case, engine, length_s, share)

    hertz = 50.0 if design.mains is None else design.mains.frequency
    cuts = np.array(
        [cycles / 50.0 if cycles > 1 else cycles / hertz for cycles, _, _ in TEST_POINTS]
    )
    shares = np.array([share for _, share, _ in TEST_POINTS])
    found = classify(cuts, shares)
    points = tuple(
        (float(cut), share, words, bool(miss))
        for cut, (_, share, words), miss in zip(cuts, TEST_POINTS, found, strict=True)
    )
    return InterruptionMap(window_map(x, y, classify), case, points)


def missed(design: Design, case: Case, engine: Engine, length_s: Floats, share: Floats) -> Classes:
    """Return which interruptions, arrays of shape (n,), lose the state without a sure reset."""
    network = network_of(design)
    floor = np.array([floor_v(case.row, float(left)) for left in share])
    rows = return_rows(network, case.row, case.at, length_s, floor)
    experiment = return_experiment(reset_parts(design), network.runs_on)
    outcomes = engine.run(experiment, tuple(rows), np.column_stack(tuple(rows.values())))
    for failure in outcomes.failures.values():
        raise RunError(failure.kind, failure.reason)
    lost = outcomes.column("state_lost") > 0
    return np.asarray(lost & ~(outcomes.column("assertion_margin") >= 0))
