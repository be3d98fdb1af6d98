"""A response surface fitted to all runs so far, to say where the next run is worth most.

score(u) is modelled as a constant, one piecewise-linear curve per axis with corners at the
axis's levels, and a product term for each pair of axes (a second-order surface in the sense of
Box and Wilson, J. Roy. Stat. Soc. B 13 (1951) 1, with free curves instead of squares). The fit
is a ridge regression whose strength is chosen by generalised cross-validation (Golub, Heath and
Wahba, Technometrics 21 (1979) 215). The surface only proposes points; what counts is run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats

_RIDGES = np.logspace(-6, 0, 5)
_PROBES = 8
_CURVE_PRIOR = 0.3
_PAIR_PRIOR = 0.5
_CONSTANT = 10.0
"""Prior sizes of bends and pair terms and of the constant, against the slope of an axis."""


@dataclass(frozen=True, slots=True)
class Surface:
    """`constant` + Σ curve_i(u_i) + Σ_{i<j} pair_ij u_i u_j over the modelled axes.

    `axes` are the modelled columns; `levels` and `curves` hold for each the corners and heights
    of its curve; `pairs` (axes, axes) is symmetric with a zero diagonal. `error` is the standard
    error to expect of a prediction near the worst, by generalised cross-validation.
    """

    axes: tuple[int, ...]
    levels: tuple[Floats, ...]
    curves: tuple[Floats, ...]
    pairs: Floats
    constant: float
    error: float

    def predict(self, points: Floats) -> Floats:
        """Return the modelled scores (n,) at points (n, all axes)."""
        local = points[:, list(self.axes)]
        own = sum(
            np.interp(local[:, i], self.levels[i], self.curves[i]) for i in range(len(self.axes))
        )
        return np.asarray(self.constant + own + 0.5 * ((local @ self.pairs) * local).sum(axis=1))


def fit(points: Floats, scores: Floats, axes: Sequence[int], levels: Sequence[Floats]) -> Surface:
    """Fit a surface in the given axes; scores near the worst weigh most.

    `points` (n, all axes), `scores` (n,) finite, `levels` the corners for each of `axes`.
    """
    local = points[:, list(axes)]
    features, spans = _features(local, levels)
    weight = np.sqrt(_weights(scores))
    centre = np.average(scores, weights=weight**2)
    coefficients, error = _ridge(features * weight[:, None], (scores - centre) * weight)
    curves, place = [], 1
    for own, span in zip(levels, spans, strict=True):
        basis = _curve_basis(own, own)
        curves.append(basis @ coefficients[place : place + span])
        place += span
    pairs = np.zeros((len(axes), len(axes)))
    upper = np.triu_indices(len(axes), 1)
    pairs[upper] = _PAIR_PRIOR * coefficients[place:]
    return Surface(
        tuple(axes), tuple(levels), tuple(curves), pairs + pairs.T, centre + coefficients[0], error
    )


def peaks(surface: Surface, starts: Floats, sweeps: int = 12) -> Floats:
    """Climb the surface from each start (n, all axes), axis by axis over the levels.

    Returns the distinct ends, highest first; axes that are not modelled keep their start.
    """
    points = starts.copy()
    for _ in range(sweeps):
        before = points.copy()
        for i, axis in enumerate(surface.axes):
            pull = points[:, list(surface.axes)] @ surface.pairs[:, i]
            heights = surface.curves[i] + pull[:, None] * surface.levels[i]
            points[:, axis] = surface.levels[i][np.argmax(heights, axis=1)]
        if np.array_equal(before, points):
            break
    ends = np.unique(points, axis=0)
    return np.asarray(ends[np.argsort(-surface.predict(ends), kind="stable")])


def _weights(scores: Floats) -> Floats:
    """Halve the weight for every tenth of the span below the worst score, down to 1 %."""
    span = scores.max() - scores.min()
    depth = (scores.max() - scores) / span if span > 0 else np.zeros(len(scores))
    return np.maximum(0.01, 0.5 ** (depth / 0.1))


def _features(local: Floats, levels: Sequence[Floats]) -> tuple[Floats, list[int]]:
    """Return constant, curve bases and pair products side by side, and each basis's width."""
    bases = [_curve_basis(local[:, i], own) for i, own in enumerate(levels)]
    upper = np.triu_indices(local.shape[1], 1)
    products = _PAIR_PRIOR * local[:, upper[0]] * local[:, upper[1]]
    constant = np.full((len(local), 1), _CONSTANT)
    return np.hstack([constant, *bases, products]), [basis.shape[1] for basis in bases]


def _curve_basis(u: Floats, levels: Floats) -> Floats:
    """Return u and one hat per inner or outer level except 0, shape (n, levels)."""
    hats: NDArray[np.float64] = np.array([np.interp(u, levels, row) for row in np.eye(len(levels))])
    return np.column_stack([u, _CURVE_PRIOR * hats[levels != 0].T])


def _ridge(features: Floats, target: Floats) -> tuple[Floats, float]:
    """Return the ridge with the least generalised cross-validation error, and that error.

    The effective number of parameters is estimated with random signs (Hutchinson, Commun.
    Statist. Simul. 19 (1990) 433). Products are formed without a threaded library, which keeps
    the digits the same on any number of cores and the fit quick on a busy machine.
    """
    normal = np.einsum("ij,ik->jk", features, features, optimize=False)
    pull = np.einsum("ij,i->j", features, target, optimize=False)
    signs = np.random.default_rng(0).choice((-1.0, 1.0), size=(len(pull), _PROBES))
    size, total = float(np.trace(normal)), float((target**2).sum())
    best, chosen = np.inf, np.zeros(len(pull))
    for ridge in _RIDGES * size / len(target):
        shrunk = normal + ridge * np.eye(len(pull))
        solved = np.linalg.solve(shrunk, np.column_stack([pull, signs]))
        answer = solved[:, 0]
        residue = total - float(answer @ pull) - ridge * float(answer @ answer)
        idle = ridge * float((signs * solved[:, 1:]).sum()) / _PROBES
        free = max(len(target) - len(pull) + idle, 1e-3)
        error = max(residue, 1e-14 * total) / free**2
        if error < best:
            best, chosen = error, answer
    coefficients = chosen.copy()
    coefficients[0] *= _CONSTANT
    return coefficients, float(np.sqrt(best * len(target)))
