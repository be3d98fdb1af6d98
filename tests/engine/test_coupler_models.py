"""Gates on slow and noisy edges, and optocouplers on the mains; no random sample is lost.

What the models claim of their cards is measured in test_conformance_cards.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import coupler_cases as cases
import numpy as np
import pytest
from conformance_parts import Part, parts_of
from model_rows import run_random, run_rows

from analog.cards import all_cards, find_card
from analog.circuits.optocoupler_models import NO_KNEE_A, NO_LIMIT_A, knees
from analog.engine import Engine, Outcomes, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]
Row = dict[str, float]
LIMIT_S = 60.0


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1, limit_s=LIMIT_S) as opened:
        yield opened


def log_uniform(draw: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(draw.uniform(math.log(low), math.log(high))))


def parts_of_kind(kind: str) -> list[Part]:
    return [part for card in all_cards() if card.kind == kind for part in parts_of(card)]


def at_10_v(name: str) -> Row:
    card = find_card(name)
    return dict(Part(card, card.columns[0], 10.0).arguments)


def test_slow_clean_edge_comes_out_faster_by_the_gain(engine: Engine, figure: Figure) -> None:
    """On a ramp of the rail in 10 ms the output takes at least 80 %/gain of it from 90 % to 10 %,
    and some times that: the slope is steepest at the threshold only."""
    ramp = {"stop": 10e-3, "step": 2e-6, "noise": 0.0, "noise_hz": 1e3}
    gates = {"4011UB": 20.0, "4011": 1000.0}
    rows = [at_10_v(name) | ramp for name in gates]
    found = run_rows(engine, cases.noisy_ramp(), rows)
    steepest = np.array([0.8 / gain * 10e-3 for gain in gates.values()])
    factors = found["duration"] / steepest
    figure(f"{factors[0]:.1f} and {factors[1]:.1f} times the time at the steepest slope")
    assert found["edges"].tolist() == [1, 1]
    assert (factors > 1).all()
    assert (factors < 8).all()
    assert found["duration"][0] > 20 * found["duration"][1]


def test_noise_on_a_slow_edge_makes_many(engine: Engine, figure: Figure) -> None:
    """5 kHz of amplitude a on 1 V/ms cross the threshold 1 + 2·floor(2·a·f/slope) times: 21 at
    1 V, once at 20 mV. Neither gate has hysteresis, so neither is clean; many stages only make
    steep edges of the crossings."""
    noise = {"stop": 10e-3, "step": 2e-6, "noise_hz": 5e3}
    rows = [at_10_v(name) | noise | {"noise": a} for name in ("4011", "4011UB") for a in (1, 0.02)]
    found = run_rows(engine, cases.noisy_ramp(), rows)["edges"].tolist()
    figure(f"buffered {found[:2]}, unbuffered {found[2:]}")
    assert all(abs(edges - 21) <= 2 for edges in (found[0], found[2]))
    assert found[1] == found[3] == 1


@pytest.mark.parametrize("name", ["4011UB", "4011", "4049UB"])
def test_output_follows_a_rising_supply(engine: Engine, name: str) -> None:
    """Above 2 V the output is at the right rail all the time: an input at a tenth of the supply
    keeps it high, one at nine tenths low."""
    rows = [at_10_v(name) | {"r_up": up, "r_down": 1e4 - up} for up in (9e3, 1e3)]
    found = run_rows(engine, cases.rising_supply(), rows)
    assert found["low"][0] > 0.95
    assert found["high"][1] < 0.05


def gate_row(draw: np.random.Generator, parts: list[Part]) -> Row:
    """Any gate of any maker at any tabulated supply behind a filter, with noise and a burst."""
    part = parts[int(draw.integers(len(parts)))]
    hertz = (50.0, 60.0)[int(draw.integers(2))]
    winding = float(draw.uniform(0.5, 3.0)) * part.supply
    return dict(part.arguments) | {
        "peak": winding * math.sqrt(2),
        "mains_hz": hertz,
        "noise": float(draw.uniform(0, 0.05)) * winding,
        "noise_hz": log_uniform(draw, 300, 20e3),
        "height": log_uniform(draw, 10, 4000),
        "burst_start": float(draw.uniform(0, 20e-3)),
        "c_stray": log_uniform(draw, 0.1e-12, 10e-12),
        "r_filter": log_uniform(draw, 10e3, 470e3),
        "c_filter": log_uniform(draw, 1e-9, 220e-9),
        "stop": 2 / hertz,
    }


def coupler_row(draw: np.random.Generator, parts: list[Part]) -> Row:
    """Any optocoupler of any transfer ratio, fresh or aged, at any LED current and load."""
    part = parts[int(draw.integers(len(parts)))]
    v_rms, hertz = ((230.0, 50.0), (120.0, 60.0))[int(draw.integers(2))]
    row = dict(part.arguments)
    ends = part.figure("CTR")
    row["ctr"] = log_uniform(draw, 0.4 * ends.low, 1.2 * ends.high + 1e-9)
    return row | {
        "v_rail": float(draw.uniform(3, 15)),
        "peak": v_rms * math.sqrt(2) * float(draw.uniform(0.8, 1.15)),
        "mains_hz": hertz,
        "r_led": v_rms / log_uniform(draw, 0.3e-3, 20e-3),
        "r_guard": 1e9 if row["ac"] else 1.0,
        "height": log_uniform(draw, 10, 4000),
        "burst_start": float(draw.uniform(0, 20e-3)),
        "r_load": log_uniform(draw, 1e3, 470e3),
        "c_load": log_uniform(draw, 5e-12, 100e-9),
        "stop": 2 / hertz,
    }


def stays_between_rails(out: Outcomes) -> bool:
    low, high = out.column("lowest"), out.column("highest")
    return bool((low > -1.0).all() and (high < 1.0).all() and (out.column("edges") > 0).any())


def test_no_random_gate_is_lost(engine: Engine, counts: Counts, figure: Figure) -> None:
    draw = np.random.default_rng(5)
    parts = parts_of_kind("gate")
    rows = [gate_row(draw, parts) for _ in range(counts(8, 500))]
    assert stays_between_rails(run_random(engine, cases.filtered(), rows, figure))


def test_no_random_optocoupler_is_lost(engine: Engine, counts: Counts, figure: Figure) -> None:
    """The output stays near its rails whatever the mains, the burst and the load."""
    draw = np.random.default_rng(6)
    parts = parts_of_kind("optocoupler")
    rows = [coupler_row(draw, parts) for _ in range(counts(8, 500))]
    assert stays_between_rails(run_random(engine, cases.sensed_through_coupler(), rows, figure))


def test_knees_come_back_out_of_their_own_curve() -> None:
    low, high = 2e-3, 40e-3
    currents = [0.5e-3, 1e-3, 5e-3, 20e-3, 50e-3]
    ratios = [1 / (1 + low / i + i / high) for i in currents]
    assert knees(currents, ratios) == pytest.approx((low, high), rel=1e-6)
    scaled = [3 * ratio for ratio in ratios]
    assert knees(currents, scaled) == pytest.approx((low, high), rel=1e-6)


def test_flat_and_one_sided_ratios_have_no_knee_where_they_do_not_fall() -> None:
    low, high = knees([1e-3, 5e-3, 20e-3], [1.0, 1.0, 1.0])
    assert low < 1e-9 + NO_KNEE_A
    assert high > 0.1 * NO_LIMIT_A
    low, high = knees([1e-3, 5e-3, 20e-3], [1 / (1 + 2e-3 / i) for i in (1e-3, 5e-3, 20e-3)])
    assert low == pytest.approx(2e-3, rel=1e-6)
    assert high > 0.1 * NO_LIMIT_A
