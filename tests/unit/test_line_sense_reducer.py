"""What the line-sense and conditioner benches read off hand-made traces."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from analog.benches.conditioner_measures import chain, ramp, with_clock
from analog.benches.line_sense_measures import BASE_REVERSE, OUTPUTS, line_sense
from analog.circuits.schmitt_stage import switching_delay_s
from analog.engine import Run
from analog.measures import edge_time, first_crossing

RAIL_V, CYCLE_S = 10.0, 0.02

ROW = {
    "v_rail": RAIL_V,
    "f_mains": 1 / CYCLE_S,
    "r_series": 100e3,
    "t_start": 0.0,
    "t_quarter": CYCLE_S / 4,
    "t_end": CYCLE_S * 1.25,
    "zero_share": 0.75,
    "edges": 1,
    "c0_p_max": 7.1,
    "c0_p_min": 4.6,
    "c0_n_max": 5.2,
    "c0_n_min": 2.5,
    "c0_h_min": 1.2,
    "v_high": 7.1,
    "v_low": 2.5,
}


def smooth(time: np.ndarray) -> np.ndarray:
    """A cosine between 0 V and 10 V, high at the crest."""
    return RAIL_V / 2 * (1 + np.cos(2 * np.pi * time / CYCLE_S))


def run_of(shape: Callable[[np.ndarray], np.ndarray], current_a: float = 1e-4) -> Run:
    time = np.linspace(0, 1.5 * CYCLE_S, 6001)
    pin = shape(time)
    traces = {"v(pin)": pin, "v(sense)": pin + 3.0, "i(vpin)": np.full(time.size, -current_a)}
    return Run(time, traces | {"i(vrail)": np.full(time.size, current_a / 4)})


def wiggling(height_v: float, centre_v: float) -> Callable[[np.ndarray], np.ndarray]:
    """The cosine with a turn back of `height_v` on its way up through `centre_v`."""

    def shape(time: np.ndarray) -> np.ndarray:
        clean = smooth(time)
        rising = (time > CYCLE_S / 2) & (time < CYCLE_S)
        at = time[rising][np.argmin(np.abs(clean[rising] - centre_v))]
        place = (time - at) / (0.02 * CYCLE_S)
        steep = np.gradient(clean, time)[np.argmin(np.abs(time - at))] * 0.02 * CYCLE_S
        return clean - (height_v + 2 * steep) * place * np.exp(0.5 - place**2 / 2)

    return shape


def test_all_outputs_are_given() -> None:
    assert set(line_sense(run_of(smooth), ROW)) == {*OUTPUTS, BASE_REVERSE}


def test_levels_times_and_slope_of_a_clean_cosine() -> None:
    out = line_sense(run_of(smooth), ROW)
    omega = 2 * math.pi / CYCLE_S
    assert out["high_level_margin"] == pytest.approx(2.9)
    assert out["low_level_margin"] == pytest.approx(2.5)
    edge = (math.acos(-0.8) - math.acos(0.8)) / omega
    assert out["rise_time"] == pytest.approx(edge, rel=1e-5)
    assert out["fall_time"] == pytest.approx(edge, rel=1e-5)
    transit = (math.acos(-0.5) - math.acos(0.42)) / omega
    assert out["threshold_transit_time"] == pytest.approx(transit, rel=1e-5)
    assert out["slew_at_threshold"] == pytest.approx(5 * omega * math.sqrt(1 - 0.25), rel=1e-4)
    assert out["crossing_delay"] == pytest.approx(0.25 * CYCLE_S - math.acos(0.42) / omega, 1e-4)
    assert out["edges_per_cycle"] == 1


def test_stress() -> None:
    out = line_sense(run_of(smooth, current_a=2e-4), ROW)
    assert out["input_clamp_current"] == pytest.approx(2e-4)
    assert out["rail_pump_current"] == pytest.approx(0.5e-4)
    assert out["series_resistor_voltage"] == pytest.approx(3.0)
    assert out["series_resistor_power"] == pytest.approx(9 / 100e3)


def test_a_crest_below_the_threshold_never_happens() -> None:
    out = line_sense(run_of(lambda time: 0.6 * smooth(time)), ROW)
    assert out["high_level_margin"] == pytest.approx(-1.1)
    assert out["edges_per_cycle"] == 0
    for name in ("rise_time", "fall_time", "threshold_transit_time", "slew_at_threshold"):
        assert math.isnan(out[name])
    assert math.isnan(out["crossing_delay"])


def test_the_worst_maker_counts() -> None:
    other = {"c1_p_max": 8.6, "c1_p_min": 6.0, "c1_n_max": 4.0, "c1_n_min": 1.4, "c1_h_min": 2.0}
    out = line_sense(run_of(smooth), {**ROW, **other, "v_high": 8.6, "v_low": 1.4})
    assert out["high_level_margin"] == pytest.approx(1.4)
    assert out["low_level_margin"] == pytest.approx(1.4)


@pytest.mark.parametrize(("height_v", "edges"), [(0.8, 1), (1.6, 2)])
def test_a_turn_back_beyond_the_least_hysteresis_is_a_second_edge(
    height_v: float, edges: int
) -> None:
    """1.2 V at the least: a dip of 1.6 V where V_P may lie passes a part of that hysteresis."""
    centre = 7.1 - height_v / 2 + 0.05
    assert line_sense(run_of(wiggling(height_v, centre)), ROW)["edges_per_cycle"] == edges


CHAIN = {
    **ROW,
    "v_half": 5.0,
    "v_p": 7.0,
    "v_n": 3.0,
    "p_max": 7.1,
    "n_min": 2.5,
    "h_min": 1.2,
    "t_state": 50e-9,
    "t_pd": 200e-9,
    "t_tr": 100e-9,
}
TIME = np.linspace(0, 1.5 * CYCLE_S, 6001)


def pin_only(pin: np.ndarray) -> Run:
    return Run(TIME, {"v(pin)": pin})


def test_chain_of_a_clean_cosine() -> None:
    """5 V + 5 V·cos: down through 3 V at acos(-0.4), up through 7 V at acos(0.4) before the end."""
    omega = 2 * math.pi / CYCLE_S
    out = chain(pin_only(smooth(TIME)), CHAIN)
    assert out["hysteresis_margin"] == pytest.approx(1.2)
    assert out["edges_per_cycle"] == 1
    assert out["t_pin_fall"] == pytest.approx(math.acos(-0.4) / omega, rel=1e-6)
    assert out["t_pin_rise"] == pytest.approx(CYCLE_S - math.acos(0.4) / omega, rel=1e-6)
    slew = omega * 5.0 * math.sqrt(1 - 0.16)
    delay = switching_delay_s(slew, 4.0, 50e-9, 200e-9)
    assert out["t_out_rise"] - out["t_pin_fall"] == pytest.approx(delay, rel=1e-4)
    assert out["t_out_fall"] - out["t_pin_rise"] == pytest.approx(delay, rel=1e-4)
    assert out["duty_cycle"] == pytest.approx(0.5, abs=1e-9)


def test_duty_cycle_follows_the_thresholds() -> None:
    """Up through 8 V later than through 7 V: the clock stays high longer."""
    share = 1 - (math.acos(-0.4) + math.acos(0.6)) / (2 * math.pi)
    out = chain(pin_only(smooth(TIME)), CHAIN | {"v_p": 8.0})
    assert out["duty_cycle"] == pytest.approx(share, abs=3e-5)  # and its delays differ


@pytest.mark.parametrize(("level", "share"), [(1.0, 1.0), (9.0, 0.0)])
def test_a_pin_that_never_passes_leaves_the_clock_where_it_is(level: float, share: float) -> None:
    out = chain(pin_only(0 * TIME + level), CHAIN)
    assert out["edges_per_cycle"] == 0
    assert out["duty_cycle"] == share
    for name in ("t_out_rise", "t_out_fall", "t_pin_rise", "t_pin_fall"):
        assert math.isnan(out[name])


def test_the_clock_drawn_passes_half_the_rail_when_it_is_said_to() -> None:
    run = pin_only(smooth(TIME))
    out, drawn = chain(run, CHAIN), with_clock(run, CHAIN)
    clock = drawn.trace("v(out)")
    assert clock.size == drawn.time.size == drawn.trace("v(pin)").size
    assert (np.diff(drawn.time) > 0).all()
    for name, rising in (("t_out_rise", True), ("t_out_fall", False)):
        assert first_crossing(drawn.time, clock, 5.0, rising) == pytest.approx(out[name], abs=1e-12)
        assert edge_time(drawn.time, clock, 1.0, 9.0, rising) == pytest.approx(100e-9, rel=1e-3)
    assert clock.min() == 0
    assert clock.max() == RAIL_V


def test_a_turn_back_eats_the_hysteresis_margin() -> None:
    pin = wiggling(0.8, 5.0)(TIME)
    turn = float(np.max(np.maximum.accumulate(pin[2000:4000]) - pin[2000:4000]))
    assert turn > 0.5
    assert chain(pin_only(pin), CHAIN)["hysteresis_margin"] == pytest.approx(1.2 - turn, abs=1e-6)


def test_ramp_that_never_switches() -> None:
    time = np.linspace(0, 0.04, 401)
    still = Run(time, {"v(pin)": np.minimum(time, 0.04 - time) * 500, "v(out)": 0 * time + 10.0})
    out = ramp(still, {"v_rail": RAIL_V, "v_half": 5.0, "t_top": 0.02})
    for name in ("threshold_rising", "hysteresis", "output_rise_time", "output_fall_time"):
        assert math.isnan(out[name])
