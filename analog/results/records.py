"""The results contract as frozen records; `results.json` is these, field for field.

SI units without prefixes, dimensionless unit "1", never NaN or infinity: None plus a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from analog.verdicts import Verdict

SCHEMA = "edgeproof-results-1"

_STRICT: dict[str, Any] = {"strict": True, "extra": "forbid"}
"""How a results file is read back: unknown fields and wrong types are refused."""

_WHERE_TRIED: dict[str, Any] = {"left_out_when_none": True}
"""Marks what only benches have that try disturbances."""

_OF_SWEEPS = {"left_out_when_none": True}
"""Marks fields that only a sweep fills: a results file leaves them out where they are None."""


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
class Estimate:
    """An estimated number with its interval, in the unit of what it is of."""

    __pydantic_config__: ClassVar = _STRICT

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Percentile:
    """The value below which `share` of the boards lie."""

    __pydantic_config__: ClassVar = _STRICT

    share: float
    at: Estimate


@dataclass(frozen=True, slots=True)
class Distribution:
    """How a measure is distributed over boards, from `boards` of them.

    `deviation` is the standard deviation. `capability` = (distance from the mean to the nearer
    end of the limit) / (3 · deviation), None without a limit or without any spread. `counts` are
    of boards in equal steps from `lowest` to `highest`.
    """

    __pydantic_config__: ClassVar = _STRICT

    mean: Estimate
    deviation: Estimate
    percentiles: tuple[Percentile, ...]
    capability: Estimate | None
    lowest: float
    highest: float
    counts: tuple[int, ...]
    boards: int
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class RareFailure:
    """The probability of breaking a limit, where it is too small to count boards.

    `variation` is the coefficient of variation. None for all of them when it is not known, and
    `reason` says why; a probability of 0 means that nothing fails inside the stated tolerances.
    """

    __pydantic_config__: ClassVar = _STRICT

    probability: float | None
    variation: float | None
    low: float | None
    high: float | None
    runs: int
    method: str
    reason: str


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """One row per measure and limit.

    `yield_`, `spread` and `rare` are of sweeps only: the share of boards that hold this limit, how
    the measure is distributed, and how probable a rare failure is.
    """

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
    yield_: Yield | None = field(default=None, metadata=_OF_SWEEPS)
    spread: Distribution | None = field(default=None, metadata=_OF_SWEEPS)
    rare: RareFailure | None = field(default=None, metadata=_OF_SWEEPS)


@dataclass(frozen=True, slots=True)
class DeliveredFigure:
    """A figure of a disturbance as it was asked for and as the simulation showed it; `found` is
    that farthest from `wanted` of all runs."""

    __pydantic_config__: ClassVar = _STRICT

    figure: str
    unit: str
    wanted: float
    found: float | None


@dataclass(frozen=True, slots=True)
class DisturbanceRow:
    """What one disturbance of the mains does to the counted edges.

    `extra` and `missing` are the most edges of any guaranteed part, the ``_nominal`` ones those of
    typical parts at nominal; None without data. `where` names variant and part, `after` is the
    time from the onset to the first stray edge (s). `begins_at` is the smallest multiple of the
    level, of those tried up to `tried_to`, at which an edge strays; None when none was shown.
    """

    __pydantic_config__: ClassVar = _STRICT

    disturbance: str
    title: str
    group: str
    level: str
    source: str
    extra_nominal: int | None
    missing_nominal: int | None
    extra: int | None
    missing: int | None
    where: str
    after: float | None
    begins_at: float | None
    tried_to: float
    delivered: tuple[DeliveredFigure, ...]
    runs: int
    reason: str


@dataclass(frozen=True, slots=True)
class BenchResult:
    """All rows of one bench; `runs` counts simulations, `failed_runs` those without data.

    `disturbances` are of benches that try some.
    """

    __pydantic_config__: ClassVar = _STRICT

    bench: str
    verdict: Verdict | None
    yield_: Yield | None
    runs: int
    failed_runs: int
    measures: tuple[MeasureRow, ...]
    disturbances: tuple[DisturbanceRow, ...] | None = field(default=None, metadata=_WHERE_TRIED)


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
