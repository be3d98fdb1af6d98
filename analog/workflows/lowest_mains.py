"""The search for the lowest mains that still counts, before the engine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analog.benches.base import Scene
from analog.benches.line_network import MAINS_V
from analog.benches.lowest_mains import LEAST_SHARE, MEASURE, LowestMains, Rhythm
from analog.circuits.space import Floats
from analog.studies.lowest import Items, lowest_levels
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.judging import Found
from analog.workflows.trial_runs import Tally, TrialRunner, tried_scene

SCENE = "falling-mains"
TITLE = "The mains comes down"
FACTOR = 1.2
HALVINGS = 6


def lowest_found(search: LowestMains, runner: TrialRunner) -> tuple[Found, CheckedScene]:
    """Return the lowest counting mains: typical parts at nominal, the worst of guaranteed ones."""
    tally = Tally.of(runner)
    points = search.points()
    rhythms = [_rhythm(search, point, runner) for point in points]
    known = [number for number, rhythm in enumerate(rhythms) if rhythm is not None]

    def happens(items: Items, levels: Floats) -> NDArray[np.bool_]:
        pairs = [(known[item], level) for item, level in zip(items, levels, strict=True)]
        rows = search.rows(
            [(points[k], search.nominal_v / level, _of(rhythms, k)) for k, level in pairs]
        )
        found = runner(search.experiment, rows, SCENE)
        strays = [_strays(out, k == 0) for (k, _), out in zip(pairs, found, strict=True)]
        return np.array(strays, dtype=np.bool_)

    many = len(known)
    starts, ends = np.full(many, 1.0), np.full(many, 1 / LEAST_SHARE)
    levels = lowest_levels(happens, starts, ends, FACTOR, HALVINGS) if many else np.array([])
    mains = dict(zip(known, levels.tolist(), strict=True))
    cases = [_case(search, point, rhythms[k], mains.get(k)) for k, point in enumerate(points)]
    worst = max(cases[1:], key=lambda one: _value(one))
    found = tally.found((MEASURE, "max", TITLE), (cases[0], worst), runner)
    scene = Scene(SCENE, TITLE, search.experiment, search.space, search.derive, (MEASURE,))
    return found, tried_scene(scene, cases[0], {MEASURE: worst})


def _rhythm(search: LowestMains, point: Floats, runner: TrialRunner) -> Rhythm | None:
    out = runner(search.experiment, [search.row(point, search.nominal_v)], SCENE)[0]
    if math.isnan(out["edges_per_cycle"]):
        return None
    return out["edges_per_cycle"], out["edge_phase"]


def _of(rhythms: list[Rhythm | None], number: int) -> Rhythm:
    return rhythms[number] or (1.0, 0.0)


def _strays(out: dict[str, float], typical: bool) -> bool:
    """Tell whether any edge strays; a run without data tells nothing good."""
    ending = "_typical" if typical else ""
    return out[f"extra{ending}"] + out[f"missing{ending}"] != 0


def _value(case: Case) -> float:
    value = case.values[MEASURE]
    return math.inf if math.isnan(value) else value


def _case(search: LowestMains, point: Floats, rhythm: Rhythm | None, level: float | None) -> Case:
    """Return a point's lowest mains: NaN where not even the nominal counts, the lowest that was
    tried where all count."""
    values = search.space.decode(point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in values.items()}
    if rhythm is None or level is None or level == 1.0:
        lowest, shown = math.nan, search.nominal_v
    else:
        ratio = 1 / LEAST_SHARE if math.isnan(level) else level
        lowest = shown = search.nominal_v / ratio
    row = search.row(point, shown, rhythm or (1.0, 0.0))
    return Case(SCENE, at | {MAINS_V: shown, "search.rail": row["v_rail"]}, row, {MEASURE: lowest})
