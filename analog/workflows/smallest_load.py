"""The search for the smallest load that works, before the engine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analog.benches.base import Scene
from analog.benches.smallest_load import MEASURE, MOST_RATIO, SmallestLoad, works
from analog.circuits.space import Floats
from analog.studies.lowest import Items, lowest_levels
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.judging import Found
from analog.workflows.trial_runs import Tally, TrialRunner, tried_scene

SCENE = "smaller-load"
TITLE = "The load is made smaller"
FACTOR = 2.0
HALVINGS = 6


def smallest_found(search: SmallestLoad, runner: TrialRunner) -> tuple[Found, CheckedScene]:
    """Return the smallest load: at nominal, and with every part at its hard end."""
    tally = Tally.of(runner)
    points = search.points()

    def fails(items: Items, levels: Floats) -> NDArray[np.bool_]:
        pairs = zip(items, levels, strict=True)
        rows = [search.row(points[item], search.power_w / level) for item, level in pairs]
        found = runner(search.experiment, rows, SCENE)
        return np.array([not works(out) for out in found], dtype=np.bool_)

    ends = np.full(len(points), MOST_RATIO)
    levels = lowest_levels(fails, np.ones(len(points)), ends, FACTOR, HALVINGS)
    nominal, worst = (
        _case(search, point, level) for point, level in zip(points, levels.tolist(), strict=True)
    )
    found = tally.found((MEASURE, "max", TITLE), (nominal, worst), runner)
    scene = Scene(SCENE, TITLE, search.experiment, search.space, search.derive, (MEASURE,))
    return found, tried_scene(scene, nominal, {MEASURE: worst})


def _case(search: SmallestLoad, point: Floats, level: float) -> Case:
    """Return a point's smallest load: NaN where not even the rated one works, the smallest that
    was tried where all do."""
    values = search.space.decode(point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in values.items()}
    shown = search.power_w / (MOST_RATIO if math.isnan(level) else level)
    smallest = math.nan if level == 1.0 else shown
    key = search.network.load.power.key
    return Case(SCENE, at | {key: shown}, search.row(point, shown), {MEASURE: smallest})
