"""Noise immunity of whole designs: what is found holds in a finer simulation."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from model_rows import run_rows

from analog.benches.noisy_edge import TITLE as EDGE_TITLE
from analog.benches.trials import Trials, trials_in
from analog.design import parse_design
from analog.engine import Engine, open_engine, refined
from analog.render.immunityview import TITLE
from analog.render.page import report_page
from analog.workflows import Checked, CheckedBench, check, netlist
from analog.workflows.trials import run_trials

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
NOISE = "noise_immunity"

Values = Mapping[str, np.ndarray]

LIMIT = """
[[limits]]
measure = "conditioner.noise_immunity"
minimum = "{least} V"
reason = "the relay beside the board"
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


@pytest.fixture(scope="module")
def checked(engine: Engine) -> Checked:
    return check(SCENARIOS / "first-draft.toml", engine, benches=["conditioner"])


@pytest.fixture(scope="module")
def draft(checked: Checked) -> CheckedBench:
    return checked.bench("conditioner")


def test_the_pulse_found_makes_its_edge_and_a_smaller_one_does_not(
    engine: Engine, draft: CheckedBench
) -> None:
    """Simulated with a tenth of the step; 4 % is what the search may be off."""
    worst = draft.worst[NOISE]
    experiment = refined(draft.scene(worst.scene).scene.experiment)
    rows = [{**worst.row, "v_noise": worst.row["v_noise"] * share} for share in (1.04, 0.9)]
    extra = run_rows(engine, experiment, rows)["extra"]
    assert extra[0] >= 1
    assert extra[1] == 0


def test_a_part_without_hysteresis_is_judged_at_the_clocked_input(draft: CheckedBench) -> None:
    (row,) = [row for row in draft.result.measures if row.measure == NOISE]
    assert row.verdict is None
    assert row.worst is not None
    assert row.nominal is not None
    assert 0.5 < row.worst < row.nominal < 20.0
    assert "from V_IL to V_IH" in row.reason
    assert draft.result.runs < 1500


@pytest.mark.parametrize(("least", "verdict"), [(0.5, "pass"), (50.0, "fail")])
def test_a_limit_of_the_user_is_judged(engine: Engine, least: float, verdict: str) -> None:
    text = (SCENARIOS / "first-draft.toml").read_text(encoding="utf-8")
    design = parse_design(text + LIMIT.format(least=least), "noisy.toml")
    checked = check(design, engine, benches=["conditioner"])
    rows = checked.results.benches[0].measures
    assert [row.verdict for row in rows if row.measure == NOISE] == [verdict]
    assert netlist(checked, "conditioner", f"worst:{NOISE}").count("VNOISE ") == 1


def test_the_page_shows_curve_edge_and_disturbances(engine: Engine, checked: Checked) -> None:
    page = report_page(checked, engine, "2026-11-25", ())
    for title in (TITLE, EDGE_TITLE, "Mains disturbances"):
        assert title.replace("'", "&#39;") in page
    words = page.replace("\N{NO-BREAK SPACE}", " ")
    for word in ("surge 1 kV", "signals on the mains", "Fast burst, 5 kHz", "pulses 75 of 75"):
        assert word in words
    assert words.count("times the level") > 10


def test_lost_runs_are_counted(engine: Engine, draft: CheckedBench) -> None:
    """Runs that cannot be made leave nothing decided, and are told."""
    noise = trials_in(draft.plan).noise
    assert noise is not None

    def without_capacitor(values: Values) -> Values:
        return {**noise.derive(values), "c_filter": np.array([math.nan])}

    broken = Trials(replace(noise, derive=without_capacitor))
    tried = run_trials(replace(draft.plan, trials=broken), engine)
    assert tried.failed_runs == tried.runs > 0
    assert tried.found[0].failed_runs > 0
    assert math.isnan(tried.found[0].value)
