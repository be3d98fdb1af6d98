"""What drives the spread of a value: variance shares by coordinate, with intervals.

First-order share: what knowing the coordinate alone would take off the variance. Total share: what
would be left if everything else were known (I. M. Sobol', Math. Comput. Simul. 55 (2001) 271).
Two ways to them:

* `surface_shares` needs no further runs: a polynomial in the boards' coordinates is fitted to
  what they gave, and its coefficients, orthogonal over the uniform coordinates, are the shares
  (B. Sudret, Reliab. Eng. Syst. Saf. 93 (2008) 964). What the polynomial does not explain, tested
  on boards left out, is added to every interval, because it may belong to any coordinate.
* `resampled_shares` exchanges one coordinate at a time between two sets of points, by the
  estimators of A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259, table 2 (b) and (f), over
  scrambled replicates. It assumes nothing and costs (coordinates + 2) runs a point.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from analog.circuits.space import Floats
from analog.studies.intervals import Interval, over_replicates
from analog.studies.sampling import replicate

GROUPS = 10
"""Parts of the boards that are left out in turn, for the intervals and the test."""

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """The shares of the variance of one coordinate, each with its interval at `CONFIDENCE`.

    `change` is that of the value, in its unit, from the coordinate's low end to its high end with
    all others in their middle.
    """

    name: str
    first: float
    first_within: Interval
    total: float
    total_within: Interval
    change: float


@dataclass(frozen=True, slots=True)
class Drivers:
    """All coordinates of one value, largest total share first.

    `unexplained` is the share of the variance that the fitted surface leaves, on boards it has
    not seen; 0 for resampled shares.
    """

    shares: tuple[Share, ...]
    unexplained: float
    deviation: float


def surface_shares(points: Floats, values: Floats, names: Sequence[str]) -> list[Drivers]:
    """Return the drivers of every column of `values` (boards, m) over `points` (boards, k).

    Points are uniform in (0, 1) and independent. Products of two coordinates are left out where
    there are too few boards for them, and count as unexplained. ValueError when there are fewer
    boards than twice the terms of the polynomial, or when a value is not finite.
    """
    basis = _Basis(points.shape[1])
    if len(points) < 2 * basis.terms + GROUPS:
        basis = _Basis(points.shape[1], crossed=False)
    if len(points) < 2 * basis.terms + GROUPS:
        raise ValueError(f"{len(points)} boards are too few for {basis.terms} terms")
    design = basis.at(points)
    if not np.isfinite(values).all():
        raise ValueError("a surface is fitted to finite values")
    scale = np.std(values, axis=0)
    centred = (values - values.mean(axis=0)) / np.where(scale > 0, scale, 1.0)
    whole, parts, missed = _fits(design, centred)
    return [
        _drivers(basis, whole[:, m], parts[:, :, m], float(missed[m]), names, float(scale[m]))
        for m in range(values.shape[1])
    ]


def resampled_shares(
    evaluate: Callable[[Floats], Floats],
    names: Sequence[str],
    points: int,
    replicates: int,
    seed: int = 0,
) -> Drivers:
    """Return the drivers of `evaluate`, points (n, k) in (0, 1) to values (n,).

    Calls it with `replicates` · `points` · (k + 2) points; `points` is a power of two.
    """
    found = np.array(
        [_exchange(evaluate, len(names), points, number, seed) for number in range(replicates)]
    )
    firsts, totals = found[:, 0], found[:, 1]
    ends = np.full((2 * len(names), len(names)), 0.5)
    for k in range(len(names)):
        ends[2 * k, k], ends[2 * k + 1, k] = 1e-9, 1 - 1e-9
    moved = evaluate(ends)
    shares = [
        Share(
            name,
            float(firsts[:, k].mean()),
            over_replicates(firsts[:, k], CONFIDENCE),
            float(totals[:, k].mean()),
            over_replicates(totals[:, k], CONFIDENCE),
            float(moved[2 * k + 1] - moved[2 * k]),
        )
        for k, name in enumerate(names)
    ]
    return Drivers(_ranked(shares), 0.0, float(np.sqrt(found[:, 2, 0].mean())))


def _exchange(
    evaluate: Callable[[Floats], Floats], width: int, points: int, number: int, seed: int
) -> Floats:
    """Return first-order shares, total shares and the variance of one replicate, (3, width)."""
    names = [f"{half}{k}" for half in "ab" for k in range(width)]
    both = replicate(seed, number, names, points)
    first, second = both[:, :width], both[:, width:]
    mixed = np.repeat(first[None], width, axis=0)
    for k in range(width):
        mixed[k, :, k] = second[:, k]
    values = evaluate(np.concatenate([first, second, *mixed]))
    own, other = values[:points], values[points : 2 * points]
    swapped = values[2 * points :].reshape(width, points)
    middle = np.mean(values[: 2 * points])
    variance = float(np.var(values[: 2 * points]))
    if variance == 0:
        return np.zeros((3, width))
    firsts = np.mean((other - middle) * (swapped - own), axis=1) / variance
    totals = np.mean((own - swapped) ** 2, axis=1) / (2 * variance)
    return np.stack([firsts, totals, np.full(width, variance)])


@dataclass(frozen=True, slots=True)
class _Basis:
    """Legendre polynomials to the third degree and products of two of the first degree,
    orthonormal over uniform coordinates."""

    width: int
    crossed: bool = True

    @property
    def pairs(self) -> list[tuple[int, int]]:
        return list(combinations(range(self.width), 2)) if self.crossed else []

    @property
    def terms(self) -> int:
        return 1 + 3 * self.width + len(self.pairs)

    def at(self, points: Floats) -> Floats:
        """Return the terms, shape (n, 1 + 3 k + k (k - 1)/2)."""
        t = 2 * points - 1
        first, second = np.sqrt(3) * t, np.sqrt(5) * (1.5 * t**2 - 0.5)
        third = np.sqrt(7) * (2.5 * t**3 - 1.5 * t)
        products = [first[:, i] * first[:, j] for i, j in self.pairs]
        ones = np.ones(len(points))
        return np.column_stack([ones, first, second, third, *products])

    def shares(self, fit: Floats) -> tuple[Floats, Floats]:
        """Return first-order and total shares (k,) of a fit (terms,)."""
        power, k = fit[1:] ** 2, self.width
        firsts = power[:k] + power[k : 2 * k] + power[2 * k : 3 * k]
        totals = firsts.copy()
        for (i, j), product in zip(self.pairs, power[3 * k :], strict=True):
            totals[i] += product
            totals[j] += product
        whole = float(power.sum())
        return (firsts / whole, totals / whole) if whole > 0 else (firsts, totals)

    def changes(self, fit: Floats) -> Floats:
        """Return the change of the fit from low to high end of each coordinate, others at 1/2."""
        k = self.width
        odd = np.sqrt(3) * fit[1 : 1 + k] + np.sqrt(7) * fit[1 + 2 * k : 1 + 3 * k]
        return np.asarray(2 * odd)


def _fits(design: Floats, values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the fit (terms, m), those with a group left out (groups, terms, m), and the share of
    the variance missed on the boards left out (m,)."""
    square, cross = design.T @ design, design.T @ values
    ridge = 1e-10 * np.trace(square) / len(square) * np.eye(len(square))
    whole = np.linalg.solve(square + ridge, cross)
    parts, missed = [], np.zeros(values.shape[1])
    for group in range(GROUPS):
        out = design[group::GROUPS]
        less = square - out.T @ out + ridge
        fit = np.linalg.solve(less, cross - out.T @ values[group::GROUPS])
        parts.append(fit)
        missed += np.sum((values[group::GROUPS] - out @ fit) ** 2, axis=0)
    return whole, np.array(parts), missed / len(values)


