"""Disturbances of the mains before the engine: edges too many and too few, and from which level.

Every disturbance is tried at its stated level, in all its variants, at the nominal and at stated
corners; then at other multiples of the level, in the variants that did harm, where they did most
(or in all variants at the first corner, where none did any). A run whose delivered wave is not the
one asked for judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analog.benches.disturbances import Delivered, Disturbance, Variant
from analog.circuits.space import Floats
from analog.results.records import DeliveredFigure, DisturbanceRow
from analog.studies.lowest import Items, lowest_levels
from analog.workflows.trial_runs import Row, TrialRunner

LOWEST_LEVEL = 1 / 16
HALVINGS = 2

Side = Literal["extra", "missing"]


@dataclass(frozen=True, slots=True)
class Place:
    """A point of the space (axes,) with its row, completed by the undisturbed rhythm.

    `row` is None where the undisturbed chain gives no edges.
    """

    point: Floats
    row: Mapping[str, float] | None


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a disturbance: variant, place, the row as it ran and its outputs."""

    variant: Variant
    place: Place
    row: Mapping[str, float]
    out: Mapping[str, float]
    faults: tuple[str, ...]


@dataclass(slots=True)
class Tried:
    """All runs of one disturbance at its stated level, and the level at which it begins.

    `doubts` are why runs at other levels tell nothing, so that it may begin lower.
    """

    disturbance: Disturbance
    nominal: list[Run] = field(default_factory=list)
    others: list[Run] = field(default_factory=list)
    begins_at: float = math.nan
    tried_to: float = 1.0
    runs: int = 0
    doubts: list[str] = field(default_factory=list)

    @property
    def faults(self) -> list[str]:
        """Return why runs judge nothing."""
        return [fault for run in (*self.nominal, *self.others) for fault in run.faults]

    def worst(self, side: Side) -> Run | None:
        """Return the valid run with the most stray edges of any guaranteed part."""
        valid = [run for run in (*self.nominal, *self.others) if not run.faults]
        return max(valid, key=lambda run: run.out[side], default=None)

    def usual(self, side: Side) -> Run | None:
        """Return the same of typical parts at nominal."""
        valid = [run for run in self.nominal if not run.faults]
        return max(valid, key=lambda run: run.out[f"{side}_typical"], default=None)


def try_disturbances(
    disturbances: Sequence[Disturbance], places: Sequence[Place], runner: TrialRunner
) -> list[Tried]:
    """Return what every disturbance does; `places` begin with the nominal."""
    found = []
    for disturbance in disturbances:
        before = runner.runs
        tried = _at_level(disturbance, places, runner)
        if not tried.faults:
            _begins(tried, runner)
        tried.runs = runner.runs - before
        found.append(tried)
    return found


def _at_level(disturbance: Disturbance, places: Sequence[Place], runner: TrialRunner) -> Tried:
    tried = Tried(disturbance)
    wanted = [
        (variant, place)
        for variant in disturbance.variants
        for place in places[: disturbance.points]
        if place.row is not None
    ]
    for run in _runs(disturbance, wanted, [1.0] * len(wanted), runner):
        (tried.nominal if run.place is places[0] else tried.others).append(run)
    return tried


def _runs(
    disturbance: Disturbance,
    wanted: Sequence[tuple[Variant, Place]],
    levels: Sequence[float],
    runner: TrialRunner,
) -> list[Run]:
    rows: list[Row] = [
        {**place.row, **variant.change(place.row, level)}
        for (variant, place), level in zip(wanted, levels, strict=True)
        if place.row is not None
    ]
    found = runner(disturbance.experiment, rows, disturbance.identifier)
    return [
        Run(variant, place, row, out, _faults(disturbance.delivered, row, out))
        for (variant, place), row, out in zip(wanted, rows, found, strict=True)
    ]


def _faults(figures: Sequence[Delivered], row: Row, out: Row) -> tuple[str, ...]:
    if math.isnan(out["extra"]):
        return ("no data",)
    return tuple(
        f"{figure.words} {out[figure.output]:.4g} {figure.unit} instead of "
        f"{figure.wanted_in(row):.4g} {figure.unit}"
        for figure in figures
        if not figure.holds(out[figure.output], row)
    )


