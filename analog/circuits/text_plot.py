"""A curve as a small figure of plain characters, with axes and units, for a terminal or a file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

WIDTH = 49
HEIGHT = 11
MARKS = "*+o"

Points = tuple[Sequence[float], Sequence[float]]


@dataclass(frozen=True, slots=True)
class Axes:
    """What the axes are called and where they run, in the units given.

    `decades` makes the horizontal axis logarithmic; both of its ends are above 0 then.
    """

    x_name: str
    x_unit: str
    y_name: str
    y_unit: str
    decades: bool = False


def text_plot(curves: Mapping[str, Points], axes: Axes) -> tuple[str, ...]:
    """Return the lines of a figure of up to three named curves.

    Each curve is (x, y), x rising; between its points it runs straight. ValueError for no curve
    or more than three.
    """
    if not 1 <= len(curves) <= len(MARKS):
        raise ValueError(f"a figure takes one to three curves, not {len(curves)}")
    x_low = min(x[0] for x, _ in curves.values())
    x_high = max(x[-1] for x, _ in curves.values())
    low, high = _ends(curves)
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]
    for mark, (x, y) in zip(MARKS, curves.values(), strict=False):
        _draw(grid, mark, _rows(_columns(x_low, x_high, axes.decades), x, y, low, high))
    lines = [_title(axes), *_framed(grid, low, high), *_foot(x_low, x_high, axes)]
    if len(curves) > 1:
        named = zip(MARKS, curves, strict=False)
        lines.append("  " + "   ".join(f"{mark} {name}" for mark, name in named))
    return tuple(lines)


def _ends(curves: Mapping[str, Points]) -> tuple[float, float]:
    """Return the ends of the vertical axis; a flat curve gets room on both sides."""
    low = min(min(y) for _, y in curves.values())
    high = max(max(y) for _, y in curves.values())
    room = 0.0 if high > low else 0.5 * abs(high) or 1.0
    return low - room, high + room


def _columns(low: float, high: float, decades: bool) -> NDArray[np.float64]:
    return np.geomspace(low, high, WIDTH) if decades else np.linspace(low, high, WIDTH)


def _rows(
    places: NDArray[np.float64], x: Sequence[float], y: Sequence[float], low: float, high: float
) -> list[int | None]:
    """Return the row of the curve in every column, None where it does not reach."""
    share = (np.interp(places, x, y) - low) / (high - low)
    slack = 1e-9 * abs(x[-1] - x[0])
    reached = (places >= x[0] - slack) & (places <= x[-1] + slack)
    return [
        round((1 - float(s)) * (HEIGHT - 1)) if inside else None
        for s, inside in zip(share, reached, strict=True)
    ]


def _draw(grid: list[list[str]], mark: str, rows: Sequence[int | None]) -> None:
    """Mark the curve, filling the gap where it jumps by more than a row."""
    before: int | None = None
    for column, row in enumerate(rows):
        if row is not None:
            step = 0 if before is None else (row > before) - (row < before)
            start = row if before is None else before + step
            for filled in range(start, row, step) if step else ():
                grid[filled][column] = mark
            grid[row][column] = mark
        before = row


def _title(axes: Axes) -> str:
    unit = "" if axes.y_unit == "1" else f", {axes.y_unit}"
    return f"  {axes.y_name}{unit}"


def _framed(grid: list[list[str]], low: float, high: float) -> list[str]:
    labels = {0: high, (HEIGHT - 1) // 2: (low + high) / 2, HEIGHT - 1: low}
    lines = []
    for number, row in enumerate(grid):
        label = f"{labels[number]:.3g}" if number in labels else ""
        tick = "+" if number in labels else "|"
        lines.append(f"  {label:>8} {tick}{''.join(row)}".rstrip())
    return lines


def _foot(low: float, high: float, axes: Axes) -> list[str]:
    middle = math.sqrt(low * high) if axes.decades else (low + high) / 2
    texts = [f"{value:.3g}" for value in (low, middle, high)]
    half = (WIDTH - 1) // 2
    rule = "+" + "-" * (half - 1) + "+" + "-" * (half - 1) + "+"
    row = [" "] * (WIDTH + 8)
    for place, text in zip((0, half, WIDTH - 1), texts, strict=True):
        start = max(place - len(text) // 2, 0)
        row[start : start + len(text)] = text
    scale = ", logarithmic" if axes.decades else ""
    name = f"{axes.x_name}, {axes.x_unit}{scale}"
    return [
        f"  {'':>8} +{rule}",
        f"  {'':>8}  {''.join(row)}".rstrip(),
        f"  {'':>8}  {name:^{WIDTH}}".rstrip(),
    ]
