"""The results contract as frozen records; `results.json` is these, field for field.

SI units without prefixes, dimensionless unit "1", never NaN or infinity: None plus a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from analog.verdicts import Verdict

SCHEMA = "edgeproof-results-1"

_STRICT: dict[str, Any] = {"strict": True, "extra": "forbid"}
"""How a results file is read back: unknown fields and wrong types are refused."""


@dataclass(frozen=True, slots=True)
class LimitRow:
    """The limit of one row: `id` tells limits of one measure apart; ends in the row's unit."""

    __pydantic_config__: ClassVar = _STRICT

    id: str
    min: float | None
    max: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Yield:
    """Share of boards that work, with its interval at `confidence`."""

    __pydantic_config__: ClassVar = _STRICT

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

    __pydantic_config__: ClassVar = _STRICT

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

    __pydantic_config__: ClassVar = _STRICT

    bench: str
    verdict: Verdict | None
    yield_: Yield | None
    runs: int
    failed_runs: int
    measures: tuple[MeasureRow, ...]


@dataclass(frozen=True, slots=True)
class EngineInfo:
    __pydantic_config__: ClassVar = _STRICT

    name: str
    version: str


@dataclass(frozen=True, slots=True)
class DesignInfo:
    __pydantic_config__: ClassVar = _STRICT

    name: str
    title: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the design file says should come out: a verdict and, for a fail, which measures."""

    __pydantic_config__: ClassVar = _STRICT

    verdict: Verdict
    fails: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Results:
    """Everything known about one design after one command."""

    __pydantic_config__: ClassVar = _STRICT

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
