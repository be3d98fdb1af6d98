"""Disturbances as cases of their measures, so that they are judged and exported like all others."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from analog.benches.base import Scene
from analog.benches.immunity import Immunity
from analog.benches.line_trials import EXTRA, MISSING, measure_name
from analog.benches.trials import Trials, at_nominal_mains, disturbed_points
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.disturbances import Place, Run, Side, Tried, stray_words, try_disturbances
from analog.workflows.immunity import rhythm
from analog.workflows.judging import Found
from analog.workflows.trial_runs import TrialRunner, tried_scene

LEVEL = "disturbance.level"
NO_EDGES = "the undisturbed chain gives no edges there"

_SIDES: tuple[tuple[str, Side], ...] = ((EXTRA, "extra"), (MISSING, "missing"))


def disturbed(trials: Trials, runner: TrialRunner) -> list[Tried]:
    """Run all disturbances of the trials."""
    noise = trials.noise
    if noise is None or not trials.disturbances:
        return []
    points = disturbed_points(noise.space)
    places = _places(noise, points, runner)
    fixed = [at_nominal_mains(noise.space, point) for point in points[:3]]
    at_mains = [places[0], *_places(noise, fixed[1:], runner)]
    found: list[Tried] = []
    for one in trials.disturbances:
        chosen = at_mains if one.nominal_mains else places
        found += try_disturbances([one], chosen, runner)
    return found


def _places(noise: Immunity, points: Sequence[np.ndarray], runner: TrialRunner) -> list[Place]:
    return [Place(point, rhythm(noise, noise.rows(point), runner)) for point in points]


def disturbance_found(tried: Tried, noise: Immunity, labels: Sequence[str]) -> Iterator[Found]:
    """Yield what a disturbance shows for its two measures."""
    for kind, side in _SIDES:
        measure = measure_name(kind, tried.disturbance.group)
        worst, usual = tried.worst(side), tried.usual(side)
        faults = tried.faults
        yield Found(
            measure,
            "max",
            tried.disturbance.title,
            None if worst is None else _case(tried, noise, worst, measure, side),
            _case(tried, noise, usual, measure, f"{side}_typical"),
            {},
            True,
            tried.runs,
            len(faults),
            faults[0] if faults else "",
            "" if worst is None else stray_words(tried, worst, side, labels),
        )


def at_group_nominal(found: Sequence[Found]) -> Iterator[Found]:
    """Yield each with the nominal of its measure: the most in any disturbance of its group."""
    most: dict[str, Case] = {}
    for one in found:
        known = most.setdefault(one.measure, one.nominal)
        if not one.nominal.values[one.measure] <= known.values[one.measure]:
            most[one.measure] = one.nominal
    return (replace(one, nominal=most[one.measure]) for one in found)


def disturbance_scene(tried: Tried, noise: Immunity) -> CheckedScene:
    """Return the disturbance as a scene, with its nominal and its worst cases."""
    one = tried.disturbance
    names = [(measure_name(kind, one.group), side) for kind, side in _SIDES]
    scene = Scene(
        one.identifier,
        one.title,
        one.experiment,
        noise.space,
        noise.derive,
        tuple(name for name, _ in names),
    )
    worst = {
        name: _case(tried, noise, run, name, side)
        for name, side in names
        if (run := tried.worst(side)) is not None
    }
    first = tried.nominal[0] if tried.nominal else None
    return tried_scene(scene, _case(tried, noise, first, names[0][0], "extra_typical"), worst)


def _case(tried: Tried, noise: Immunity, run: Run | None, measure: str, output: str) -> Case:
    """Return a run as a case; without one, that of a chain that gives no edges."""
    scene = tried.disturbance.identifier
    if run is None:
        return Case(scene, {LEVEL: 1.0}, {}, {measure: math.nan}, NO_EDGES)
    values: Mapping[str, np.ndarray] = noise.space.decode(run.place.point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in values.items()}
    return Case(scene, at | {LEVEL: 1.0}, run.row, {measure: run.out[output]})
