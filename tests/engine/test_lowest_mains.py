"""The lowest mains that still counts: where the crest meets the threshold, and judged.

At that mains the pin's crest is the highest guaranteed V_P (what ``high_level_margin`` says by
another way), and the winding's sine by a first-order filter is what it is on paper.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from model_rows import run_row

from analog.benches import line_sense
from analog.benches.lowest_mains import MEASURE, LowestMains
from analog.benches.trials import trials_in
from analog.design import Design, parse_design
from analog.engine import Engine, open_engine
from analog.workflows import netlist
from analog.workflows.check import check
from analog.workflows.trials import run_trials

MAT = Path(__file__).parents[2] / "analog" / "scenarios" / "propagator-mat.toml"


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


def mat(*changes: tuple[str, str]) -> Design:
    text = MAT.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    return parse_design(text, "changed.toml")


UNDESCRIBED = ('reservoir = "470u 20% electrolytic 35V"\n', "")
OWN_WINDING = (
    'topology = "bridge-leg"',
    'topology = "half-wave"\nwinding_voltage = "{volts} V"\nwinding_rating = "2 VA"\n'
    'winding_regulation = "30%"',
)


def own_winding(volts: float) -> tuple[str, str]:
    return OWN_WINDING[0], OWN_WINDING[1].format(volts=volts)


def search_of(design: Design) -> LowestMains:
    search = trials_in(line_sense.plan(design)).lowest
    assert search is not None
    return search


def test_crest_meets_the_threshold_there(engine: Engine, figure: Callable[[str], None]) -> None:
    """With a whole rail: ``high_level_margin`` is nothing at the mains found, within 1 %."""
    design = mat(UNDESCRIBED)
    plan = line_sense.plan(design)
    worst = run_trials(plan, engine).found[0].case
    assert worst is not None
    line = plan.scenes[0]
    values = {key: np.array([worst.at[key]]) for key in line.space.keys}
    row = {name: float(np.ravel(v)[0]) for name, v in line.derive(values).items()}
    margin = run_row(engine, line.experiment, row)["high_level_margin"]
    figure(f"{worst.values[MEASURE]:.1f} V of mains leave {1e3 * margin:.0f} mV")
    assert abs(margin) < 0.01 * design.supply.rail.nominal
    assert not line_sense.plan(design).limits.get(MEASURE)


def test_half_wave_on_paper(engine: Engine, figure: Callable[[str], None]) -> None:
    """Own winding, first-order filter: V_P·√(1 + (ωRC)²)/(√2·V·(1 + reg)/V_mains) within 3 %.

    The pin's own diode takes the negative half-wave, which lifts the crest a little.
    """
    design = mat(
        UNDESCRIBED, own_winding(24.0), ('bleed_resistor = "10k 5% carbon-film 0.25W"\n', "")
    )
    search = search_of(design)
    nominal = run_trials(line_sense.plan(design), engine).found[0].nominal
    row = search.row(search.points()[0], 120.0)
    v_p = max(row[f"typ{k}_p"] for k in range(3))
    turn = 2 * math.pi * 60.0 * 100e3 * 10e-9
    wanted = v_p * math.hypot(1.0, turn) / (math.sqrt(2) * 24.0 * 1.3 / 120.0)
    figure(f"{nominal.values[MEASURE]:.2f} V, on paper {wanted:.2f} V")
    assert nominal.values[MEASURE] == pytest.approx(wanted, rel=0.03)


def test_rail_comes_down_with_the_mains() -> None:
    search = search_of(mat())
    point = search.points()[0]
    mains = (120.0, 80.0, 60.0, 40.0, 10.0)
    rails = [row["v_rail"] for row in search.rows([(point, m, (1.0, 0.0)) for m in mains])]
    assert rails == sorted(rails, reverse=True)
    assert rails[0] == 9.0
    assert 3.0 < rails[2] < min(9.0, search.left_v(point, 60.0))
    assert rails[-1] == search.logic_v == 3.0
    alive = search.alive_mains_v(point)
    assert alive is not None
    assert search.left_v(point, alive) == pytest.approx(3.0, abs=1e-3)
    # Rail of 3 V, 2 V for a 7809, two diodes of 0.6 V: 6.2 V of crest.
    crest = alive * math.sqrt(2) * 12.0 * 1.35 / 120.0
    assert crest == pytest.approx(6.2, abs=0.01)


@pytest.mark.parametrize(("volts", "verdict"), [(24.0, "pass"), (6.0, "fail")])
def test_a_winding_too_low_stops_while_the_logic_lives(
    engine: Engine, volts: float, verdict: str
) -> None:
    design = mat(own_winding(volts), ('bleed_resistor = "10k 5% carbon-film 0.25W"\n', ""))
    checked = check(design, engine, benches=["line_sense"])
    (row,) = [r for r in checked.results.benches[0].measures if r.measure == MEASURE]
    assert row.verdict == verdict
    assert row.limit is not None
    assert row.limit.max is not None
    assert 25.0 < row.limit.max < 40.0
    assert "VLINE" in netlist(checked, "line_sense", f"worst:{MEASURE}")
