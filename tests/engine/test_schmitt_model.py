"""The Schmitt model against the figures it is given: thresholds, levels, delay, waking up.

Figures are those of the part cards: TI CD40106B, SCHS097F, sections 6.5 and 6.6; Philips
HEF40106B (1995); National CD40106BM (1988); ST HCF4093B; TI SN74HC14; NXP 74HC1G14.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pytest
import schmitt_cases as cases

from analog.cards import Column, find_card
from analog.circuits.record import Experiment
from analog.engine import Engine, open_engine

COLUMNS = [
    pytest.param(column, supply, id=f"{part}-{column.maker}-{supply:g}V")
    for part in ("40106", "4093", "74HC14")
    for column in find_card(part).columns
    for supply in ((4.5, 6.0) if part == "74HC14" else (5.0, 10.0, 15.0))
]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def typical(column: Column, vdd: float) -> dict[str, float]:
    """Return the sub-circuit's arguments from a column's typical figures at one supply."""
    figure = {
        name: column.figure(name, vdd=vdd).centre
        for name in ("V_P", "V_N", "I_OL", "V_OL_test", "I_OH", "V_OH_test", "t_plh", "t_phl")
    }
    return {
        "v_rail": vdd,
        "v_nom": vdd,
        "v_p": figure["V_P"],
        "v_n": figure["V_N"],
        "i_ol": figure["I_OL"],
        "v_ol": figure["V_OL_test"],
        "i_oh": figure["I_OH"],
        "v_oh": vdd - figure["V_OH_test"],
        "t_pd": (figure["t_plh"] + figure["t_phl"]) / 2,
        "t_tr": column.figure("t_transition", vdd=vdd).centre,
        "c_in": column.figure("C_in").centre,
        "r_in": 1000.0 if vdd not in (4.5, 6.0) else 100.0,
    }


def run_rows(
    engine: Engine, experiment: Experiment, rows: list[Mapping[str, float]]
) -> dict[str, np.ndarray]:
    names = tuple(rows[0])
    outcome = engine.run(experiment, names, np.array([[row[n] for n in names] for row in rows]))
    assert not outcome.failures, next(iter(outcome.failures.values())).reason
    return {name: outcome.values[:, k] for k, name in enumerate(experiment.outputs)}


def random_row(rng: np.random.Generator) -> dict[str, float]:
    """Draw supply, thresholds (hysteresis 3 % to 30 % of the supply) and a 40106's speed."""
    vdd = rng.uniform(4.0, 15.0)
    row = typical(find_card("40106").column("TI"), 10.0)
    v_p = vdd * rng.uniform(0.42, 0.72)
    v_n = max(v_p - vdd * rng.uniform(0.03, 0.3), 0.14 * vdd)
    column = find_card("40106").column("TI")
    return {**row, **typical(column, vdd), "v_p": v_p, "v_n": v_n}


def test_thresholds_are_the_arguments(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    rng = np.random.default_rng(40106)
    rows = [random_row(rng) for _ in range(counts(30, 250))]
    out = run_rows(engine, cases.ramp(), rows)
    error_p = np.abs(out["v_p"] / [row["v_p"] for row in rows] - 1)
    error_n = np.abs(out["v_n"] / [row["v_n"] for row in rows] - 1)
    worst = max(error_p.max(), error_n.max())
    figure(f"{len(rows)} draws, largest threshold error {100 * worst:.3f} %")
    assert worst < 0.003


def test_thresholds_follow_the_rail(engine: Engine) -> None:
    base = typical(find_card("40106").column("TI"), 10.0)
    rows = [{**base, "v_rail": rail} for rail in (6.0, 10.0, 14.0)]
    out = run_rows(engine, cases.ramp(), rows)
    rails = np.array([row["v_rail"] for row in rows])
    assert out["v_p"] == pytest.approx(base["v_p"] * rails / 10.0, rel=3e-3)
    assert out["v_n"] == pytest.approx(base["v_n"] * rails / 10.0, rel=3e-3)


@pytest.mark.parametrize("ambient_c", [-40.0, 85.0])
def test_thresholds_do_not_drift_with_temperature(engine: Engine, ambient_c: float) -> None:
    row = {**typical(find_card("40106").column("TI"), 10.0), "ambient_c": ambient_c}
    out = run_rows(engine, cases.ramp(), [row])
    assert out["v_p"][0] == pytest.approx(row["v_p"], rel=3e-3)
    assert out["v_n"][0] == pytest.approx(row["v_n"], rel=3e-3)


@pytest.mark.parametrize(("column", "vdd"), COLUMNS)
def test_output_levels_at_the_cards_currents(engine: Engine, column: Column, vdd: float) -> None:
    row = typical(column, vdd)
    row |= {"i_sink": row["i_ol"], "i_source": -row["i_oh"]}
    out = run_rows(engine, cases.loaded(), [row])
    assert out["low"][0] == pytest.approx(row["v_ol"], rel=0.05)
    assert vdd - out["high"][0] == pytest.approx(row["v_oh"], rel=0.05)


@pytest.mark.parametrize(("column", "vdd"), COLUMNS)
def test_delay_and_transition_into_50_pf(engine: Engine, column: Column, vdd: float) -> None:
    row = typical(column, vdd)
    span = 10 * row["t_pd"]
    row |= {"t_wait": span / 2, "t_on": 2 * span, "t_off": 100 * span}
    row |= {"t_stop": 5 * span, "t_step": row["t_pd"] / 20}
    out = run_rows(engine, cases.step(), [row])
    assert out["t_phl"][0] == pytest.approx(column.figure("t_phl", vdd=vdd).centre, rel=0.3)
    assert out["t_plh"][0] == pytest.approx(column.figure("t_plh", vdd=vdd).centre, rel=0.3)
    # Where a maker's delay leaves no time for the family's transition the model keeps the delay.
    shortest = 0.7 if row["t_pd"] > 1.1 * row["t_tr"] else 0.3
    assert shortest * row["t_tr"] < out["t_thl"][0] < 1.3 * row["t_tr"]
    assert shortest * row["t_tr"] < out["t_tlh"][0] < 1.3 * row["t_tr"]


def test_output_is_low_while_the_rail_comes_up_with_the_input_high(engine: Engine) -> None:
    row = {**typical(find_card("40106").column("TI"), 10.0), "v_in": 10.0}
    out = run_rows(engine, cases.waking(), [row])
    assert out["final"][0] == pytest.approx(0, abs=0.01)
    assert out["largest_low"][0] < 0.1
    assert out["highest"][0] < 0.05


def test_output_follows_the_rail_while_it_comes_up_with_the_input_low(engine: Engine) -> None:
    row = {**typical(find_card("40106").column("TI"), 10.0), "v_in": 0.0}
    out = run_rows(engine, cases.waking(), [row])
    assert out["final"][0] == pytest.approx(10, abs=0.01)
    assert out["largest_drop"][0] < 0.1
    assert out["highest"][0] < 0.05
