"""One scene before an engine: coordinates to rows of parameters to values, and back to cases."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from analog.benches.base import Scene
from analog.circuits.record import Experiment
from analog.circuits.space import Floats
from analog.engine import Engine
from analog.studies.archive import Flags
from analog.workflows.checked import Case, FailedRun


def parameter_rows(scene: Scene, points: Floats) -> tuple[tuple[str, ...], Floats]:
    """Return the parameter names and rows (n, names) of coordinates (n, axes)."""
    parameters = scene.derive(scene.space.decode(points))
    names = tuple(parameters)
    columns = [np.broadcast_to(np.asarray(parameters[name], float), len(points)) for name in names]
    return names, np.column_stack(columns) if columns else np.empty((len(points), 0))


@dataclass(slots=True)
class SceneRunner:
    """Evaluates coordinates of one scene with an engine and keeps what failed."""

    scene: Scene
    engine: Engine
    failed: list[FailedRun] = field(default_factory=list)
    retried: int = 0

    def __call__(self, points: Floats) -> tuple[Floats, Flags]:
        """Return values (n, outputs) and the mask (n,) of runs without data."""
        names, rows = parameter_rows(self.scene, points)
        outcomes = self.engine.run(self.scene.experiment, names, rows)
        mask = np.zeros(len(points), dtype=np.bool_)
        for index, failure in sorted(outcomes.failures.items()):
            mask[index] = True
            at = decoded(self.scene, points[index])
            reason, text = failure.reason, failure.netlist
            self.failed.append(FailedRun(self.scene.identifier, failure.kind, reason, at, text))
        self.retried += len(outcomes.retried)
        return outcomes.values, mask


def decoded(scene: Scene, point: Floats) -> dict[str, float]:
    """Return {dotted design key: SI value} at one point (axes,)."""
    values = scene.space.decode(point[None, :])
    return {key: float(np.broadcast_to(column, 1)[0]) for key, column in values.items()}


def case(scene: Scene, point: Floats, values: Floats, failed: bool, why: str = "") -> Case:
    """Return the case of one point (axes,) that gave `values` (outputs,)."""
    names, rows = parameter_rows(scene, point[None, :])
    outputs = dict(zip(scene.experiment.outputs, values.tolist(), strict=True))
    return Case(
        scene.identifier,
        decoded(scene, point),
        dict(zip(names, rows[0].tolist(), strict=True)),
        outputs,
        (why or "no data") if failed else "",
    )


def rerun(engine: Engine, experiment: Experiment, of: Case) -> Case:
    """Run one case again, with a changed experiment of the same outputs."""
    names = tuple(of.row)
    row = np.array([[of.row[name] for name in names]])
    outcomes = engine.run(experiment, names, row)
    values: Mapping[str, float] = dict(
        zip(experiment.outputs, outcomes.values[0].tolist(), strict=True)
    )
    failure = outcomes.failures.get(0)
    return replace(of, values=values, failed=failure.reason if failure else "")
