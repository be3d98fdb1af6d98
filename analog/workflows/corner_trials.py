"""Trials of the triac output at two stated points, before the engine: nominal and a hard corner."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Protocol

import numpy as np

from analog.benches.base import Plot, Scene
from analog.circuits.record import Experiment
from analog.circuits.space import Floats, Space
from analog.workflows.checked import Case, CheckedScene
from analog.workflows.judging import Found
from analog.workflows.trial_runs import Tally, TrialRunner, tried_scene


class CornerTrial(Protocol):
    """What is tried: an experiment, its rows at the two points, and which outputs are measures."""

    @property
    def identifier(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def experiment(self) -> Experiment: ...
    @property
    def space(self) -> Space: ...
    @property
    def measures(self) -> tuple[tuple[str, str], ...]: ...
    @property
    def plots(self) -> tuple[Plot, ...]: ...
    def derive(self, values: Mapping[str, Floats]) -> Mapping[str, Floats]: ...
    def points(self) -> tuple[Floats, Floats]: ...
    def row(self, point: Floats) -> dict[str, float]: ...


def corner_found(trial: CornerTrial, runner: TrialRunner) -> tuple[tuple[Found, ...], CheckedScene]:
    """Return each measure at nominal and at the hard corner, and the scene to draw and export."""
    tally = Tally.of(runner)
    points = trial.points()
    rows = [trial.row(point) for point in points]
    values = runner(trial.experiment, rows, trial.identifier)
    nominal, worst = (_case(trial, *each) for each in zip(points, rows, values, strict=True))
    names = tuple(measure for measure, _ in trial.measures)
    scene = Scene(
        trial.identifier,
        trial.title,
        trial.experiment,
        trial.space,
        trial.derive,
        names,
        trial.plots,
    )
    shown = {} if worst.failed else {name: _graver(nominal, worst, name) for name in names}
    found = tuple(
        tally.found((name, "max", trial.title), (nominal, shown.get(name)), runner)
        for name in names
    )
    return found, tried_scene(scene, nominal, shown)


def _graver(nominal: Case, corner: Case, measure: str) -> Case:
    """Return the case with the larger measure: hard for one may be easy for another."""
    return nominal if nominal.values[measure] > corner.values[measure] else corner


def _case(
    trial: CornerTrial, point: Floats, row: dict[str, float], found: Mapping[str, float]
) -> Case:
    """Return one point's case; an output is NaN where a run gave no data."""
    decoded = trial.space.decode(point[None, :])
    at = {key: float(np.ravel(value)[0]) for key, value in decoded.items()}
    values = {measure: found[output] for measure, output in trial.measures}
    failed = "no data" if all(math.isnan(value) for value in values.values()) else ""
    return Case(trial.identifier, at, row, {**found, **values}, failed)
