"""Disturbances of the mains on whole designs: delivered as asked, counted right, judged.

Harmonics by Fourier analysis of the delivered wave; the common mode of a burst against its
capacitive divider; a surge against its generator's divider. Levels: EN 50160, IEC 61000-4-4, -4-5.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analog.benches import conditioner
from analog.benches.base import Plan
from analog.benches.disturbances import Disturbance
from analog.benches.trials import Trials, disturbed_points, trials_in
from analog.design import Design, parse_design, read_design
from analog.engine import Engine, Run, open_engine
from analog.measures import schmitt_edges
from analog.workflows import CheckedBench
from analog.workflows.check import check_bench
from analog.workflows.disturbances import Place, try_disturbances
from analog.workflows.immunity import rhythm
from analog.workflows.trial_runs import TrialRunner
from analog.workflows.trials import run_trials

MAT = Path(__file__).parents[2] / "analog" / "scenarios" / "propagator-mat.toml"
DRAFT = MAT.with_name("first-draft.toml")

Figure = Callable[[str], None]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


@pytest.fixture(scope="module")
def plan() -> Plan:
    return conditioner.plan(read_design(MAT))


@pytest.fixture(scope="module")
def nominal(engine: Engine, plan: Plan) -> Place:
    noise = trials_in(plan).noise
    assert noise is not None
    point = disturbed_points(noise.space)[0]
    return Place(point, rhythm(noise, noise.rows(point), TrialRunner(engine)))


def named(plan: Plan, identifier: str) -> Disturbance:
    return next(one for one in trials_in(plan).disturbances if one.identifier == identifier)


def run_of(
    engine: Engine,
    disturbance: Disturbance,
    place: Place,
    variant: int = 0,
    level: float = 1.0,
    saves: tuple[str, ...] = (),
) -> tuple[Run, dict[str, float]]:
    """Return the traces of one run, and its row."""
    assert place.row is not None
    row = {**place.row, **disturbance.variants[variant].change(place.row, level)}
    experiment = disturbance.experiment
    experiment = replace(experiment, saves=(*experiment.saves, *saves))
    names = tuple(row)
    return engine.traces(experiment, names, np.array([row[name] for name in names])), row


@pytest.mark.parametrize(("name", "sign"), [("flattening", -1.0), ("peaking", 1.0)])
def test_harmonics_by_fourier_analysis(
    engine: Engine, plan: Plan, nominal: Place, figure: Figure, name: str, sign: float
) -> None:
    """Every order within 0.1 % of the fundamental, and the crest moved by their sum."""
    run, row = run_of(engine, named(plan, f"harmonics-{name}"), nominal)
    hertz = row["f_mains"]
    time = row["t_from"] + np.arange(8192) / 8192 * 3 / hertz
    emf = np.interp(time, run.time, run.trace("v(open)") - run.trace("v(far)"))
    lines = 2 * np.abs(np.fft.rfft(emf)) / 8192 / row["v_peak"]
    wanted = {order: row[f"v_h{order}"] / row["v_peak"] for order in (3, 5, 7, 9, 11, 13)}
    errors = [abs(lines[3 * order] - wanted.get(order, 0.0)) for order in range(2, 40)]
    figure(f"{name}: largest error {100 * max(errors):.3f} % of the fundamental")
    assert max(errors) < 1e-3
    assert lines[3] == pytest.approx(1.0, abs=1e-3)
    crest = 1 + sign * sum(wanted.values())
    at_crest = np.interp(1 / hertz + np.array([0.0]), run.time, run.trace("v(open)"))
    low = np.interp(1 / hertz + np.array([0.0]), run.time, run.trace("v(far)"))
    assert float(at_crest[0] - low[0]) / row["v_peak"] == pytest.approx(crest, rel=0.01)


def test_a_burst_lifts_the_circuit_by_its_divider(
    engine: Engine, plan: Plan, nominal: Place, figure: Figure
) -> None:
    """Between the windings 100 pF, from the circuit to the plane 100 pF: half of each pulse; and
    next to nothing when the circuit is earthed."""
    disturbance = named(plan, "burst-5-khz")
    peaks = []
    for variant in (0, 1):
        run, row = run_of(engine, disturbance, nominal, variant)
        moved = run.trace("v(plane)")
        moved = moved - np.interp(row["t_on"], run.time, moved)
        peaks.append(float(np.abs(moved).max()))
    figure(f"circuit against the plane: {peaks[0]:.0f} V, earthed {peaks[1]:.0f} V")
    share = row["c_iw"] * 2 / (row["c_iw"] * 2 + row["c_stray"])
    assert peaks[0] == pytest.approx(share * 1000.0, rel=0.1)
    assert peaks[1] < 0.1 * peaks[0]


def test_a_surge_reaches_the_lines_by_its_divider(
    engine: Engine, plan: Plan, nominal: Place
) -> None:
    """2 Ω against two decoupling losses of 200 Ω, on top of the mains' crest, within 3 %."""
    disturbance = named(plan, "surge-line-to-line")
    words = [variant.words for variant in disturbance.variants]
    run, row = run_of(
        engine, disturbance, nominal, words.index("positive, at 90°"), saves=("v(live)",)
    )
    lines = run.trace("v(live)") - run.trace("v(neutral)")
    assert float(lines.max()) == pytest.approx(row["v_mains"] + 1000.0 * 400 / 402, rel=0.03)


