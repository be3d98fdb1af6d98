"""Synthetic outputs of many parameters, two or three of them not monotonic, with a known worst.

Each is a sum of bent slopes, as many products of pairs as there are parameters, and humps or
dips in two or three parameters whose place moves with another parameter, all of it through a
compressing curve. The worst is found by brute force that the search does not use: coordinate
descent over fine grids from many random corners, then a quasi-Newton polish.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from analog.circuits.space import Floats, RangeAxis, Space


def cube(width: int) -> Space:
    return Space(tuple(RangeAxis(f"axis.{i}", "1", -1.0, 0.0, 1.0) for i in range(width)))


class Synthetic:
    """One function of `width` coordinates in [-1, 1], drawn with a random generator."""

    def __init__(self, width: int, random: np.random.Generator) -> None:
        self.width = width
        self.slope = random.normal(size=width) * random.choice([1.0, 0.3, 0.1], size=width)
        self.bend = random.uniform(-0.8, 0.8, size=width)
        self.pairs = [random.choice(width, 2, replace=False) for _ in range(width)]
        self.product = 0.3 * random.normal(size=width)
        humps = int(random.integers(2, 4))
        self.hump_axis = random.choice(width, humps, replace=False)
        self.height = random.uniform(0.3, 1.5, size=humps) * random.choice([-1, 1], size=humps)
        self.centre = random.uniform(-0.8, 0.8, size=humps)
        self.breadth = random.uniform(0.3, 1.0, size=humps)
        self.mover = random.integers(0, width, size=humps)
        self.moved = random.uniform(-0.3, 0.3, size=humps)
        self.compression = random.uniform(0.05, 0.3)

    def __call__(self, points: Floats) -> Floats:
        bent = np.expm1(self.bend * points) / self.bend
        total = bent @ self.slope
        for (one, other), product in zip(self.pairs, self.product, strict=True):
            total = total + product * bent[:, one] * bent[:, other]
        for i, axis in enumerate(self.hump_axis):
            centre = self.centre[i] + self.moved[i] * points[:, self.mover[i]]
            offset = (points[:, axis] - centre) / self.breadth[i]
            total = total + self.height[i] / (1.0 + offset * offset)
        return np.arcsinh(total * self.compression) / self.compression

    def evaluate(self, points: Floats) -> tuple[Floats, np.ndarray]:
        return self(points)[:, None], np.zeros(len(points), bool)

    def worst(self, sign: float, random: np.random.Generator, starts: int = 400) -> float:
        """Return the largest of sign·f, times sign, by brute force."""
        points = random.choice([-1.0, 1.0], size=(starts, self.width))
        best = sign * self(points)
        fine = {*self.hump_axis.tolist(), *self.mover.tolist()}
        for sweep in range(8):
            for axis in random.permutation(self.width):
                grid = np.linspace(-1, 1, 33) if int(axis) in fine else (-1.0, 1.0)
                for level in grid:
                    moved = points.copy()
                    moved[:, axis] = level
                    score = sign * self(moved)
                    better = score > best
                    points[better], best[better] = moved[better], score[better]
            keep = np.argsort(-best)[: 100 if sweep == 0 else 20]
            points, best = points[keep], best[keep]
        polished = [self._polish(sign, point) for point in points[:4]]
        return sign * max(best.max(), *polished)

    def _polish(self, sign: float, start: Floats) -> float:
        bounds = [(-1.0, 1.0)] * self.width
        return -float(minimize(lambda u: -sign * self(u[None])[0], start, bounds=bounds).fun)
