"""What must hold for the waveform functions whatever the trace."""

from __future__ import annotations

import itertools
import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analog.measures import (
    crossings,
    edge_time,
    first_crossing,
    largest_reversal,
    mean,
    rms,
    schmitt_edges,
    window,
)

LEVELS = st.floats(-20, 20, allow_nan=False).map(lambda value: round(value, 3))


@st.composite
def traces(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """Return rising times and any trace at them."""
    steps = draw(st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=40))
    time = np.concatenate(([0.0], np.cumsum(steps)))
    values = draw(st.lists(LEVELS, min_size=len(time), max_size=len(time)))
    return time, np.array(values)


@given(traces(), LEVELS)
def test_crossings_alternate_and_lie_inside_the_record(record, level):
    time, trace = record
    up, down = (crossings(time, trace, level, rising) for rising in (True, False))
    assert abs(up.size - down.size) <= 1
    both = crossings(time, trace, level)
    assert both.tolist() == sorted([*up, *down])
    assert np.all((both >= time[0]) & (both <= time[-1]))
    directions = [moment in up for moment in both]
    assert all(a != b for a, b in itertools.pairwise(directions) if both.size == len(set(both)))


@given(traces(), LEVELS)
def test_a_cubic_crossing_stays_in_its_segment(record, level):
    time, trace = record
    cubic = crossings(time, trace, level, smooth=True)
    segments = np.flatnonzero(np.diff((trace >= level).astype(int)))
    assert cubic.size == segments.size
    assert np.all(cubic >= time[segments])
    assert np.all(cubic <= time[segments + 1] + 1e-12)


@given(traces(), LEVELS, st.floats(-5, 5))
def test_shifting_time_shifts_crossings(record, level, shift):
    time, trace = record
    moved = crossings(time + shift, trace, level)
    assert np.allclose(moved - shift, crossings(time, trace, level), atol=1e-9)


@given(traces(), LEVELS, LEVELS)
def test_an_edge_is_never_negative_and_needs_both_levels(record, one, other):
    time, trace = record
    low, high = min(one, other), max(one, other)
    for rising in (True, False):
        edge = edge_time(time, trace, low, high, rising)
        reached = not math.isnan(first_crossing(time, trace, high if rising else low, rising))
        assert math.isnan(edge) or (edge >= 0 and reached)


@given(traces(), LEVELS, LEVELS)
def test_a_falling_edge_is_the_rising_edge_of_the_mirrored_trace(record, one, other):
    time, trace = record
    low, high = min(one, other), max(one, other)
    # Touching counts as above, so keep the levels off the samples.
    low, high = low - 0.0005, high + 0.0005
    falling = edge_time(time, trace, low, high, rising=False)
    mirrored = edge_time(time, -trace, -high, -low, rising=True)
    assert (math.isnan(falling) and math.isnan(mirrored)) or math.isclose(
        falling, mirrored, rel_tol=1e-6, abs_tol=1e-9
    )


@given(traces(), LEVELS, LEVELS)
def test_schmitt_edges_alternate(record, one, other):
    edges = schmitt_edges(*record, v_p=max(one, other), v_n=min(one, other))
    assert abs(edges.rising.size - edges.falling.size) <= 1
    assert np.all(np.diff(edges.rising) >= 0)
    assert np.all(np.diff(edges.falling) >= 0)


@given(traces(), LEVELS, LEVELS, st.floats(0.001, 5))
def test_more_hysteresis_never_makes_more_edges(record, one, other, more):
    v_p, v_n = max(one, other), min(one, other)
    narrow = schmitt_edges(*record, v_p=v_p, v_n=v_n).rising.size
    wide = schmitt_edges(*record, v_p=v_p + more, v_n=v_n - more).rising.size
    assert wide <= narrow


@given(traces(), LEVELS, LEVELS)
def test_a_reversal_lies_between_nothing_and_the_band(record, one, other):
    low, high = min(one, other), max(one, other)
    reversal = largest_reversal(record[1], low, high)
    assert 0 <= reversal <= high - low + 1e-12


@given(traces(), LEVELS, LEVELS)
def test_no_reversal_as_large_as_the_hysteresis_means_no_extra_edge(record, one, other):
    """Between two edges of one direction the trace has crossed the whole band both ways."""
    low, high = min(one, other), max(one, other)
    edges = schmitt_edges(*record, v_p=high, v_n=low)
    swing = np.ptp(record[1])
    assert edges.rising.size + edges.falling.size == 0 or swing >= high - low - 1e-9


@given(traces())
def test_rms_is_at_least_the_mean_and_at_most_the_peak(record):
    time, trace = record
    assert abs(mean(time, trace)) <= rms(time, trace) * (1 + 1e-9) + 1e-12
    assert rms(time, trace) <= np.max(np.abs(trace)) * (1 + 1e-9) + 1e-12


@given(traces(), st.floats(0.05, 0.45), st.floats(0.55, 0.95))
def test_a_window_keeps_the_trace(record, start, stop):
    time, trace = record
    first, last = start * time[-1], stop * time[-1]
    cut_time, cut = window(time, trace, first, last)
    assert cut_time[0] == first
    assert cut_time[-1] == last
    assert np.allclose(cut, np.interp(cut_time, time, trace))
