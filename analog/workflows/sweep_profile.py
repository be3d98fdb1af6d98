"""How every measure is distributed over boards, and which coordinate drives that.

Moments and percentiles come from scrambled Sobol' replicates, whose scatter gives the interval;
drivers from all boards there are, independent ones and replicates together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analog.circuits.space import Floats
from analog.results.records import Distribution, Estimate, Percentile
from analog.studies.drivers import Drivers, surface_shares
from analog.studies.intervals import over_replicates
from analog.verdicts import Limit
from analog.workflows.board_runs import BoardRuns, Judged
from analog.workflows.sweep_rows import BenchVerdicts, Verdicts

REPLICATES = 8
POINTS = 32
"""Boards of each replicate; a power of two."""

PERCENTILES = (0.05, 0.5, 0.95)
STEPS = 24
"""Bars of a histogram."""

CONFIDENCE = 0.95
WELL_EXPLAINED = 0.8
"""A surface that explains less of the variance than this names no drivers."""

LEAST_SHARE = 0.01

_METHOD = (
    f"{REPLICATES} scrambled Sobol' replicates of {POINTS} boards, Student's t over the replicates"
)


@dataclass(frozen=True, slots=True)
class RowProfile:
    """One measure against one limit: its distribution (None: `reason` says why) and drivers."""

    spread: Distribution | None = None
    drivers: Drivers | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Profile:
    """The profiles of all rows, by bench and place among what it judges."""

    rows: Mapping[tuple[str, int], RowProfile] = field(default_factory=dict)

    def row(self, bench: str, place: int) -> RowProfile:
        return self.rows.get((bench, place), RowProfile())


def profile(
    sampled: Verdicts,
    numbers: Mapping[str, Floats],
    replicated: Verdicts,
    replicate_numbers: Mapping[str, Floats],
) -> Profile:
    """Return the profiles from independent boards and replicates, with their coordinates."""
    both = {
        name: np.concatenate([numbers[name], replicate_numbers[name]]) for name in replicate_numbers
    }
    rows: dict[tuple[str, int], RowProfile] = {}
    for bench, other in zip(sampled.benches, replicated.benches, strict=True):
        drivers = _bench_drivers(bench, other, both)
        for place, (one, again) in enumerate(zip(bench.judged, other.judged, strict=True)):
            rows[bench.plan.bench, place] = RowProfile(
                _distribution(one, again), drivers.get(place), _missing(again)
            )
    return Profile(rows)


def replicate_numbers(runs: BoardRuns, seed: int) -> list[dict[str, Floats]]:
    """Return the coordinates of every replicate."""
    return [runs.boards.replicate(seed, number, POINTS) for number in range(REPLICATES)]


def _missing(one: Judged) -> str:
    never = int(np.isnan(one.values).sum())
    if not never:
        return ""
    return f"no distribution: no value on {never} of {len(one.values)} boards of the replicates"


def _distribution(sampled: Judged, replicated: Judged) -> Distribution | None:
    values = replicated.values.reshape(REPLICATES, POINTS)
    if np.isnan(values).any():
        return None
    every = np.concatenate([replicated.values, sampled.values[np.isfinite(sampled.values)]])
    low, high = float(every.min()), float(every.max())
    counts = np.histogram(every, STEPS, (low, high) if high > low else (low - 0.5, low + 0.5))[0]
    return Distribution(
        _estimate(values.mean(axis=1)),
        _estimate(values.std(axis=1, ddof=1)),
        tuple(
            Percentile(share, _estimate(np.quantile(values, share, axis=1)))
            for share in PERCENTILES
        ),
        _capability(values, sampled.limit),
        low,
        high,
        tuple(counts.tolist()),
        values.size,
        CONFIDENCE,
        _METHOD,
    )


def _estimate(per_replicate: Floats) -> Estimate:
    """Return the mean over replicates with its t interval."""
    found = over_replicates(per_replicate, CONFIDENCE)
    return Estimate(float(np.mean(per_replicate)), found.low, found.high)


def _capability(values: Floats, limit: Limit | None) -> Estimate | None:
    """Return (distance from the mean to the nearer end)/(3 standard deviations), as Ppk of
    ISO 22514-2 (from memory) for a normal distribution."""
    if limit is None:
        return None
    mean, deviation = values.mean(axis=1), values.std(axis=1, ddof=1)
    if not (deviation > 0).all():
        return None
    distance = np.full(len(mean), np.inf)
    if limit.minimum is not None:
        distance = np.minimum(distance, mean - limit.minimum)
    if limit.maximum is not None:
        distance = np.minimum(distance, limit.maximum - mean)
    return _estimate(distance / (3 * deviation))


def _bench_drivers(
    bench: BenchVerdicts, other: BenchVerdicts, numbers: Mapping[str, Floats]
) -> dict[int, Drivers]:
    """Return the drivers by place; rows that rest on the same coordinates are fitted together."""
    groups: dict[tuple[str, ...], dict[int, Floats]] = {}
    for place, (one, again) in enumerate(zip(bench.judged, other.judged, strict=True)):
        values = np.concatenate([one.values, again.values])
        if np.isfinite(values).all():
            names = _coordinates(bench, one.measure.identifier)
            groups.setdefault(names, {})[place] = values
    found: dict[int, Drivers] = {}
    for names, columns in groups.items():
        points = np.column_stack([numbers[name] for name in names])
        fitted = _surfaces(points, np.column_stack(list(columns.values())), names)
        found.update(zip(columns, fitted, strict=bool(fitted)))
    return {
        place: one
        for place, one in found.items()
        if one.deviation > 0 and one.unexplained <= 1 - WELL_EXPLAINED
    }


def _surfaces(points: Floats, values: Floats, names: Sequence[str]) -> list[Drivers]:
    try:
        return surface_shares(points, values, names)
    except ValueError:  # too few boards for so many coordinates: no drivers rather than bad ones
        return []


def _coordinates(bench: BenchVerdicts, measure: str) -> tuple[str, ...]:
    giving = [one for one in bench.runs if measure in one.scene.scene.measures]
    return tuple(dict.fromkeys(name for one in giving for name in one.scene.coordinates))


def driver_rows(found: Drivers | None) -> tuple[dict[str, object], ...]:
    """Return the drivers as the results hold them, those under `LEAST_SHARE` left out."""
    if found is None:
        return ()
    return tuple(
        {
            "key": one.name,
            "change": one.change,
            "total": one.total,
            "total_low": one.total_within.low,
            "total_high": one.total_within.high,
            "first": one.first,
            "first_low": one.first_within.low,
            "first_high": one.first_within.high,
            "unexplained": found.unexplained,
        }
        for one in found.shares
        if one.total >= LEAST_SHARE
    )
