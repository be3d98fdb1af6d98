"""Waveform functions on traces whose answers are known beforehand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analog.measures import (
    crossings,
    edge_time,
    first_crossing,
    fundamental,
    largest_reversal,
    mean,
    peak,
    rms,
    schmitt_edges,
    slope_at,
    window,
)


def line(*points: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return time and trace of a polygon."""
    return np.array([p[0] for p in points], dtype=float), np.array([p[1] for p in points], float)


def sine(frequency_hz: float = 50.0, amplitude: float = 17.0, cycles: float = 2.0, n: int = 4001):
    time = np.linspace(0, cycles / frequency_hz, n)
    return time, amplitude * np.sin(2 * np.pi * frequency_hz * time)


class TestCrossings:
    def test_straight_line_is_crossed_at_its_exact_time(self):
        time, trace = line((0, 0), (4, 8))
        assert crossings(time, trace, 3.0).tolist() == [1.5]

    def test_direction_selects(self):
        time, trace = line((0, 0), (1, 2), (2, 0), (3, 2))
        assert crossings(time, trace, 1.0, rising=True).tolist() == [0.5, 2.5]
        assert crossings(time, trace, 1.0, rising=False).tolist() == [1.5]
        assert crossings(time, trace, 1.0).tolist() == [0.5, 1.5, 2.5]

    def test_sample_on_the_level_is_crossed_once(self):
        time, trace = line((0, 0), (1, 1), (2, 2))
        assert crossings(time, trace, 1.0).tolist() == [1.0]

    def test_flat_stretch_on_the_level_is_crossed_once(self):
        time, trace = line((0, 0), (1, 1), (2, 1), (3, 2))
        assert crossings(time, trace, 1.0).tolist() == [1.0]

    def test_level_never_reached_gives_nothing(self):
        time, trace = line((0, 0), (1, 1))
        assert crossings(time, trace, 2.0).size == 0
        assert math.isnan(first_crossing(time, trace, 2.0))

    def test_first_crossing_respects_after(self):
        time, trace = line((0, 0), (1, 2), (2, 0), (3, 2))
        assert first_crossing(time, trace, 1.0, after=1.0) == 2.5

    def test_every_crossing_of_a_sine(self):
        time, trace = sine(cycles=3)
        angle = math.asin(2.9 / 17.0) / (2 * math.pi * 50)
        expected = [angle, angle + 0.02, angle + 0.04]
        assert crossings(time, trace, 2.9, rising=True) == pytest.approx(expected, abs=2e-8)

    def test_cubic_is_far_closer_on_a_coarse_sine(self):
        time, trace = sine(cycles=2, n=81)
        expected = math.asin(13.0 / 17.0) / (2 * math.pi * 50)
        straight = crossings(time, trace, 13.0, rising=True)[0] - expected
        cubic = crossings(time, trace, 13.0, rising=True, smooth=True)[0] - expected
        assert abs(straight) > 5e-6
        assert abs(cubic) < abs(straight) / 20

    def test_cubic_is_exact_for_a_cubic_at_uneven_steps(self):
        time = np.array([0.0, 0.2, 0.5, 1.1, 1.2])
        found = crossings(time, time**3 + time, 0.8**3 + 0.8, smooth=True)
        assert found.tolist() == pytest.approx([0.8], abs=1e-8)

    def test_cubic_stays_inside_its_segment_beside_a_jump(self):
        time, trace = line((0, 0), (1, 0), (1.01, 10), (2, 10), (3, -5))
        assert 1.0 <= crossings(time, trace, 5.0, rising=True, smooth=True)[0] <= 1.01

    def test_cubic_at_the_ends_of_the_record(self):
        time, trace = line((0, 0), (1, 2))
        assert crossings(time, trace, 1.0, smooth=True).tolist() == pytest.approx([0.5])


class TestEdges:
    def test_ramp(self):
        time, trace = line((0, 0), (1, 10))
        assert edge_time(time, trace, 1.0, 9.0) == pytest.approx(0.8)

    def test_falling_ramp(self):
        time, trace = line((0, 10), (2, 0))
        assert edge_time(time, trace, 1.0, 9.0, rising=False) == pytest.approx(1.6)

    def test_failed_attempt_is_not_timed(self):
        time, trace = line((0, 0), (1, 5), (2, 0), (3, 10))
        assert edge_time(time, trace, 1.0, 9.0) == pytest.approx(0.8)

    def test_dip_within_the_edge_counts_as_part_of_it(self):
        time, trace = line((0, 0), (1, 5), (2, 4), (3, 10))
        assert edge_time(time, trace, 1.0, 9.0) == pytest.approx(3 - 1 / 6 - 0.2)

    def test_level_not_reached_is_nan(self):
        time, trace = line((0, 0), (1, 8))
        assert math.isnan(edge_time(time, trace, 1.0, 9.0))
        assert math.isnan(edge_time(time, trace, -1.0, 9.0))

    def test_after_skips_the_first_edge(self):
        time, trace = line((0, 0), (1, 10), (2, 0), (4, 10))
        assert edge_time(time, trace, 1.0, 9.0, after=0.5) == pytest.approx(1.6)

    def test_slope_of_a_parabola_is_exact_at_uneven_steps(self):
        time = np.array([0.0, 0.1, 0.35, 0.4, 0.9, 1.0])
        moment = 0.37
        assert slope_at(time, time**2, moment**2) == pytest.approx(2 * moment, rel=0.01)

    def test_slope_sign_follows_direction(self):
        time, trace = sine()
        assert slope_at(time, trace, 0.5, rising=False) < 0 < slope_at(time, trace, 0.5)


