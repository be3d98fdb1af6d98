"""Results as records and as files: `results.json` and what can be done with it."""

from analog.results.compare import Change, compare, unchanged
from analog.results.files import (
    ResultsError,
    from_data,
    read_results,
    results_schema,
    to_data,
    to_json,
    write_results,
)
from analog.results.records import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    Distribution,
    EngineInfo,
    Estimate,
    Expectation,
    LimitRow,
    MeasureRow,
    Percentile,
    RareFailure,
    Results,
    Yield,
)

__all__ = [
    "SCHEMA",
    "BenchResult",
    "Change",
    "DesignInfo",
    "Distribution",
    "EngineInfo",
    "Estimate",
    "Expectation",
    "LimitRow",
    "MeasureRow",
    "Percentile",
    "RareFailure",
    "Results",
    "ResultsError",
    "Yield",
    "compare",
    "from_data",
    "read_results",
    "results_schema",
    "to_data",
    "to_json",
    "unchanged",
    "write_results",
]
