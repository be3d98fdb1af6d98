"""The first look at a space: which axes move an output, which way, and whether steadily.

Two plans of points, both serving every objective: each axis alone at its low, high and knots
with the rest nominal; and walks that start at a random corner-like point and change one axis
after the other, which show how an axis acts elsewhere than at the nominal (elementary effects:
Morris, Technometrics 33 (1991) 161). Neither knows what the outputs are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats, Space
from analog.studies.archive import NOT_RUN, Archive, Flags, Objective, Rows

NEGLIGIBLE = 1e-4
"""A change of score below this (in scales) counts as no effect; 5 ‰ is the accuracy claimed."""


def axis_levels(space: Space) -> tuple[Floats, ...]:
    """Return for each axis its levels: -1, -1/2, 0, 1/2, 1 and its knots, rising."""
    plain = (-1.0, -0.5, 0.0, 0.5, 1.0)
    return tuple(np.unique((*plain, *axis.knots)) for axis in space.axes)


def one_at_a_time(space: Space) -> Floats:
    """Return the nominal (first row) and each axis alone at -1, +1 and its knots."""
    rows = [np.zeros(len(space.axes))]
    for column, axis in enumerate(space.axes):
        for level in np.unique((-1.0, 1.0, *axis.knots)):
            row = np.zeros(len(space.axes))
            row[column] = level
            rows.append(row)
    return np.array(rows)


def face_biased(count: int, width: int, random: np.random.Generator) -> Floats:
    """Return points (count, width), each coordinate low 40 %, high 40 %, interior 20 %."""
    side = random.choice((-1.0, 1.0), size=(count, width))
    interior = random.uniform(-1, 1, size=(count, width))
    return np.where(random.uniform(size=(count, width)) < 0.2, interior, side)


def walk(width: int, random: np.random.Generator) -> Floats:
    """Return a walk (width + 1, width) that changes every axis once, in random order."""
    start, end = face_biased(2, width, random)
    end = np.where(end == start, -start, end)
    points = np.tile(start, (width + 1, 1))
    for step, axis in enumerate(random.permutation(width)):
        points[step + 1 :, axis] = end[axis]
    return points


@dataclass(frozen=True, slots=True)
class Segments:
    """Pairs of runs that differ in one axis only: `axis`, and the rows at its two ends.

    `lower` is the row at the lower coordinate, `length` the coordinate difference. All arrays
    have shape (pairs,).
    """

    axis: NDArray[np.intp]
    length: Floats
    lower: Rows
    upper: Rows


_NONE = np.empty(0, np.intp)
NOTHING_SEEN = Segments(_NONE, np.empty(0), _NONE, _NONE)


def joined(parts: Sequence[Segments]) -> Segments:
    """Return the steps of all parts as one."""
    return Segments(
        np.concatenate([part.axis for part in parts]),
        np.concatenate([part.length for part in parts]),
        np.concatenate([part.lower for part in parts]),
        np.concatenate([part.upper for part in parts]),
    )


def segments(points: Floats, rows: Rows) -> Segments:
    """Return the one-axis steps between neighbours of a path or a star of runs.

    `points` (n, axes) are grouped as runs of consecutive points; a step is taken between a point
    and the one before it where exactly one coordinate differs.
    """
    change = np.diff(points, axis=0)
    single = np.flatnonzero((change != 0).sum(axis=1) == 1)
    single = single[(rows[single] != NOT_RUN) & (rows[single + 1] != NOT_RUN)]
    axis = np.argmax(change[single] != 0, axis=1)
    length = change[single, axis]
    before, after = rows[single], rows[single + 1]
    lower, upper = np.where(length > 0, before, after), np.where(length > 0, after, before)
    return Segments(axis, np.abs(length), lower, upper)


def lines(space: Space) -> Floats:
    """Return the one-at-a-time points again as paths through the nominal, axis by axis."""
    paths = []
    for column, axis in enumerate(space.axes):
        for level in np.unique((-1.0, 0.0, 1.0, *axis.knots)):
            row = np.zeros(len(space.axes))
            row[column] = level
            paths.append(row)
    return np.array(paths)


@dataclass(frozen=True, slots=True)
class Effects:
    """How each axis acts on one objective's score; arrays of shape (axes,).

    `trend` is the change from low to high at the mean slope of all steps seen, with "never
    happened" far above every score; `change` is the same over steps between runs that both
    happened. `active` tells whether any step changed the score at all, `steady` that no two had
    opposite signs.
    """

    trend: Floats
    change: Floats
    active: Flags
    steady: Flags


def effects(archive: Archive, objective: Objective, steps: Segments) -> Effects:
    """Summarise the steps for one objective; steps to or from a run without data are left out."""
    score = archive.scores(objective)
    change = _difference(score[steps.upper], score[steps.lower])
    columns = []
    for column in range(archive.points.shape[1]):
        own = (steps.axis == column) & np.isfinite(change)
        happened = own & (np.abs(change) < _FAR)
        felt = change[own & (np.abs(change) > NEGLIGIBLE)]
        steady = len(felt) == 0 or bool((felt > 0).all() or (felt < 0).all())
        trends = [_low_to_high(change[some], steps.length[some]) for some in (own, happened)]
        columns.append((*trends, len(felt) > 0, steady))
    table = np.array(columns, dtype=np.float64).reshape(-1, 4).T
    return Effects(table[0], table[1], table[2].astype(np.bool_), table[3].astype(np.bool_))


def _low_to_high(change: Floats, length: Floats) -> float:
    """Return the change from coordinate -1 to 1 at the mean slope of the steps."""
    return 2.0 * float(change.sum() / length.sum()) if len(change) else 0.0


_FAR = 1e6
"""What a step between "happened" and "never happened" counts as, in scales."""


def _difference(upper: Floats, lower: Floats) -> Floats:
    """Return upper - lower; a step between "happened" and "never happened" counts as `_FAR`."""
    with np.errstate(invalid="ignore"):
        change = upper - lower
    change = np.where(np.isposinf(upper) & np.isfinite(lower), _FAR, change)
    change = np.where(np.isposinf(lower) & np.isfinite(upper), -_FAR, change)
    lost = np.isneginf(upper) | np.isneginf(lower)
    return np.where(lost, np.nan, change)
