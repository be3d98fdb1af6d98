"""A map of two classes over two axes, simulated only near the boundary between them.

A coarse grid first; then the grid is halved again and again, and only points beside cells whose
corners differ are evaluated, the others taking the class of their cell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats

Classes = NDArray[np.bool_]
Classify = Callable[[Floats, Floats], Classes]
"""Takes x and y of shape (n,) and returns the class of each point."""

COARSEST = 4


@dataclass(frozen=True, slots=True)
class WindowMap:
    """`inside` (len(x), len(y)) tells the class; `evaluated` which points were evaluated."""

    x: Floats
    y: Floats
    inside: Classes
    evaluated: Classes

    @property
    def runs(self) -> int:
        return int(self.evaluated.sum())

    def mixed(self, x: float, y: float) -> bool:
        """Tell whether the corners of the cell around a point, or of one beside it, differ."""
        i, j = (int(np.searchsorted(axis, v)) for axis, v in ((self.x, x), (self.y, y)))
        part = self.inside[max(i - 2, 0) : i + 2, max(j - 2, 0) : j + 2]
        return bool(part.any() and not part.all())

    def at(self, x: float, y: float) -> bool:
        """Return the class of the grid point nearest to a point, in index."""
        place = (np.interp(v, axis, np.arange(len(axis))) for axis, v in ((self.x, x), (self.y, y)))
        i, j = (round(float(each)) for each in place)
        return bool(self.inside[i, j])

    def edges(self, column: int) -> tuple[float, float] | None:
        """Return the lowest and highest x inside at one y index; None when none is inside."""
        found = np.flatnonzero(self.inside[:, column])
        return (float(self.x[found[0]]), float(self.x[found[-1]])) if len(found) else None


def window_map(x: Floats, y: Floats, classify: Classify) -> WindowMap:
    """Return the map over the grid `x` × `y`, whose lengths are multiples of `COARSEST` plus 1.

    A region that lies between coarse points and touches none of them is not found.
    """
    if (len(x) - 1) % COARSEST or (len(y) - 1) % COARSEST:
        raise ValueError(f"a map's axes have a multiple of {COARSEST} cells")
    inside = np.zeros((len(x), len(y)), np.bool_)
    evaluated = np.zeros_like(inside)
    step, wanted = COARSEST, np.zeros_like(inside)
    wanted[::step, ::step] = True
    while True:
        chosen = np.argwhere(wanted & ~evaluated)
        if len(chosen):
            rows, columns = chosen[:, 0], chosen[:, 1]
            inside[rows, columns] = classify(x[rows], y[columns])
            evaluated[rows, columns] = True
        if step == 1:
            return WindowMap(x, y, inside, evaluated)
        wanted = _beside_boundary(inside, evaluated, step)
        step //= 2


def _beside_boundary(inside: Classes, evaluated: Classes, step: int) -> Classes:
    """Fill the cells of one class; return the points between, where a cell's corners differ."""
    wanted, half = np.zeros_like(inside), step // 2
    for i in range(0, inside.shape[0] - 1, step):
        for j in range(0, inside.shape[1] - 1, step):
            cell = (slice(i, i + step + 1), slice(j, j + step + 1))
            corners = inside[cell][::step, ::step]
            if corners.any() and not corners.all():
                wanted[cell][::half, ::half] = True
            else:
                inside[cell] = np.where(evaluated[cell], inside[cell], corners[0, 0])
    return wanted
