"""Levels of the mains disturbances, and how a delivered figure is held against what was asked.

EN 50160 (harmonics, THD 8 %, signal voltages), IEC 60146-1-1 (class B notches of 40 % and
250 %·degrees), from memory.
"""

from __future__ import annotations

import math

import pytest

from analog.benches import disturbances_fast as fast
from analog.benches.disturbance_levels import (
    HARMONICS,
    THD_LIMIT,
    landmarks,
    net_width_s,
    notch_width_s,
    scaled_harmonics,
    signal_share,
)
from analog.benches.disturbances import Delivered, onset, times
from analog.benches.disturbances_slow import Line
from analog.circuits.disturbances import RING_WAVE, SURGE_VOLTAGE
from analog.circuits.record import Circuit
from analog.design.record import Mains

LINE = Line(Circuit("none", ()), (), 90.0, Mains(voltage=230.0, frequency=50.0))


def test_harmonics_are_scaled_alike_to_the_thd_limit() -> None:
    orders = (3, 5, 7, 9, 11, 13)
    shares = scaled_harmonics(orders)
    assert math.hypot(*shares.values()) == pytest.approx(THD_LIMIT)
    ratios = {shares[order] / HARMONICS[order] for order in orders}
    assert max(ratios) == pytest.approx(min(ratios))
    assert max(ratios) < 1.0


@pytest.mark.parametrize(
    ("hertz", "share"), [(50, 0.09), (110, 0.09), (500, 0.09), (1000, 0.05), (3000, 0.05)]
)
def test_signal_voltages(hertz: float, share: float) -> None:
    assert signal_share(hertz) == pytest.approx(share)


def test_signals_fall_between_half_and_one_kilohertz() -> None:
    assert signal_share(500 * math.sqrt(2)) == pytest.approx(math.sqrt(0.09 * 0.05))


def test_a_notch_has_the_area_of_its_class() -> None:
    """250 %·degrees at 40 % are 6.25 degrees: 347 µs at 50 Hz."""
    assert notch_width_s(50.0) == pytest.approx(347.2e-6, rel=1e-3)


def test_net_widths() -> None:
    """1.2/50 µs: a·t2²/(t1 + t2) by hand, 70.3 µs; a ring wave leaves next to nothing."""
    t1, t2 = 0.4074e-6, 68.22e-6
    assert net_width_s(SURGE_VOLTAGE) == pytest.approx(1.037 * t2**2 / (t1 + t2), rel=2e-3)
    assert net_width_s(RING_WAVE) < 0.5e-6
    assert {mark.words for mark in landmarks(230.0, 50.0)} == {
        "surge 1 kV",
        "ring wave 1 kV",
        "notch",
    }


def test_a_figure_holds_within_its_share() -> None:
    peak = Delivered("wave_peak", "peak", "v_wave", 0.02, "V")
    assert peak.holds(985.0, {"v_wave": -1000.0})
    assert not peak.holds(970.0, {"v_wave": 1000.0})
    assert not peak.holds(math.nan, {"v_wave": 1000.0})
    assert Delivered("error", "error", 0.0, 1e-3, "1").holds(5e-4, {})


@pytest.mark.parametrize("start_deg", [90.0, 0.0, 270.0])
@pytest.mark.parametrize("angle", [0.0, 90.0, 180.0, 270.0])
def test_a_strike_meets_its_angle(angle: float, start_deg: float) -> None:
    row = {"f_mains": 60.0, "t_start": 2 / 60.0}
    moment = onset(row, angle, start_deg)
    turned = (360.0 * 60.0 * moment + start_deg) % 360.0
    assert (turned - angle + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
    assert 0.2 / 60 <= moment - row["t_start"] < 1.2 / 60 + 1e-9
    assert times(row, 0.1, 0.2)["t_stop"] > 0.2


@pytest.mark.parametrize("peak_v", [0.0, -500.0, math.nan])
def test_a_disturbance_without_height_is_refused(peak_v: float) -> None:
    with pytest.raises(ValueError, match="no disturbance"):
        fast._strikes(LINE, fast.Transformer(1e-3, 30e-12, 0.1), peak_v, ((0.0, 1.0, False),), 0.0)
