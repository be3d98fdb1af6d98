"""The spread of a reset's hold time against exact propagation and the worst pairs.

TI CD40106B, SCHS097F (2017): t = R·C·ln(VDD/(VDD − V_P)) (figure 19), with V_P from section 6.5
0.616 R·C to 1.238 R·C at 10 V; 470 kΩ ±5 % and 1 µF ±20 % give 0.220 s to 0.733 s (by hand).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from analog.design import parse_design
from analog.engine import open_engine
from analog.workflows.board_runs import no_runs, run_more
from analog.workflows.boards import boards
from analog.workflows.check import make_plans

DESIGN = """
edgeproof = 1
[design]
name = "spread-monostable"
[environment]
ambient_minimum = "25 °C"
ambient_typical = "25 °C"
ambient_maximum = "25 °C"
[supply]
rail = "10 V"
rise_time = "1 us"
[reset]
resistor = "470k 5% metal-film"
capacitor = "1u 20% polypropylene 50V"
receiver = "40106"
maker = "TI"
driven = "4013"
"""


def test_hold_time_and_release_spread_as_the_product_of_two_tolerances(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    design = parse_design(DESIGN, "spread.toml")
    fleet, count = boards(design, make_plans(design)), counts(200, 5000)
    numbers = fleet.independent(2, 0, count)
    none = {name: np.full(count, 0.5) for name in numbers if "leakage" in name}  # ideal parts
    none["reset.capacitor.leakage"] = np.zeros(count)
    runs = no_runs(fleet)
    with open_engine(jobs=1) as engine:
        run_more(runs, numbers | none, engine)
    own = next(one for one in runs.scenes if one.scene.scene.identifier == "power-up")
    # Two independent uniform factors: the variance of their product, exactly.
    deviation = math.sqrt((1 + 0.05**2 / 3) * (1 + 0.2**2 / 3) - 1)
    for measure, nominal, ends in (
        ("hold_time", 0.290, (0.220, 0.348 * 1.05)),
        ("release_time", 0.582, (0.442, 0.733)),
    ):
        values = own.column(measure)
        share = values / nominal
        error = deviation / math.sqrt(count)
        figure(f"{measure}: mean {share.mean():.4f}, deviation {share.std():.4f} ({deviation:.4f})")
        assert share.mean() == pytest.approx(1.0, abs=3 * error + 0.003)
        assert share.std() == pytest.approx(deviation, rel=3 / math.sqrt(2 * count) + 0.01)
        assert values.min() >= ends[0] * 0.998
        assert values.max() <= ends[1] * 1.002


def test_the_worst_pairs_are_the_ends_of_the_boards() -> None:
    """Both coordinates at their ends: what no board can pass, 0.220 s and 0.733 s."""
    design = parse_design(DESIGN, "spread.toml")
    fleet = boards(design, make_plans(design))
    numbers = {name: np.full(2, 0.5) for name in fleet.coordinates}
    numbers["reset.capacitor.leakage"] = np.zeros(2)
    for name in ("reset.resistor tolerance", "reset.capacitor tolerance"):
        numbers[name] = np.array([0.0, 1.0])
    runs = no_runs(fleet)
    with open_engine(jobs=1) as engine:
        run_more(runs, numbers, engine)
    own = next(one for one in runs.scenes if one.scene.scene.identifier == "power-up")
    assert own.column("hold_time")[0] == pytest.approx(0.220, rel=0.004)
    assert own.column("release_time")[1] == pytest.approx(0.733, rel=0.004)