def _drivers(
    basis: _Basis,
    fit: Floats,
    parts: Floats,
    missed: float,
    names: Sequence[str],
    scale: float,
) -> Drivers:
    if scale == 0:
        return Drivers((), 0.0, 0.0)
    unexplained = min(1.0, max(0.0, missed))
    firsts, totals = basis.shares(fit)
    left_out = [basis.shares(part) for part in parts]
    changes = basis.changes(fit) * scale
    shares = [
        Share(
            name,
            float(firsts[k]),
            _jackknife(float(firsts[k]), np.array([f[k] for f, _ in left_out]), unexplained),
            float(totals[k]),
            _jackknife(float(totals[k]), np.array([t[k] for _, t in left_out]), unexplained),
            float(changes[k]),
        )
        for k, name in enumerate(names)
    ]
    return Drivers(_ranked(shares), unexplained, scale)


def _jackknife(whole: float, parts: Floats, unexplained: float) -> Interval:
    """Return the interval of an estimate by leaving out groups (M. Quenouille, J. Tukey), wider
    by `unexplained` at either end, inside [0, 1]."""
    pseudo = GROUPS * whole - (GROUPS - 1) * parts
    reach = over_replicates(pseudo, CONFIDENCE)
    half = (reach.high - reach.low) / 2 + unexplained
    return Interval(max(0.0, whole - half), min(1.0, whole + half))


def _ranked(shares: Sequence[Share]) -> tuple[Share, ...]:
    return tuple(sorted(shares, key=lambda share: -share.total))
