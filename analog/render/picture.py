"""What a waveform figure shows, as plain data: traces, levels and points of one or two cases."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analog.benches.base import AxisKind, Plot
from analog.engine import Run
from analog.render.markup import legal
from analog.render.palette import CURVES
from analog.render.words import quantity

Floats = NDArray[np.float64]

_STRETCHES = 500  # of a trace, each drawn by its lowest and highest sample


@dataclass(frozen=True, slots=True)
class Case:
    """One run to draw: its traces, the row of parameters it was run with, its name in words."""

    name: str
    run: Run
    row: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Trace:
    """A curve of one case; `role` is its colour."""

    label: str
    unit: str
    role: str
    case: int
    x: Floats
    y: Floats


@dataclass(frozen=True, slots=True)
class Line:
    """A horizontal line; `case` is None when it lies at the same level in all cases."""

    label: str
    value: float
    unit: str
    case: int | None


@dataclass(frozen=True, slots=True)
class Point:
    """A measured point on a curve."""

    label: str
    unit: str
    x: float
    y: float
    case: int


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure's contents; `x_unit` is s for waveforms and V for a swept source.

    `x_from` names the event that time counts from, empty for the start of the run.
    """

    title: str
    x_unit: str
    x_from: str
    window: tuple[float, float]
    cases: tuple[str, ...]
    traces: tuple[Trace, ...]
    lines: tuple[Line, ...]
    points: tuple[Point, ...]
    axis: AxisKind

    @property
    def units(self) -> tuple[str, ...]:
        """The units of the curves, one panel each, in the order they first appear."""
        return tuple(dict.fromkeys(trace.unit for trace in self.traces))


def compose(plot: Plot, cases: Sequence[Case]) -> Picture:
    """Gather what `plot` shows of the nominal case and, when given, of the worst one after it.

    Raises ValueError for no cases, KeyError for a curve that was not saved.
    """
    if not cases:
        raise ValueError("a figure needs at least one case")
    plot = _legal(plot)
    cases, x_from = _aligned(plot, cases)
    window = _window(plot, cases)
    return Picture(
        plot.title,
        "s" if cases[0].run.sweep is None else "V",
        x_from,
        window,
        tuple(legal(case.name) for case in cases),
        tuple(_traces(plot, cases, window)),
        tuple(_lines(plot, cases)),
        tuple(_points(plot, cases, window)),
        plot.axis,
    )


def _legal(plot: Plot) -> Plot:
    """Return the plot with names that XML can hold."""
    return replace(
        plot,
        title=legal(plot.title),
        curves=tuple(replace(one, label=legal(one.label)) for one in plot.curves),
        levels=tuple(replace(one, label=legal(one.label)) for one in plot.levels),
        marks=tuple(replace(one, label=legal(one.label)) for one in plot.marks),
    )


def _lookup(name: float | str, case: Case) -> float:
    """Return a number, a reducer output or a parameter of the row; NaN when there is none."""
    if not isinstance(name, str):
        return float(name)
    for source in (case.run.values, case.row):
        if name in source:
            return float(source[name])
    return math.nan


def _aligned(plot: Plot, cases: Sequence[Case]) -> tuple[Sequence[Case], str]:
    """Count time from the start of each case's own window where these lie far apart.

    Two edges of a microsecond that come milliseconds apart would otherwise both be a line.
    Returns the cases and the name of the event they now begin at, empty when left as they are.
    """
    if plot.window is None or len(cases) < 2 or cases[0].run.sweep is not None:
        return cases, ""
    own = [tuple(_lookup(end, case) for end in plot.window) for case in cases]
    widest = max(end - start for start, end in own)
    apart = max(end for _, end in own) - min(start for start, _ in own)
    if not (math.isfinite(apart) and 0 < widest < apart / 3):
        return cases, ""
    names = [name for name in (*plot.window, *(mark.time for mark in plot.marks)) if name]
    shifted = [_shifted(case, names, start) for case, (start, _) in zip(cases, own, strict=True)]
    begins = [mark.label for mark in plot.marks if mark.time == plot.window[0]]
    return shifted, begins[0] if begins else "the event"


def _shifted(case: Case, names: Iterable[float | str], start: float) -> Case:
    """Return the case with its times counted from `start`, s."""
    times = {name: _lookup(name, case) - start for name in names if isinstance(name, str)}
    run = replace(case.run, time=case.run.time - start, values={**case.run.values, **times})
    return replace(case, run=run)