class TestAverages:
    def test_rms_and_mean_of_whole_cycles(self):
        time, trace = sine()
        assert rms(time, trace) == pytest.approx(17 / math.sqrt(2), rel=1e-6)
        assert mean(time, trace) == pytest.approx(0, abs=1e-12)

    def test_uneven_steps_do_not_weigh(self):
        time, trace = line((0, 1), (0.001, 1), (0.002, 1), (10, 1))
        assert (mean(time, trace), rms(time, trace)) == pytest.approx((1, 1))

    def test_rms_of_a_sawtooth_is_exact(self):
        time, trace = line((0, 0), (3, 6))
        assert rms(time, trace) == pytest.approx(6 / math.sqrt(3), rel=1e-12)

    def test_peak_is_a_magnitude(self):
        assert peak(np.array([1.0, -3.0, 2.0])) == 3.0

    def test_window_interpolates_its_ends(self):
        time, trace = window(*line((0, 0), (10, 20)), 2.5, 7.0)
        assert (time.tolist(), trace.tolist()) == ([2.5, 7.0], [5.0, 14.0])

    def test_window_outside_the_record_is_refused(self):
        with pytest.raises(ValueError, match="not inside"):
            window(*line((0, 0), (1, 1)), 0.5, 2.0)

    def test_fundamental_finds_amplitude_and_phase_beside_offset_and_harmonic(self):
        time = np.linspace(0, 0.07, 7001)
        trace = 1.5 + 2 * np.sin(2 * np.pi * 50 * time - 0.3) + 0.7 * np.sin(2 * np.pi * 150 * time)
        found = fundamental(time, trace, 50.0)
        assert abs(found) == pytest.approx(2, rel=1e-4)
        assert np.angle(found) == pytest.approx(-0.3, abs=1e-4)

    def test_fundamental_needs_a_cycle(self):
        with pytest.raises(ValueError, match="shorter"):
            fundamental(*sine(cycles=0.5), 50.0)


class TestHysteresis:
    def test_one_edge_each_per_cycle(self):
        edges = schmitt_edges(*sine(cycles=3), v_p=5.9, v_n=3.9)
        assert (edges.rising.size, edges.falling.size) == (3, 3)

    def test_wiggle_inside_the_band_makes_no_edge(self):
        time, trace = line((0, 0), (1, 6), (2, 4), (3, 6), (4, 0))
        edges = schmitt_edges(time, trace, v_p=5.0, v_n=3.0)
        assert (edges.rising.size, edges.falling.size) == (1, 1)

    def test_same_wiggle_makes_two_edges_without_hysteresis(self):
        time, trace = line((0, 0), (1, 6), (2, 4), (3, 6), (4, 0))
        assert schmitt_edges(time, trace, v_p=5.0, v_n=5.0).rising.size == 2

    def test_start_between_the_thresholds_is_not_an_edge(self):
        time, trace = line((0, 4), (1, 6), (2, 0), (3, 6))
        edges = schmitt_edges(time, trace, v_p=5.0, v_n=3.0)
        assert (edges.rising.size, edges.falling.size) == (1, 1)

    def test_crossed_thresholds_are_refused(self):
        with pytest.raises(ValueError, match="below"):
            schmitt_edges(*sine(), v_p=3.0, v_n=4.0)

    def test_monotone_passage_has_no_reversal(self):
        assert largest_reversal(np.linspace(0, 10, 50), 3, 7) == 0

    def test_reversal_on_the_way_up_and_down(self):
        assert largest_reversal(np.array([0.0, 5, 4, 10]), 3, 7) == 1
        assert largest_reversal(np.array([10.0, 4, 5.5, 0]), 3, 7) == 1.5

    def test_reversal_outside_the_band_does_not_count(self):
        assert largest_reversal(np.array([0.0, 2, 1, 10, 8, 10]), 3, 7) == 0

    def test_reversal_is_cut_at_the_band(self):
        assert largest_reversal(np.array([0.0, 8, 6.5, 10]), 3, 7) == 0.5

    def test_crest_in_the_band_counts_whole(self):
        assert largest_reversal(np.array([0.0, 6, 0]), 3, 7) == 3

    def test_trough_in_the_band_counts_whole(self):
        assert largest_reversal(np.array([10.0, 4, 10]), 3, 7) == 3

    def test_never_leaving_the_band_counts_both_ways(self):
        assert largest_reversal(np.array([4.0, 6, 5, 6.5]), 3, 7) == 2.5
