"""The reported worst of every bench, held against corners, random faces and another optimiser.

Nothing any of the three finds may lie beyond the reported worst by more than 0.5 % of the
measure's scale. With --full: all corners (2^12 and the corners of the joint threshold region),
1 000 face-biased points per scene, and differential evolution for every measure of every scene,
on three designs. Without: a seeded sample, of one bench on each of three circuits.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from extremes_challenge import Challenge

from analog.design import read_design
from analog.engine import Engine, open_engine
from analog.workflows.check import MOST_RUNS, check_bench, make_plans

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
DESIGNS = {
    "propagator-mat": SCENARIOS / "propagator-mat.toml",
    "first-draft": SCENARIOS / "first-draft.toml",
    "ceramic": Path(__file__).with_name("ceramic.toml"),
}
BENCHES = ("line_sense", "conditioner", "reset", "gate_drive", "supply")
ALL = [(design, bench) for design in DESIGNS for bench in BENCHES]
FEW = [("propagator-mat", bench) for bench in ("line_sense", "supply")] + [("ceramic", "reset")]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "bench" in metafunc.fixturenames:
        chosen = ALL if metafunc.config.getoption("--full") else FEW
        chosen = [pair for pair in chosen if pair != ("first-draft", "conditioner")]  # has none
        metafunc.parametrize(("design", "bench"), chosen)


@pytest.fixture(scope="module")
def engine():
    with open_engine() as opened:
        yield opened


def test_nothing_found_otherwise_is_worse(
    design: str, bench: str, engine: Engine, counts, figure
) -> None:
    record = read_design(DESIGNS[design])
    (plan,) = make_plans(record, [bench])
    checked = check_bench(plan, record, engine)
    assert checked.result.runs <= MOST_RUNS
    challenge, random = Challenge(checked, engine), np.random.default_rng(20)
    number = challenge.by_corners(counts(24, 20_000), random)
    challenge.by_faces(counts(24, 1000), random)
    challenge.by_optimiser(counts(1, 25), counts(1, None), seed=20)
    figure(
        f"{checked.result.runs} runs searched; {challenge.runs} runs held against them, {number} "
        f"of them corners; largest excess {100 * challenge.largest:.3f} % of a scale"
    )
    assert challenge.failed == 0
    assert not challenge.beaten, "\n".join(map(str, challenge.beaten[:10]))


def test_a_search_cut_short_is_caught(engine: Engine) -> None:
    """The challenge can fail: it finds worse than a search that ran the nominal alone."""
    record = read_design(DESIGNS["propagator-mat"])
    (plan,) = make_plans(record, ["reset"])
    checked = check_bench(plan, record, engine, most_runs=len(plan.scenes))
    assert checked.result.runs == len(plan.scenes)
    challenge = Challenge(checked, engine)
    challenge.by_corners(16, np.random.default_rng(20))
    assert {one.measure for one in challenge.beaten} >= {"hold_time", "release_level_margin"}