def _abscissa(case: Case) -> Floats:
    return case.run.time if case.run.sweep is None else case.run.sweep


def _window(plot: Plot, cases: Sequence[Case]) -> tuple[float, float]:
    """Return the stretch to show: all that was asked for in any case, else everything."""
    whole = (
        min(float(_abscissa(case)[0]) for case in cases),
        max(float(_abscissa(case)[-1]) for case in cases),
    )
    if plot.window is None:
        return whole
    asked = [[_lookup(end, case) for case in cases] for end in plot.window]
    low = min((value for value in asked[0] if math.isfinite(value)), default=whole[0])
    high = max((value for value in asked[1] if math.isfinite(value)), default=whole[1])
    room = 0.03 * (high - low)
    low, high = max(low - room, whole[0]), min(high + room, whole[1])
    return (low, high) if high > low else whole


def _traces(plot: Plot, cases: Sequence[Case], window: tuple[float, float]) -> list[Trace]:
    found = []
    for number, curve in enumerate(plot.curves):
        role = CURVES[number % len(CURVES)]
        for which, case in enumerate(cases):
            x, y = thinned(_abscissa(case), case.run.trace(curve.trace), window)
            found.append(Trace(curve.label, curve.unit, role, which, x, y))
    return found


def _lines(plot: Plot, cases: Sequence[Case]) -> list[Line]:
    found: list[Line] = []
    for level in plot.levels:
        values = [_lookup(level.value, case) for case in cases]
        if all(_same(value, values[0]) for value in values):
            found.append(Line(level.label, values[0], level.unit, None))
            continue
        found += [Line(level.label, value, level.unit, k) for k, value in enumerate(values)]
    return [line for line in found if math.isfinite(line.value)]


def _same(a: float, b: float) -> bool:
    """Tell whether two levels print alike, so that one line serves both."""
    return a == b or quantity(a, "V") == quantity(b, "V")


def _points(plot: Plot, cases: Sequence[Case], window: tuple[float, float]) -> list[Point]:
    units = {curve.trace: curve.unit for curve in plot.curves}
    found = []
    for which, case in enumerate(cases):
        xs = _abscissa(case)
        for mark in plot.marks:
            x = _lookup(mark.time, case)
            if mark.trace in units and window[0] <= x <= window[1]:
                y = float(np.interp(x, xs, case.run.trace(mark.trace)))
                found.append(Point(mark.label, units[mark.trace], x, y, which))
    return found


def thinned(x: Floats, y: Floats, window: tuple[float, float]) -> tuple[Floats, Floats]:
    """Return the curve inside the window, each stretch by its lowest and highest sample.

    Shapes (n,) in, (m,) out; peaks survive, which plain decimation would lose.
    """
    first = max(int(np.searchsorted(x, window[0])) - 1, 0)
    last = min(int(np.searchsorted(x, window[1], side="right")) + 1, len(x))
    x, y = x[first:last], y[first:last]
    if len(x) <= 2 * _STRETCHES:
        return x, y
    edges = np.searchsorted(x, np.linspace(x[0], x[-1], _STRETCHES + 1)[1:-1])
    keep = {0, len(x) - 1}
    for piece in np.split(np.arange(len(x)), edges):
        if len(piece):
            keep.update((int(piece[np.argmin(y[piece])]), int(piece[np.argmax(y[piece])])))
    order = np.array(sorted(keep))
    return x[order], y[order]


def in_words(picture: Picture) -> str:
    """Return the picture's contents as sentences, its text alternative."""
    ends = " to ".join(quantity(end, picture.x_unit) for end in picture.window)
    said = [f"Shown from {ends}{f' after {picture.x_from}' if picture.x_from else ''}."]
    for trace in picture.traces:
        low, high = (quantity(float(y), trace.unit) for y in (trace.y.min(), trace.y.max()))
        said.append(f"{trace.label}, {picture.cases[trace.case]}: {low} to {high}.")
    for line in picture.lines:
        which = "" if line.case is None else f", {picture.cases[line.case]}"
        said.append(f"{line.label}{which}: {quantity(line.value, line.unit)}.")
    for point in picture.points:
        level = quantity(point.y, point.unit)
        where = f"{level} at {quantity(point.x, picture.x_unit)}"
        said.append(f"{point.label}, {picture.cases[point.case]}: {where}.")
    return " ".join(said)
