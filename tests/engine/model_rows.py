"""Rows of named parameters through the engine, and named arrays back, for the model tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import Experiment
from analog.engine import Engine

Row = Mapping[str, float]
Arrays = dict[str, NDArray[np.float64]]


def run_rows(engine: Engine, experiment: Experiment, rows: Sequence[Row]) -> Arrays:
    """Simulate all rows; AssertionError when one is lost."""
    names = tuple(rows[0])
    table = np.array([[row[name] for name in names] for row in rows])
    out = engine.run(experiment, names, table)
    if out.failures:
        raise AssertionError(
            f"{len(out.failures)} lost: {next(iter(out.failures.values())).reason}"
        )
    return {name: out.values[:, k] for k, name in enumerate(out.outputs)}


def run_row(engine: Engine, experiment: Experiment, row: Row) -> dict[str, float]:
    """Simulate one row."""
    return {name: float(values[0]) for name, values in run_rows(engine, experiment, [row]).items()}
