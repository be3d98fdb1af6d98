"""What `suggest` found as plain data, for programs; the schema ships as `cli/schemas/suggest.json`.

SI units, shares as fractions, never NaN or infinity (null).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analog.advice.changes import edits_of, size
from analog.results.records import BenchResult, MeasureRow
from analog.workflows.screening import row_gap

if TYPE_CHECKING:
    from analog.workflows.suggest import Searched, Suggested, Suggestion
    from analog.workflows.sweep import Swept
    from analog.workflows.trade import Trade

SUGGEST_SCHEMA = "edgeproof-suggest-1"
TRADE_SCHEMA = "edgeproof-trade-1"


def suggest_record(
    found: Suggested, sweeps: Sequence[Swept], written: str | None
) -> dict[str, Any]:
    """Return the whole outcome; `written` is the file the changed design went to.

    `sweeps` are those of the suggestions, in their order, or none.
    """
    text = found.base.text
    return {
        "schema": SUGGEST_SCHEMA,
        "package_version": found.base.results.package_version,
        "design": {"name": found.base.design.name, "sha256": found.base.design.sha256},
        "engine": {
            "name": found.base.results.engine.name,
            "version": found.base.results.engine.version,
        },
        "status": found.status,
        "margin": found.wish.required,
        "seed": found.wish.seed,
        "present": _suggestion(found.base, text, found.wish.required),
        "aside": list(found.aside),
        "searched": [_searched(one) for one in found.searched],
        "suggestions": [_suggestion(one, text, found.wish.required) for one in found.suggestions],
        "closest": None
        if found.closest is None
        else _suggestion(found.closest, text, found.wish.required),
        "sweeps": [_sweep(swept) for swept in sweeps],
        "runs": {
            "check": found.check_runs,
            "screening": found.screened,
            "verification": found.verified,
            "multiple_of_check": found.multiple,
        },
        "written": written,
    }


def _searched(one: Searched) -> dict[str, Any]:
    return {
        "benches": list(one.benches),
        "short": list(one.short),
        "places": [knob.name for knob in one.knobs],
        "screened": one.found.tried,
        "verified": one.found.verified,
        "complete": one.found.whole,
    }


def _sweep(swept: Swept) -> dict[str, Any]:
    found = swept.results.yield_
    return {
        "claim": swept.order.claim.share,
        "confidence": swept.order.claim.confidence,
        "outcome": swept.outcome,
        "boards": None if found is None else found.n,
        "estimate": None if found is None else found.estimate,
        "low": None if found is None else found.low,
        "high": None if found is None else found.high,
    }


def _suggestion(one: Suggestion, before: str, required: float) -> dict[str, Any]:
    return {
        "changes": changes_record(one, before),
        "parts": len(one.changes),
        "steps": size(one.changes),
        "verdict": one.results.verdict,
        "sha256": one.design.sha256,
        "least_margin_share": _finite(one.score.least + required),
        "short": [
            {
                "bench": bench.bench,
                "measure": row.measure,
                "limit": row.limit.id if row.limit else None,
                "unit": row.unit,
                "worst": row.worst,
                "margin": row.margin,
                "margin_share": row.margin_share,
                "verdict": row.verdict,
            }
            for bench, row in short_rows(one, required)
        ],
    }


def changes_record(one: Suggestion, before: str) -> list[dict[str, str | None]]:
    """Return key, old and new text of every edit, None where there is none."""
    data = tomllib.loads(before)
    return [
        {"key": edit.key, "before": _written(data, edit.key), "after": edit.text}
        for edit in edits_of(one.changes)
    ]


def _written(data: Mapping[str, Any], key: str) -> str | None:
    section, _, name = key.partition(".")
    found = data.get(section, {}).get(name)
    return None if found is None else str(found)


def short_rows(one: Suggestion, required: float) -> list[tuple[BenchResult, MeasureRow]]:
    """Return the rows that do not keep their limit with the margin required."""
    return [
        (bench, row)
        for bench in one.results.benches
        for row in bench.measures
        if row.limit is not None and not row_gap(row, required) >= 0
    ]


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def trade_record(laid: Trade, figure: str | None) -> dict[str, Any]:
    """Return the laid-out trade; `gaps` by limit, first index the first key's values."""
    return {
        "schema": TRADE_SCHEMA,
        "design": {"name": laid.design.name, "sha256": laid.design.sha256},
        "margin": laid.required,
        "keys": list(laid.keys),
        "units": list(laid.units),
        "values": [list(values) for values in laid.values],
        "present": list(laid.present),
        "works": laid.works.tolist(),
        "gaps": {
            name: [[_finite(gap) for gap in line] for line in grid.tolist()]
            for name, grid in laid.gaps.items()
        },
        "verified": [{"values": list(values), "works": works} for values, works in laid.verified],
        "screened": laid.screened,
        "figure": figure,
    }
