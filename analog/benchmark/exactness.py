"""How exact either side is: errors against a far finer run, and the coarsest usual settings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Scene
from analog.benchmark.processes import Cost, run_batch
from analog.benchmark.subjects import Subject, usual_experiment, usual_row
from analog.circuits.record import Transient
from analog.circuits.space import Floats
from analog.engine import Engine, netlist, refined
from analog.engine.sources import resolve
from analog.errors import RunError

Row = Mapping[str, float]

CYCLES = (1, 2, 3, 5, 8, 12, 20, 30)
"""Whole mains cycles the usual way may run before it reads anything."""

RELTOLS = (1e-3, 1e-4, 1e-5, 1e-6)

_FEWEST_STEPS, _MOST_STEPS = 20, 100_000

_SETTLED_SHARE = 0.5
"""Share of the allowed error that too few settling cycles may take."""


@dataclass(frozen=True, slots=True)
class Sample:
    """A row of parameters and what a far finer run reads off it."""

    row: Row
    exact: Row


@dataclass(frozen=True, slots=True)
class Usual:
    """Settings of the usual way: cycles before reading, largest step (s) and reltol."""

    cycles: int
    step_s: float
    reltol: float


def exact_samples(
    subject: Subject, scene: Scene, engine: Engine, rows: Sequence[Row]
) -> list[Sample]:
    """Run every row at the exact settings; RunError when one gives no data."""
    experiment = scene.experiment
    if subject.reference is not None:
        reducer, outputs = subject.reference
        experiment = replace(experiment, reducer=reducer, outputs=outputs)
    divisor = 20.0
    if subject.exact_step_s is not None:
        divisor = max(largest_step_s(scene, row) for row in rows) / subject.exact_step_s
    out = engine.run(refined(experiment, divisor), tuple(rows[0]), table(rows))
    for failure in out.failures.values():
        raise RunError(failure.kind, f"exact run of {subject.bench}: {failure.reason}")
    columns = out.outputs
    return [
        Sample(row, dict(zip(columns, values, strict=True)))
        for row, values in zip(rows, out.values.tolist(), strict=True)
    ]


def table(rows: Sequence[Row]) -> Floats:
    """Return rows as an array (n, parameters)."""
    return np.array([list(row.values()) for row in rows], dtype=np.float64)


def largest_step_s(scene: Scene, row: Row) -> float:
    """Return the largest step of the bench's own settings (s)."""
    analysis = _transient(scene)
    return resolve(analysis.step_s, row) / analysis.step_divisor


def _transient(scene: Scene) -> Transient:
    analysis = scene.experiment.analysis
    if not isinstance(analysis, Transient):
        raise ValueError(f"{scene.identifier} is no transient")
    return analysis


def error_share(subject: Subject, read: Row, sample: Sample, later_s: float = 0.0) -> float:
    """Return the largest error over what is allowed; infinite where one side never happened."""
    worst = 0.0
    for quantity in subject.quantities:
        exact, value = sample.exact[quantity.name], read.get(quantity.name, math.nan)
        if math.isnan(exact) and math.isnan(value):
            continue
        shift = later_s if quantity.moment else 0.0
        error = abs(value - shift - exact) / quantity.allowed(sample.row, sample.exact)
        worst = max(worst, math.inf if math.isnan(error) else error)
    return worst


def engine_error(
    subject: Subject, scene: Scene, engine: Engine, samples: Sequence[Sample]
) -> float:
    """Return the largest error share of the bench's own settings, failures counting infinite."""
    rows = [sample.row for sample in samples]
    out = engine.run(scene.experiment, tuple(rows[0]), table(rows))
    reads = [dict(zip(out.outputs, values, strict=True)) for values in out.values.tolist()]
    if out.failures:
        return math.inf
    return max(error_share(subject, *pair) for pair in zip(reads, samples, strict=True))


def usual_texts(
    subject: Subject, scene: Scene, usual: Usual, samples: Sequence[Sample]
) -> tuple[list[str], list[float]]:
    """Return the netlists of the usual way and by how much their moments come later (s)."""
    experiment = usual_experiment(subject, scene, usual.step_s, usual.reltol)
    rows = [usual_row(subject, sample.row, usual.cycles) for sample in samples]
    return [netlist(experiment, row, "sample") for row, _ in rows], [later for _, later in rows]


def usual_error(
    subject: Subject, scene: Scene, usual: Usual, samples: Sequence[Sample], cores: int
) -> tuple[float, Cost]:
    """Return the largest error share of the usual way and what it cost."""
    texts, later = usual_texts(subject, scene, usual, samples)
    reads, cost = run_batch(texts, cores)
    errors = [
        error_share(subject, subject.quantities_of(read, sample.row), sample, shift)
        for read, sample, shift in zip(reads, samples, later, strict=True)
    ]
    return max(errors), cost


def settling_cycles(subject: Subject, scene: Scene, samples: Sequence[Sample], cores: int) -> int:
    """Return how many cycles the usual way must wait, seen with far finer settings than it needs.

    They must be fine enough for parts that snap, or every wait would seem too short.
    """
    if not subject.settles:
        return 0
    step_s = min(largest_step_s(scene, sample.row) for sample in samples) / 4
    for cycles in CYCLES[:-1]:
        usual = Usual(cycles, step_s, min(RELTOLS))
        if usual_error(subject, scene, usual, samples, cores)[0] <= _SETTLED_SHARE:
            return cycles
    return CYCLES[-1]


def candidates(cycles: int, longest_s: float, shortest_s: float) -> Iterator[Usual]:
    """Yield settings from the cheapest on: steps of the 1-2-5 series, then reltol by decades."""
    top = math.floor(math.log10(longest_s))
    series = [m * 10.0**k for k in range(top, top - 9, -1) for m in (5, 2, 1)]
    for reltol in RELTOLS:
        for step_s in series:
            if shortest_s <= step_s <= longest_s:
                yield Usual(cycles, step_s, reltol)


def coarsest(
    subject: Subject,
    scene: Scene,
    samples: Sequence[Sample],
    cycles: int,
    cores: int,
) -> Iterator[Usual]:
    """Yield settings that meet the accuracy on `samples`, the cheapest first.

    The first samples weed out most settings before all of them are run.
    """
    stop_s = _transient(scene).stop_s
    span_s = min(resolve(stop_s, usual_row(subject, one.row, cycles)[0]) for one in samples)
    for usual in candidates(cycles, span_s / _FEWEST_STEPS, span_s / _MOST_STEPS):
        if usual_error(subject, scene, usual, samples[:cores], cores)[0] > 1:
            continue
        if usual_error(subject, scene, usual, samples, cores)[0] <= 1:
            yield usual
