"""Climbing one objective from one start, as a generator that asks for points.

A climb yields arrays of points (n, axes) and is sent their scores (n,), higher being worse for
the design; so many climbs can ask side by side and every batch is run together. It returns its
last point and score. A score of -inf (no data, or out of budget) never attracts a climb, +inf
(never happened) ends it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass

import numpy as np

from analog.circuits.space import Floats
from analog.studies.archive import Flags

Climb = Generator[Floats, Floats, "Summit"]

GAIN = 2e-4
"""An improvement below this (in scales) is not followed."""

FLAT = 2e-3
"""When nothing one step away is lower than this (in scales), a peak between is at most half as
much higher, even a pointed one."""

FINEST_STEP = 0.004
"""Coordinate step at which refinement ends."""


@dataclass(frozen=True, slots=True)
class Summit:
    """Where a climb ended."""

    point: Floats
    score: float


Screen = Callable[[Floats, float], Flags]
"""Trial points (n, axes) and the score to beat, to a mask (n,) of those worth running."""


def sweep(
    summit: Summit, levels: Sequence[Floats], screen: Screen | None = None, rounds: int = 8
) -> Climb:
    """Try every level of every axis, one axis at a time, until nothing improves.

    `levels` holds for each axis the coordinates to try, possibly none. Axes that improve alone
    are moved together in groups of falling gain, so that one bad partner cannot spoil a round.
    """
    for _ in range(rounds):
        if not np.isfinite(summit.score):
            break
        trials = _single_moves(summit.point, levels)
        if screen is not None and len(trials):
            trials = trials[screen(trials, summit.score)]
        if not len(trials):
            break
        scores = yield trials
        moves = _best_moves(summit, trials, scores)
        if not moves:
            break
        best = moves[0]
        if len(moves) > 1 and np.isfinite(best.score):
            joint = _joint_moves(summit.point, moves)
            scores = yield joint
            best = _better(best, joint, scores)
        summit = best
    return summit


def refine(summit: Summit, axes: Sequence[int], step: float = 0.25) -> Climb:
    """Close in on an interior peak in the given axes by a shrinking second-order model.

    Uses central differences and two opposite corners for each pair of axes, so a ridge that lies
    askew to the axes is followed. Ends when the step falls below `FINEST_STEP`.
    """
    while len(axes) and step >= FINEST_STEP and np.isfinite(summit.score):
        trials = _stencil(summit.point, axes, step)
        scores = yield trials
        best = _better(summit, trials, scores)
        proposal = _vertex(summit, axes, step, trials, scores)
        if proposal is not None and np.isfinite(best.score):
            answer = yield proposal[None, :]
            best = _better(best, proposal[None, :], answer)
        fall, gain = summit.score - scores.min(), best.score - summit.score
        moved = np.max(np.abs(best.point - summit.point))
        summit = best
        if gain <= GAIN and fall < FLAT:
            break
        if not (gain > GAIN and moved >= 0.75 * step):
            step /= 4 if moved < 0.3 * step else 2
    return summit


def _single_moves(point: Floats, levels: Sequence[Floats]) -> Floats:
    rows = []
    for axis, choices in enumerate(levels):
        for level in choices:
            if level != point[axis]:
                row = point.copy()
                row[axis] = level
                rows.append(row)
    return np.array(rows).reshape(-1, len(point))


def _best_moves(summit: Summit, trials: Floats, scores: Floats) -> list[Summit]:
    """Return the best improving trial of each axis, best first."""
    axis = np.argmax(trials != summit.point, axis=1)
    best: dict[int, Summit] = {}
    for column, trial, score in zip(axis, trials, scores, strict=True):
        known = best.get(int(column))
        if score > summit.score + GAIN and (known is None or score > known.score):
            best[int(column)] = Summit(trial, float(score))
    return sorted(best.values(), key=lambda move: -move.score)


def _joint_moves(point: Floats, moves: Sequence[Summit]) -> Floats:
    """Return the moves of the 2, 3, 4, 6, 8, … best axes and of all axes taken together."""
    sizes = sorted({s for s in (2, 3, 4, 6, 8, 12, 16, 24) if s < len(moves)} | {len(moves)})
    rows = []
    for size in sizes:
        row = point.copy()
        for move in moves[:size]:
            changed = move.point != point
            row[changed] = move.point[changed]
        rows.append(row)
    return np.array(rows)


def _better(best: Summit, trials: Floats, scores: Floats) -> Summit:
    index = int(np.argmax(scores))
    return Summit(trials[index], float(scores[index])) if scores[index] > best.score else best


def _stencil(point: Floats, axes: Sequence[int], step: float) -> Floats:
    """Return point ± step along each axis, then two more corners for each pair of axes."""
    offsets = []
    for axis in axes:
        for sign in (1.0, -1.0):
            offsets.append({axis: sign})
    for first, one in enumerate(axes):
        for other in axes[first + 1 :]:
            offsets.extend(({one: 1.0, other: 1.0}, {one: -1.0, other: 1.0}))
    rows = np.tile(point, (len(offsets), 1))
    for row, offset in zip(rows, offsets, strict=True):
        for axis, sign in offset.items():
            row[axis] = np.clip(row[axis] + sign * step, -1, 1)
    return rows


def _vertex(
    summit: Summit, axes: Sequence[int], step: float, trials: Floats, scores: Floats
) -> Floats | None:
    """Return the peak of the quadratic through the stencil, at most two steps away."""
    if not np.isfinite(scores).all():
        return None
    local = (np.vstack([summit.point, trials]) - summit.point)[:, list(axes)] / step
    heights = np.concatenate([[summit.score], scores])
    pairs = [(i, j) for i in range(len(axes)) for j in range(i, len(axes))]
    columns = [np.ones(len(local)), *local.T, *(local[:, i] * local[:, j] for i, j in pairs)]
    fit = np.linalg.lstsq(np.column_stack(columns), heights, rcond=None)[0]
    slope, curves = fit[1 : 1 + len(axes)], fit[1 + len(axes) :]
    hessian = np.zeros((len(axes), len(axes)))
    for (i, j), curve in zip(pairs, curves, strict=True):
        hessian[i, j] += curve
        hessian[j, i] += curve
    turning, directions = np.linalg.eigh(hessian)
    along = directions.T @ slope
    falling = turning < -1e-9
    shift = np.where(falling, along / np.where(falling, -turning, 1.0), 2 * np.sign(along))
    move = np.clip(directions @ np.clip(shift, -2, 2), -2, 2)
    target = summit.point.copy()
    target[list(axes)] = np.clip(target[list(axes)] + step * move, -1, 1)
    return target if np.any(target != summit.point) else None