def test_counts_are_those_of_the_trace(engine: Engine, plan: Plan, nominal: Place) -> None:
    """A signal of many times its level: the reducer's extra edges against a plain count."""
    disturbance = named(plan, "signals")
    run, row = run_of(engine, disturbance, nominal, 3, level=16.0)
    clean, _ = run_of(engine, disturbance, nominal, 3, level=0.0)
    counted = []
    for one in (run, clean):
        edges = schmitt_edges(one.time, one.trace("v(pin)"), row["typ1_p"], row["typ1_n"]).rising
        counted.append(((edges > row["t_from"]) & (edges < row["t_to"])).sum())
    assert clean.values["extra"] == clean.values["missing"] == 0
    assert counted[0] > counted[1]
    assert run.values["extra_typical"] >= counted[0] - counted[1]


def test_a_wave_that_is_not_delivered_judges_nothing(engine: Engine, plan: Plan) -> None:
    """Asked for another peak than the source gives: nothing is decided, and the reason says it."""
    surge = named(plan, "surge-line-to-line")
    wrong = replace(surge.delivered[0], wanted=1500.0)
    signals = replace(named(plan, "signals"), delivered=(wrong, *surge.delivered[1:]))
    other = replace(surge, delivered=signals.delivered, group="")
    bad = replace(plan, scenes=(), trials=Trials(trials_in(plan).noise, (other,)))
    tried = run_trials(bad, engine)
    assert tried.disturbances is not None
    (row,) = tried.disturbances
    assert "peak 999.8 V instead of 1500 V" in row.reason
    checked = check_bench(bad, read_design(MAT), engine)
    verdicts = {row.measure: row.verdict for row in checked.result.measures if row.limit}
    assert verdicts["extra_edges"] == verdicts["missing_edges"] == "undecided"


@pytest.fixture(scope="module")
def draft(engine: Engine) -> CheckedBench:
    design = read_design(DRAFT)
    return check_bench(conditioner.plan(design), design, engine)


def test_the_draft_counts_right_on_clean_mains_and_wrong_on_notches(draft: CheckedBench) -> None:
    assert draft.result.disturbances is not None
    rows = {row.disturbance: row for row in draft.result.disturbances}
    assert len(rows) == 17
    assert all(not row.reason for row in rows.values())
    assert rows["notches"].extra
    assert rows["dip-0-0-5"].missing == 1
    assert rows["burst-5-khz"].delivered[1].found == 75
    assert rows["signals"].extra == 0
    verdicts = {row.measure: row.verdict for row in draft.result.measures}
    assert verdicts["extra_edges"] == verdicts["missing_edges"] == "pass"
    assert verdicts["extra_edges_notches"] is None
    assert draft.result.failed_runs == 0
    assert draft.result.runs < 600


LIMIT = """
[[limits]]
measure = "conditioner.extra_edges_notches"
maximum = "{most}"
reason = "a welder stands on the same mains"
"""


@pytest.mark.parametrize(("most", "verdict"), [("0", "fail"), ("100", "pass")])
def test_what_is_only_told_is_judged_when_the_user_says_so(
    engine: Engine, most: str, verdict: str
) -> None:
    text = DRAFT.read_text(encoding="utf-8").replace(
        "[expect]", LIMIT.format(most=most) + "[expect]"
    )
    design = parse_design(text, "draft.toml")
    plan = conditioner.plan(design)
    trials = Trials(trials_in(plan).noise, (named(plan, "notches"),))
    checked = check_bench(replace(plan, trials=trials), design, engine)
    rows = {row.measure: row for row in checked.result.measures}
    assert rows["extra_edges_notches"].verdict == verdict
    assert rows["extra_edges_notches"].worst == 4
    assert "behind the zero" in rows["extra_edges_notches"].reason
    assert rows["missing_edges_notches"].verdict is None


def weak() -> Design:
    """Return the mat with a filter too fast for signals of several kilohertz."""
    text = MAT.read_text(encoding="utf-8")
    text = text.replace('series_resistor = "100k', 'series_resistor = "10k')
    text = text.replace('capacitor = "10n 10% film 63V"', 'capacitor = "100p 10% C0G 63V"')
    text = text.replace('bleed_resistor = "10k', 'bleed_resistor = "1k')
    return parse_design(text, "weak.toml")


def test_a_filter_that_is_too_fast_fails(engine: Engine) -> None:
    """1 µs instead of 1 ms: the signals' own zeros near the mains' zero are edges."""
    design = weak()
    plan = conditioner.plan(design)
    noise = trials_in(plan).noise
    assert noise is not None
    runner = TrialRunner(engine)
    points = disturbed_points(noise.space)[:2]
    places = [Place(point, rhythm(noise, noise.rows(point), runner)) for point in points]
    (tried,) = try_disturbances([named(plan, "signals")], places, runner)
    assert not tried.faults
    worst = tried.worst("extra")
    assert worst is not None
    assert worst.out["extra"] > 0
    assert not math.isnan(tried.begins_at)
    assert tried.begins_at <= 1.0


def test_both_half_waves_are_two_edges_a_cycle(engine: Engine) -> None:
    """Full-wave sense: a whole cycle lost misses two edges; the noise search loses no run."""
    text = MAT.read_text(encoding="utf-8")
    text = text.replace('topology = "bridge-leg"', 'topology = "full-wave"')
    text = text.replace(
        'series_resistor = "100k', 'isolating_diode = "1N4148"\nseries_resistor = "10k'
    )
    plan = conditioner.plan(parse_design(text, "both.toml"))
    trials = trials_in(plan)
    chosen = tuple(
        one for one in trials.disturbances if one.identifier in ("dip-0-1", "frequency-steps")
    )
    tried = run_trials(replace(plan, trials=replace(trials, disturbances=chosen)), engine)
    assert tried.failed_runs == 0
    assert tried.disturbances is not None
    found = {row.disturbance: row for row in tried.disturbances}
    assert (found["dip-0-1"].extra, found["dip-0-1"].missing) == (0, 2)
    assert (found["frequency-steps"].extra, found["frequency-steps"].missing) == (0, 0)
