"""The benchmark's outcome as one JSON object and as a table of plain text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analog.benchmark.compare import OVERHEAD_S, OVERHEAD_SHARE, Comparison

SCHEMA = "edgeproof-benchmark-1"

GOALS = {
    "ratio_geomean": 15.0,
    "ratio_min": 4.0,
    "same_recipe_geomean": 2.5,
    "same_recipe_min": 1.5,
}


@dataclass(frozen=True, slots=True)
class Side:
    """What is reported beside the ratios: start-up and writing to the store, in s."""

    engine: str
    cores: int
    start_s: float
    store_s_per_sample: float


def as_object(comparisons: Sequence[Comparison], side: Side) -> dict[str, Any]:
    """Return the whole outcome as plain numbers, times in s."""
    figures = geometric_figures(comparisons)
    return {
        "schema": SCHEMA,
        "engine": side.engine,
        "cores": side.cores,
        "benches": {one.bench: _bench(one) for one in comparisons},
        **figures,
        "overhead_ok": all(one.overhead_ok for one in comparisons),
        "goals_met": {name: figures[name] >= goal for name, goal in GOALS.items()},
        "start_s": side.start_s,
        "store_s_per_sample": side.store_s_per_sample,
    }


def geometric_figures(comparisons: Sequence[Comparison]) -> dict[str, float]:
    """Return geometric means and minima of both ratios over the benches."""
    ratios = [one.ratio for one in comparisons]
    recipes = [one.same_recipe for one in comparisons]
    return {
        "ratio_geomean": math.exp(sum(map(math.log, ratios)) / len(ratios)),
        "ratio_min": min(ratios),
        "same_recipe_geomean": math.exp(sum(map(math.log, recipes)) / len(recipes)),
        "same_recipe_min": min(recipes),
    }


def as_text(comparisons: Sequence[Comparison], side: Side) -> str:
    """Return the table with its goals, each marked as met or missed."""
    heads = (
        "bench", "usual way", "ours", "(A)", "A cpu", "(B)", "B cpu", "ngspice", "beyond", "",
        "errors",
    )  # fmt: skip
    units = ("", "ms", "ms", "times", "times", "times", "times", "ms", "ms", "", "usual/ours")
    lines = [heads, units, *(_cells(one) for one in comparisons)]
    widths = [max(len(line[k]) for line in lines) for k in range(len(heads))]
    table = [
        "  ".join(cell.rjust(w) for cell, w in zip(line, widths, strict=True)) for line in lines
    ]
    settings = [_settings(one) for one in comparisons]
    return "\n".join([_title(side), "", *table, "", *settings, "", *_verdicts(comparisons, side)])


def _bench(one: Comparison) -> dict[str, Any]:
    return {
        "scene": one.scene,
        "ratio": one.ratio,
        "ratio_cpu": one.ratio_cpu,
        "same_recipe": one.same_recipe,
        "same_recipe_cpu": one.same_recipe_cpu,
        "floor": one.floor,
        "usual": one.usual_s,
        "ours": one.own_s,
        "engine": one.engine_s,
        "overhead": one.overhead,
        "overhead_ok": one.overhead_ok,
        "error_usual": one.usual_error,
        "error_ours": one.own_error,
        "verified_on": one.verified,
        "usual_cycles": one.usual.cycles,
        "usual_step": one.usual.step_s,
        "usual_reltol": one.usual.reltol,
    }


def _cells(one: Comparison) -> tuple[str, ...]:
    return (
        one.bench,
        f"{1e3 * one.usual_s:.2f}",
        f"{1e3 * one.own_s:.2f}",
        f"{one.ratio:.1f}",
        f"{one.ratio_cpu:.1f}",
        f"{one.same_recipe:.2f}",
        f"{one.same_recipe_cpu:.2f}",
        f"{1e3 * one.engine_s:.2f}",
        f"{1e3 * one.overhead:.2f}",
        f"{100 * one.overhead_share:.0f} %" + ("" if one.overhead_ok else " missed"),
        f"{one.usual_error:.2f}/{one.own_error:.2f}",
    )


def _title(side: Side) -> str:
    return (
        f"{side.engine}, {side.cores} cores, times per sample; (A) one ngspice -b per sample at "
        "default method and tolerances, from t = 0; (B) one per sample at our own settings"
    )


def _settings(one: Comparison) -> str:
    wait = f" after {one.usual.cycles} cycles" if one.usual.cycles else ""
    return (
        f"{one.bench} ({one.scene}): usual way at steps of {one.usual.step_s:g} s, "
        f"reltol {one.usual.reltol:g}{wait}; errors over allowed on {one.verified} fresh samples"
    )


def _verdicts(comparisons: Sequence[Comparison], side: Side) -> list[str]:
    figures = geometric_figures(comparisons)
    lines = [
        f"{name} {figures[name]:.2f}, goal {goal:g}: {'met' if figures[name] >= goal else 'missed'}"
        for name, goal in GOALS.items()
    ]
    held = all(one.overhead_ok for one in comparisons)
    return [
        *lines,
        f"overhead at most {100 * OVERHEAD_SHARE:g} % or {1e3 * OVERHEAD_S:g} ms: "
        f"{'met' if held else 'missed'}",
        f"workers ready after {side.start_s:.2f} s; "
        f"store writes {1e3 * side.store_s_per_sample:.3f} ms per sample",
    ]
