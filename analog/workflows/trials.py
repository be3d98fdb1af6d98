"""What a bench's trials come to: worst cases for its measures, and scenes to draw and export."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Plan, Scene
from analog.benches.immunity import Immunity
from analog.benches.line_trials import NOISE
from analog.benches.threshold_pairs import pair_labels
from analog.benches.trials import fast_corners, trials_in
from analog.circuits.space import Floats
from analog.engine import Engine
from analog.results.records import DisturbanceRow
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.corner_trials import corner_found
from analog.workflows.disturbance_cases import (
    at_group_nominal,
    disturbance_found,
    disturbance_scene,
    disturbed,
)
from analog.workflows.disturbances import disturbance_row
from analog.workflows.immunity import SCENE, Item, Weakest, rhythm, weakest_pulses
from analog.workflows.judging import Found
from analog.workflows.lowest_mains import lowest_found
from analog.workflows.smallest_load import smallest_found
from analog.workflows.trial_runs import Tally, TrialRunner, tried_scene

WIDTH_SHARES = (1 / 16, 1 / 5)
"""Widths of the pulses as shares of the mains cycle: the filter passes wide ones whole, and far
wider ones are no pulses any more."""

PHASE = "noise.phase"
NOISE_TITLE = "Noise at the filter's input"


@dataclass(frozen=True, slots=True)
class Outcome:
    """All trials of one bench."""

    found: tuple[Found, ...] = ()
    scenes: tuple[CheckedScene, ...] = ()
    runs: int = 0
    failed_runs: int = 0
    disturbances: tuple[DisturbanceRow, ...] | None = None


def run_trials(plan: Plan, engine: Engine, told: Callable[[int], None] | None = None) -> Outcome:
    """Run the trials of a plan; `told` is called with the runs done so far."""
    trials, runner = trials_in(plan), TrialRunner(engine, told)
    noise, lowest = trials.noise, trials.lowest
    if lowest is not None:
        found, scene = lowest_found(lowest, runner)
        return Outcome((found,), (scene,), runner.runs, len(runner.failed))
    if trials.smallest is not None:
        smallest, scene = smallest_found(trials.smallest, runner)
        every, scenes = [smallest], [scene]
        started = () if trials.turn_ons is None else (trials.turn_ons,)
        for trial in (*started, *trials.transients):
            own, scene = corner_found(trial, runner)
            every += own
            scenes.append(scene)
        return Outcome(tuple(every), tuple(scenes), runner.runs, len(runner.failed))
    if noise is None:
        return Outcome()
    found, scene = _noise(noise, runner)
    tried = disturbed(trials, runner)
    labels = pair_labels(noise.receiver)
    strays = [one for each in tried for one in disturbance_found(each, noise, labels)]
    return Outcome(
        (found, *at_group_nominal(strays)),
        (scene, *(disturbance_scene(each, noise) for each in tried)),
        runner.runs,
        len(runner.failed),
        tuple(disturbance_row(each, labels) for each in tried) or None,
    )


def noise_scene(immunity: Immunity) -> Scene:
    """Return the scene that the cases of noise belong to."""
    return Scene(SCENE, NOISE_TITLE, immunity.pulses, immunity.space, immunity.derive, (NOISE,))


def _noise(immunity: Immunity, runner: TrialRunner) -> tuple[Found, CheckedScene]:
    """Return the smallest pulse at the nominal, and at the worst of the stated corners."""
    points = [np.zeros(len(immunity.space.axes)), *fast_corners(immunity.space)]
    rows = [rhythm(immunity, immunity.rows(point), runner) for point in points]
    items = [
        Item(row, share / row["f_mains"], "guaranteed" if number else "typical")
        for number, row in enumerate(rows)
        if row is not None
        for share in WIDTH_SHARES
    ]
    sized = weakest_pulses(immunity, items, runner)
    nominal = _case(immunity, points[0], rows[0], sized)
    others = zip(points[1:], rows[1:], strict=True)
    corners = [_case(immunity, point, row, sized) for point, row in others]
    worst, note = min(corners, key=lambda pair: _height(pair[0]))
    found = Tally().found((NOISE, "min", NOISE_TITLE), (nominal[0], worst), runner, note)
    return found, tried_scene(noise_scene(immunity), nominal[0], {NOISE: worst})


def _height(case: Case) -> float:
    """Return the measure so that a chain without edges comes first."""
    value = case.values[NOISE]
    return -math.inf if math.isnan(value) else value


def _case(
    immunity: Immunity, point: Floats, row: dict[str, float] | None, sized: list[Weakest]
) -> tuple[Case, str]:
    """Return the smallest pulse at one point as a case, and what is to be said of it."""
    values = immunity.space.decode(point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in values.items()}
    if row is None:
        quiet = immunity.pulse_row(immunity.rows(point), 0.0, 1e-4, 0.0, 0.0, 1)
        note = "the undisturbed chain gives no edges there"
        return Case(SCENE, at | {PHASE: 0.0}, quiet, {NOISE: math.nan}), note
    one = min((w for w in sized if w.item.row is row), key=lambda w: abs(w.height_v))
    phase = 0.0 if math.isnan(one.phase) else one.phase
    pulse = immunity.pulse_row(row, one.height_v, one.item.at, phase, 0.0, 1)
    case = Case(SCENE, at | {PHASE: phase % 1.0}, pulse, {NOISE: abs(one.height_v)})
    return case, _words(immunity, one)


def _words(immunity: Immunity, one: Weakest) -> str:
    wide = f"{1e3 * one.item.at:.3g} ms wide"
    if not one.shown:
        return f"none shown up to {one.height_v:g} V, {wide}"
    part = pair_labels(immunity.receiver)[one.column]
    sign = "upwards" if one.height_v > 0 else "downwards"
    return f"a pulse {sign}, {wide}, {one.phase % 1:.2f} of a cycle behind the crest; {part}"
