"""The benchmark's arithmetic: which settings are tried, what counts as exact, what is reported."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

import analog
from analog.benchmark import SUBJECTS, Comparison, Subject
from analog.benchmark.exactness import Sample, Usual, candidates, error_share
from analog.benchmark.subjects import usual_experiment, usual_row
from analog.benchmark.summary import GOALS, Side, as_object, as_text
from analog.circuits.record import Sine, Transient
from analog.design import read_design

DESIGN = read_design(Path(analog.__file__).parent / "scenarios" / "propagator-mat.toml")
SIDE = Side("ngspice 39", 2, 0.5, 1e-5)


def comparison(bench: str, ratio: float, recipe: float, overhead_s: float = 5e-5) -> Comparison:
    return Comparison(
        bench=bench,
        scene="scene",
        usual=Usual(3, 5e-5, 1e-3),
        usual_error=0.9,
        own_error=0.5,
        verified=60,
        ratio=ratio,
        ratio_cpu=ratio,
        same_recipe=recipe,
        same_recipe_cpu=recipe,
        usual_s=1e-2,
        own_s=1e-3,
        floor=4e-4,
        overhead=overhead_s,
        cores=2,
    )


def subject(bench: str) -> Subject:
    return next(one for one in SUBJECTS if one.bench == bench)


def test_means_minima_and_goals() -> None:
    found = as_object([comparison("a", 2.0, 1.0), comparison("b", 32.0, 16.0)], SIDE)
    assert found["ratio_geomean"] == pytest.approx(8.0)
    assert found["ratio_min"] == 2.0
    assert found["same_recipe_geomean"] == pytest.approx(4.0)
    assert found["benches"]["b"]["ratio"] == 32.0
    assert found["benches"]["b"]["floor"] == 4e-4
    assert found["overhead_ok"] is True
    assert found["goals_met"] == {
        "ratio_geomean": False,
        "ratio_min": False,
        "same_recipe_geomean": True,
        "same_recipe_min": False,
    }
    assert json.loads(json.dumps(found)) == found


@pytest.mark.parametrize(("overhead_s", "holds"), [(9e-5, True), (1.1e-4, False), (2e-4, False)])
def test_overhead_may_be_a_tenth_or_a_tenth_of_a_millisecond(
    overhead_s: float, holds: bool
) -> None:
    short = comparison("a", 2.0, 2.0, overhead_s)  # ngspice itself takes 0.8 ms
    assert short.overhead_ok is holds
    assert replace(short, floor=5e-3).overhead_ok is True


def test_the_table_says_what_is_missed() -> None:
    text = as_text([comparison("a", 20.0, 2.0, 1e-3)], SIDE)
    assert "ratio_geomean 20.00, goal 15: met" in text
    assert "same_recipe_geomean 2.00, goal 2.5: missed" in text
    assert "overhead at most 10 % or 0.1 ms: missed" in text
    assert "125 % missed" in text
    assert len(GOALS) == 4


def test_steps_come_in_the_1_2_5_series_before_tolerances() -> None:
    tried = list(candidates(2, 1e-3, 1e-5))
    first = [usual.step_s for usual in tried if usual.reltol == 1e-3]
    assert first == pytest.approx([1e-3, 5e-4, 2e-4, 1e-4, 5e-5, 2e-5, 1e-5])
    assert [usual.reltol for usual in tried] == sorted(
        (usual.reltol for usual in tried), reverse=True
    )


def test_errors_are_shares_of_what_is_allowed() -> None:
    rows = {"v_rail": 10.0}
    exact = {
        "t_high": 1e-2,
        "t_low": 2e-3,
        "rise_time": 5e-3,  # allows 5 µs
        "fall_time": 1e-4,  # allows 1 µs
        "pin_peak": 9.0,  # allows 10 mV
        "pin_trough": 0.5,
    }
    line, sample = subject("line_sense"), Sample(rows, exact)
    assert error_share(line, exact, sample) == 0
    assert error_share(line, {**exact, "t_high": 1e-2 + 2.5e-6}, sample) == pytest.approx(0.5)
    assert error_share(line, {**exact, "fall_time": 1.02e-4}, sample) == pytest.approx(2.0)
    assert error_share(line, {**exact, "pin_peak": 9.02}, sample) == pytest.approx(2.0)
    # Moments are shifted, intervals are not.
    later = {**exact, "t_high": 0.11, "t_low": 0.102}
    assert error_share(line, later, sample, 0.1) == pytest.approx(0.0, abs=1e-9)


def test_what_never_happened_must_never_have_happened() -> None:
    exact = {"t_out_rise": math.nan, "t_out_fall": 1e-3, "pin_rise": 1e-3, "pin_fall": 1e-3}
    chain, sample = subject("conditioner"), Sample({}, exact)
    assert error_share(chain, {"t_out_fall": 1e-3}, sample) == 0
    assert error_share(chain, {"t_out_fall": 1e-3, "t_out_rise": 2e-3}, sample) == math.inf
    assert error_share(chain, {}, sample) == math.inf


@pytest.mark.parametrize("one", SUBJECTS, ids=lambda one: one.bench)
def test_the_usual_way_is_the_same_circuit_at_default_settings(one: Subject) -> None:
    scene = one.find_whole(DESIGN)
    usual, own = usual_experiment(one, scene, 1e-4, 1e-3), scene.experiment
    analysis = usual.analysis
    assert isinstance(analysis, Transient)
    assert (analysis.method, analysis.trtol, analysis.abstol, analysis.vntol) == (
        "trap",
        7.0,
        1e-12,
        1e-6,
    )
    assert not analysis.initial
    assert usual.circuit.libraries == own.circuit.libraries
    assert usual.circuit.models == own.circuit.models
    for theirs, ours in zip(usual.circuit.elements, own.circuit.elements, strict=True):
        if not isinstance(ours.value, Sine):
            assert theirs == ours


def test_the_usual_way_starts_at_a_zero_of_the_mains() -> None:
    line = subject("line_sense")
    usual = usual_experiment(line, line.find(DESIGN), 1e-4, 1e-3)
    sines = [part.value for part in usual.circuit.elements if isinstance(part.value, Sine)]
    assert [sine.phase_deg for sine in sines] == [0.0]
    row = {"f_mains": 50.0, "t_start": 0.02, "t_quarter": 0.025, "t_end": 0.045}
    row |= {"t_record": 0.0196, "t_stop": 0.05}
    shifted, later_s = usual_row(line, row, 5)
    assert later_s == pytest.approx(5.25 / 50 - 0.02)  # the crest after five whole cycles
    assert shifted["t_start"] == pytest.approx(0.105)
    assert shifted["t_stop"] - shifted["t_start"] == pytest.approx(0.03)
    assert shifted["t_record"] == 0.0
