"""Rows of named parameters through the engine, and named arrays back, for the model tests."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import Experiment
from analog.engine import Engine, Outcomes

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


def run_random(
    engine: Engine, experiment: Experiment, rows: Sequence[Row], figure: Callable[[str], None]
) -> Outcomes:
    """Simulate random samples, of which none may be lost, and tell how long they took.

    The slowest is the longest wait for one more sample, told and not judged: the engine's limit
    on the processor time of a sample bounds it.
    """
    names = tuple(rows[0])
    moments = [time.perf_counter()]
    out = engine.run(
        experiment,
        names,
        np.array([[row[name] for name in names] for row in rows]),
        progress=lambda _done, _all: moments.append(time.perf_counter()),
    )
    figure(
        f"{len(rows)} samples, {len(out.failures)} lost, {len(out.retried)} the second way, "
        f"{1e3 * out.engine_s / len(rows):.0f} ms each, the slowest {np.diff(moments).max():.1f} s"
    )
    if out.failures:
        raise AssertionError(next(iter(out.failures.values())).reason)
    if not np.isfinite(out.values).all():
        raise AssertionError("a measure is missing")
    return out
