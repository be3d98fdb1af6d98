"""Edges too many and too few, told apart by where in the cycle they are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analog.benches.edge_counts import counts, cycles, strays
from analog.engine import Run

ROW = {"f_mains": 50.0, "wanted": 1.0, "phase": 0.8, "t_from": 0.0, "t_to": 0.2}
DUE = [0.016 + 0.02 * k for k in range(10)]


def test_clean_edges_are_neither() -> None:
    found = strays(DUE, ROW)
    assert (found.extra, found.missing) == (0, 0)
    assert math.isnan(found.t_extra)
    assert math.isnan(found.t_missing)


def test_one_more_and_one_less_are_told_apart() -> None:
    """The number of edges is right, and yet the counter has slipped twice."""
    edges = sorted([*DUE[:6], *DUE[7:], DUE[2] + 0.004])
    found = strays(edges, ROW)
    assert len(edges) == len(DUE)
    assert (found.extra, found.missing) == (1, 1)
    assert found.t_extra == pytest.approx(DUE[2] + 0.004)
    assert found.t_missing == pytest.approx(DUE[6])


def test_edges_that_move_by_less_than_half_a_cycle_stay_theirs() -> None:
    moved = [moment + 0.009 * (-1) ** k for k, moment in enumerate(DUE)]
    assert strays(moved, ROW)[:2] == (0, 0)


def test_two_edges_a_cycle() -> None:
    row = ROW | {"wanted": 2.0, "phase": 0.1}
    edges = [0.002 + 0.01 * k for k in range(20)]
    assert strays(edges, row)[:2] == (0, 0)
    assert strays(edges[::2], row)[:2] == (0, 10)


def test_a_changing_frequency_is_followed() -> None:
    """60 Hz steps to 54 Hz within 0.1 s: each whole cycle since then still has its edge."""
    row = ROW | {"f_mains": 60.0, "phase": 0.0, "t_changes": 0.1, "t_change": 0.1}
    row |= {"f_change": -6.0, "t_to": 1.0}
    time = np.linspace(0.0, 1.1, 200_001)
    passed = cycles(time, row)
    ramp = np.clip((time - 0.1) / 0.1, 0, 1)
    slow = np.cumsum(60.0 - 6.0 * ramp) * (time[1] - time[0])
    assert passed == pytest.approx(slow, abs=1e-3)
    edges = np.interp(np.arange(56), passed, time)
    assert strays(edges.tolist(), row)[:2] == (0, 0)
    assert strays(edges.tolist(), row | {"f_change": 0.0})[0:2] != (0, 0)


def test_the_worst_part_counts() -> None:
    """A dip of 2 V on a rising edge: an edge more for a hysteresis of 1 V, none for 3 V."""
    time = np.array([0.0, 0.004, 0.008, 0.009, 0.010, 0.016, 0.020])
    pin = np.array([0.0, 0.0, 6.0, 4.0, 8.0, 8.0, 0.0])
    row = ROW | {"t_to": 0.02, "phase": 0.3}
    row |= {"typ0_p": 5.5, "typ0_n": 2.5, "part0_p": 5.5, "part0_n": 2.5}
    row |= {"part1_p": 5.5, "part1_n": 4.5}
    found = counts(Run(time, {"v(pin)": pin}, {}), row)
    assert (found["extra_typical"], found["extra"], found["part_extra"]) == (0, 1, 1)
    assert found["missing"] == 0
    assert found["edges_per_cycle"] == 1


def test_a_span_that_holds_no_cycle_is_refused() -> None:
    with pytest.raises(ValueError, match="shorter than a cycle"):
        strays(DUE, ROW | {"t_from": 0.001, "t_to": 0.006})
