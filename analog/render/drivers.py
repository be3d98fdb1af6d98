"""What sets a thin margin: which values, put back to nominal, would widen it most."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Scene
from analog.engine import Engine
from analog.results.records import MeasureRow
from analog.verdicts import Limit, margin

_NOTICEABLE = 0.02  # of the largest contribution


@dataclass(frozen=True, slots=True)
class Driver:
    """A design key, its value at the worst case and at nominal (SI), its unit, and how much
    margin it costs there, in the measure's unit."""

    key: str
    worst: float
    nominal: float
    unit: str
    cost: float


def drivers(row: MeasureRow, scene: Scene, engine: Engine) -> tuple[Driver, ...]:
    """Return what costs the most margin at a row's worst case, the greatest first.

    `scene` is where the worst lies. One more simulation per value that differs from nominal:
    that value alone goes back to nominal, and the gain in margin is its cost. Empty when the row
    has no margin.
    """
    if row.limit is None or row.worst is None or set(row.worst_at) != set(scene.space.keys):
        return ()
    limit = Limit(row.limit.id, row.limit.min, row.limit.max, row.limit.source)
    nominal = _nominal_values(scene)
    keys = [key for key, value in row.worst_at.items() if _differs(value, nominal.get(key))]
    points = [{**row.worst_at, key: nominal[key]} for key in keys]
    if not points:
        return ()
    arrays = {key: np.array([point[key] for point in points]) for key in scene.space.keys}
    parameters = scene.derive(arrays)
    names = tuple(parameters)
    table = np.column_stack([np.broadcast_to(parameters[name], len(points)) for name in names])
    values = engine.run(scene.experiment, names, table).column(row.measure)
    units = {axis.key: axis.unit for axis in scene.space.axes}
    here = margin(row.worst, limit)
    found = [
        Driver(key, row.worst_at[key], nominal[key], units[key], margin(float(value), limit) - here)
        for key, value in zip(keys, values, strict=True)
        if math.isfinite(value)
    ]
    return _noticeable(found)


def _nominal_values(scene: Scene) -> dict[str, float]:
    """Return the SI values by design key at the nominal design."""
    zeros = np.zeros((1, len(scene.space.keys)))
    return {key: float(values[0]) for key, values in scene.space.decode(zeros).items()}


def _differs(value: float, nominal: float | None) -> bool:
    return nominal is not None and not math.isclose(value, nominal, rel_tol=1e-9, abs_tol=1e-30)


def _noticeable(found: list[Driver]) -> tuple[Driver, ...]:
    costly = sorted((d for d in found if d.cost > 0), key=lambda d: (-d.cost, d.key))
    return tuple(d for d in costly if d.cost >= _NOTICEABLE * costly[0].cost)