def _begins(tried: Tried, runner: TrialRunner) -> None:
    """Find the smallest multiple of the level that makes an edge stray."""
    disturbance = tried.disturbance
    harmful = [run for run in (*tried.others, *tried.nominal) if _strays(run.out)]
    chosen = max(harmful, key=_harm, default=None)
    if chosen is not None:
        wanted = [(run.variant, run.place) for run in harmful if run.place is chosen.place]
        start, end = LOWEST_LEVEL, 1.0
    elif disturbance.highest > 1.0:
        corner = [run for run in tried.others if run.place is tried.others[0].place]
        wanted = [(run.variant, run.place) for run in corner or tried.nominal]
        start, end = min(disturbance.factor, disturbance.highest), disturbance.highest
    else:
        return

    def happens(items: Items, levels: Floats) -> NDArray[np.bool_]:
        pairs = [wanted[item] for item in items.tolist()]
        runs = _runs(disturbance, pairs, levels.tolist(), runner)
        tried.doubts += [fault for run in runs for fault in run.faults]
        return np.array([not run.faults and _strays(run.out) > 0 for run in runs], dtype=np.bool_)

    many = len(wanted)
    starts, ends = np.full(many, start), np.full(many, end)
    lowest = lowest_levels(happens, starts, ends, disturbance.factor, HALVINGS)
    tried.tried_to = end
    if not np.isnan(lowest).all():
        tried.begins_at = float(np.nanmin(lowest))


def _strays(out: Row) -> float:
    return out["extra"] + out["missing"]


def disturbance_row(tried: Tried, labels: Sequence[str]) -> DisturbanceRow:
    """Return the entry of the results; `labels` name the guaranteed parts."""
    one, faults = tried.disturbance, tried.faults
    extra, missing = tried.worst("extra"), tried.worst("missing")
    chosen = max((run for run in (extra, missing) if run), key=_harm, default=None)
    stray = chosen is not None and _harm(chosen) > 0
    return DisturbanceRow(
        disturbance=one.identifier,
        title=one.title,
        group=one.group or "service",
        level=one.level,
        source=one.source,
        extra_nominal=_count(tried.usual("extra"), "extra_typical"),
        missing_nominal=_count(tried.usual("missing"), "missing_typical"),
        extra=_count(extra, "extra"),
        missing=_count(missing, "missing"),
        where=_where(chosen, labels) if chosen is not None and stray else "",
        after=_after(chosen) if chosen is not None and stray else None,
        begins_at=None if math.isnan(tried.begins_at) else tried.begins_at,
        tried_to=tried.tried_to,
        delivered=tuple(_figure(tried, figure) for figure in one.delivered),
        runs=tried.runs,
        reason=_reason(faults, tried.doubts),
    )


def _reason(faults: Sequence[str], doubts: Sequence[str]) -> str:
    if faults:
        return f"not judged: {faults[0]}"
    return f"may begin at a lower level: {doubts[0]}" if doubts else ""


def stray_words(tried: Tried, run: Run, side: Side, labels: Sequence[str]) -> str:
    """Say how a disturbance's worst run came about, and from which level on edges stray."""
    said = []
    if run.out[side]:
        said.append(_where(run, labels))
    if not math.isnan(tried.begins_at):
        said.append(f"edges stray from {tried.begins_at:.2g} times the level on")
    else:
        said.append(f"none shown up to {tried.tried_to:.3g} times the level")
    if tried.doubts:
        said.append(_reason((), tried.doubts))
    return "; ".join(said)


def _harm(run: Run) -> float:
    return _strays(run.out)


def _count(run: Run | None, name: str) -> int | None:
    return None if run is None else int(run.out[name])


def _where(run: Run, labels: Sequence[str]) -> str:
    kind = "extra" if run.out["extra"] else "missing"
    part = labels[int(run.out[f"part_{kind}"])]
    return f"{run.variant.words}; {part}" if run.variant.words else part


def _after(run: Run) -> float | None:
    moments = [run.out[name] for name in ("t_extra", "t_missing") if run.out[name] >= 0]
    begin = run.row.get("t_on", run.row.get("t_changes", run.row["t_from"]))
    return min(moments) - begin if moments else None


def _figure(tried: Tried, figure: Delivered) -> DeliveredFigure:
    """Return the figure of the run where it is farthest from what was wanted."""
    runs = [run for run in (*tried.nominal, *tried.others) if figure.output in run.out]
    known = [run for run in runs if not math.isnan(run.out[figure.output])]
    if not known:
        wanted = figure.wanted_in(runs[0].row) if runs else 0.0
        return DeliveredFigure(figure.words, figure.unit, wanted, None)

    def error(run: Run) -> float:
        wanted = figure.wanted_in(run.row)
        return abs(run.out[figure.output] - wanted) / (wanted or 1.0)

    far = max(known, key=error)
    return DeliveredFigure(
        figure.words, figure.unit, figure.wanted_in(far.row), far.out[figure.output]
    )
