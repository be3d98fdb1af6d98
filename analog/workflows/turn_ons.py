"""Turn-ons all round the mains' cycle, before the engine: at nominal and at the hard corner."""

from __future__ import annotations

import math

import numpy as np

from analog.benches.base import Scene
from analog.benches.gate_drive_turn_ons import MEASURE, TurnOns, turn_on_plots
from analog.circuits.space import Floats
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.judging import Found
from analog.workflows.trial_runs import TrialRunner, tried_scene

SCENE = "turn-ons"
TITLE = "Six turn-ons, every part at its hard end"


def turn_ons_found(trial: TurnOns, runner: TrialRunner) -> tuple[Found, CheckedScene]:
    """Return the half-cycles missed: at nominal, and with every part at its hard end."""
    before, lost = runner.runs, len(runner.failed)
    points = trial.points()
    values = runner(trial.experiment, [trial.row(point) for point in points], SCENE)
    nominal, worst = (
        _case(trial, point, found) for point, found in zip(points, values, strict=True)
    )
    found = Found(
        MEASURE,
        "max",
        TITLE,
        None if worst.failed else worst,
        nominal,
        {},
        True,
        runner.runs - before,
        len(runner.failed) - lost,
        runner.failed[lost].reason if len(runner.failed) > lost else "",
    )
    scene = Scene(
        SCENE, TITLE, trial.experiment, trial.space, trial.derive, (MEASURE,), turn_on_plots()
    )
    return found, tried_scene(scene, nominal, {} if worst.failed else {MEASURE: worst})


def _case(trial: TurnOns, point: Floats, found: dict[str, float]) -> Case:
    """Return one point's case; a count is never NaN but where a run gave no data."""
    decoded = trial.space.decode(point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in decoded.items()}
    failed = "no data" if math.isnan(found[MEASURE]) else ""
    return Case(SCENE, at, trial.row(point), dict(found), failed)
