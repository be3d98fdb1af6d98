"""`check` on shipped designs with the real engine: contract, repeatability, the finer run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from analog.design import Design, parse_design, read_design
from analog.engine import Engine, open_engine
from analog.errors import InputError
from analog.results import results_schema, to_json
from analog.workflows import Checked, check, expectation_met, netlist
from analog.workflows.check import MOST_RUNS

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
MAT = SCENARIOS / "propagator-mat.toml"
DRAFT = SCENARIOS / "first-draft.toml"
FAST = ["line_sense", "reset"]


@pytest.fixture(scope="module")
def engine():
    with open_engine() as opened:
        yield opened


@pytest.fixture(scope="module")
def mat(engine: Engine) -> Checked:
    return check(MAT, engine, benches=FAST, fine=True)


def test_results_suit_the_shipped_schema(mat: Checked) -> None:
    data = json.loads(to_json(mat.results))
    Draft202012Validator(results_schema()).validate(data)
    assert [bench["bench"] for bench in data["benches"]] == FAST
    assert "cards/40106.toml" in data["inputs"]


def test_every_worst_lies_on_its_side_of_the_nominal(mat: Checked) -> None:
    for bench in mat.benches:
        worst = {measure.identifier: measure.worst for measure in bench.plan.measures}
        for row in bench.result.measures:
            assert row.samples > 0
            if row.worst is None or row.nominal is None or worst[row.measure] == "both":
                continue
            sign = 1.0 if worst[row.measure] == "max" else -1.0
            assert sign * (row.worst - row.nominal) >= -1e-12, row


def test_worst_case_holds_the_values_it_names(mat: Checked) -> None:
    for bench in mat.benches:
        for row in bench.result.measures:
            if row.worst is not None:
                case = bench.worst[row.measure]
                scene = bench.scene(case.scene).scene
                # What was only tried names more: a pulse's phase, a disturbance's level.
                tried = any(one.scene is scene for one in bench.trials)
                assert set(row.worst_at) >= set(scene.space.keys)
                assert tried or len(row.worst_at) == len(scene.space.keys)


def test_runs_are_counted_and_few_enough(mat: Checked) -> None:
    for bench in mat.results.benches:
        scenes = mat.bench(bench.bench).scenes
        searched = sum(scene.extremes.runs for scene in scenes)
        tried = bench.runs - searched
        assert searched < bench.runs if mat.bench(bench.bench).trials else tried == 0
        assert bench.runs <= MOST_RUNS
        assert bench.failed_runs == 0


def test_finer_simulation_agrees(mat: Checked, figure) -> None:
    """A tenth of the step and reltol 1e-6 move no measure by more than 0.5 % of its scale."""
    shares = {
        (row.bench, row.measure, row.case): abs(row.share)
        for row in mat.fine
        if row.share is not None
    }
    assert {case.split(":")[0] for _, _, case in shares} == {"nominal", "worst"}
    where = max(shares, key=shares.__getitem__)
    figure(f"largest difference {100 * shares[where]:.4f} % of the scale, {where}")
    assert shares[where] < 0.005


def test_same_design_gives_the_same_results_on_any_number_of_workers(mat: Checked) -> None:
    with open_engine(jobs=1) as single:
        again = check(MAT, single, benches=FAST)
    assert to_json(again.results) == to_json(mat.results)


def test_netlists_are_those_of_nominal_and_worst(mat: Checked) -> None:
    nominal = netlist(mat, "reset")
    worst = netlist(mat, "reset", "worst:hold_time")
    case = mat.bench("reset").worst["hold_time"]
    assert f".param c_reset={case.row['c_reset']!r}" in worst
    assert f".param c_reset={mat.bench('reset').scenes[0].nominal.row['c_reset']!r}" in nominal
    with pytest.raises(KeyError, match="worst:release_time"):
        netlist(mat, "reset", "worst:beauty")
    with pytest.raises(KeyError):
        netlist(mat, "line_sense", scene="no such scene")


def test_progress_rises_to_the_number_of_runs(engine: Engine) -> None:
    told: list[tuple[str, int, int]] = []
    checked = check(MAT, engine, benches=["reset"], progress=lambda *report: told.append(report))
    done = [runs for _, runs, _ in told]
    assert done == sorted(done)
    assert done[-1] == checked.results.benches[0].runs
    assert {most for _, _, most in told} == {MOST_RUNS}


def test_first_draft_fails_where_nothing_releases_the_reset(engine: Engine) -> None:
    checked = check(DRAFT, engine, benches=["reset"])
    (bench,) = checked.results.benches
    verdicts = {row.measure: row.verdict for row in bench.measures}
    assert verdicts["release_level_margin"] == "fail"
    assert checked.results.verdict == "fail"
    never = next(row for row in bench.measures if row.measure == "release_time")
    assert never.worst is None
    assert "never happens" in never.reason


def with_limit(text: str) -> Design:
    return parse_design(MAT.read_text() + "\n[[limits]]\n" + text, "own.toml")


def test_own_limit_is_judged_with_its_reason(engine: Engine) -> None:
    design = with_limit('measure = "reset.release_time"\nmaximum = "1 s"\nreason = "user waits"\n')
    checked = check(design, engine, benches=["reset"])
    row = next(r for r in checked.results.benches[0].measures if r.measure == "release_time")
    assert row.verdict == "fail"
    assert row.limit is not None
    assert (row.limit.id, row.limit.max, row.limit.source) == (
        "user",
        1.0,
        "the design: user waits",
    )
    assert expectation_met(checked.results)[0] is False


@pytest.mark.parametrize(
    ("limit", "rule"),
    [
        ('measure = "reset.beauty"\nmaximum = 1\nreason = "no"\n', "no such measure"),
        ('measure = "reset.hold_time"\nminimum = "1 V"\nreason = "no"\n', "in V, the measure in s"),
    ],
)
def test_limit_that_suits_no_measure_is_refused_where_it_stands(
    limit: str, rule: str, engine: Engine
) -> None:
    with pytest.raises(InputError, match=rule) as caught:
        check(with_limit(limit), engine, benches=["reset"])
    (problem,) = caught.value.problems
    assert problem.line == len(MAT.read_text().splitlines()) + 3


def test_bench_the_design_does_not_have_is_refused(engine: Engine) -> None:
    with pytest.raises(InputError, match="no such bench"):
        check(read_design(MAT), engine, benches=["oven"])
