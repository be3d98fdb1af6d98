"""The results contract as frozen records; `results.json` is these, field for field.

SI units without prefixes, dimensionless unit "1", never NaN or infinity: None plus a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analog.verdicts import Verdict

SCHEMA = "edgeproof-results-1"


@dataclass(frozen=True, slots=True)
class LimitRow:
    """The limit of one row: `id` tells limits of one measure apart; ends in the row's unit."""

    id: str
    min: float | None
    max: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Yield:
    """Share of boards that work, with its interval at `confidence`."""

    estimate: float | None
    low: float
    high: float
    confidence: float
    n: int
    failed_runs: int
    method: str


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One row per measure and limit."""

    measure: str
    unit: str
    nominal: float | None
    worst: float | None
    worst_at: Mapping[str, float]
    limit: LimitRow | None
    margin: float | None
    margin_share: float | None
    verdict: Verdict | None
    reason: str
    samples: int
    drivers: tuple[Mapping[str, object], ...] = ()


@dataclass(frozen=True, slots=True)
class BenchResult:
    """All rows of one bench; `runs` counts simulations, `failed_runs` those without data."""

    bench: str
    verdict: Verdict | None
    yield_: Yield | None
    runs: int
    failed_runs: int
    measures: tuple[MeasureRow, ...]


@dataclass(frozen=True, slots=True)
class EngineInfo:
    name: str
    version: str


@dataclass(frozen=True, slots=True)
class DesignInfo:
    name: str
    title: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the design file says should come out: a verdict and, for a fail, which measures."""

    verdict: Verdict
    fails: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Results:
    """Everything known about one design after one command."""

    schema: str
    package_version: str
    engine: EngineInfo
    design: DesignInfo
    inputs: Mapping[str, str]
    seed: int | None
    verdict: Verdict | None
    expect: Expectation | None
    yield_: Yield | None
    benches: tuple[BenchResult, ...]
