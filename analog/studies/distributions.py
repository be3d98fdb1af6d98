"""How a value is spread between its guaranteed ends: quantile functions, nothing random here.

Every distribution is bounded, because a guarantee is: outside the ends there is no part. Where
only the ends are known the density is constant between them (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analog.circuits.space import Floats

SIGMAS = 3.0
"""Standard deviations from the centre to a guaranteed end, where nothing else is stated (common
practice, no source)."""


class Distribution(Protocol):
    """A bounded distribution of one number."""

    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...

    def quantile(self, p: Floats) -> Floats:
        """Return the values, any shape, below which the shares `p` (0 to 1) of parts lie."""
        ...

    def below(self, x: Floats) -> Floats:
        """Return the share of parts below each `x`."""
        ...


@dataclass(frozen=True, slots=True)
class Uniform:
    """Constant density from `low` to `high`."""

    low: float
    high: float

    def quantile(self, p: Floats) -> Floats:
        return np.asarray(self.low + np.asarray(p) * (self.high - self.low))

    def below(self, x: Floats) -> Floats:
        width = self.high - self.low
        if width == 0:
            return np.asarray(np.asarray(x) >= self.low, dtype=np.float64)
        return np.clip((np.asarray(x) - self.low) / width, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Halves:
    """Half of the parts on either side of `centre`, each half with constant density.

    For a range whose middle is stated too: a typical figure, a nominal mains voltage.
    """

    low: float
    centre: float
    high: float

    def quantile(self, p: Floats) -> Floats:
        u = 2 * np.asarray(p) - 1
        side = np.where(u < 0, self.centre - self.low, self.high - self.centre)
        return np.asarray(self.centre + u * side)

    def below(self, x: Floats) -> Floats:
        ends = ((self.low, self.centre), (self.centre, self.high))
        return np.asarray(sum(0.5 * Uniform(*pair).below(x) for pair in ends))


@dataclass(frozen=True, slots=True)
class Normal:
    """A normal distribution cut off at the ends, which lie `sigmas` standard deviations away.

    With unequal sides each has its own standard deviation and the density is continuous at
    `centre`: the two-piece ("split") normal. Cut off, not wrapped: the shares are those of what
    is left between the ends.
    """

    low: float
    centre: float
    high: float
    sigmas: float = SIGMAS

    def quantile(self, p: Floats) -> Floats:
        from scipy.special import ndtri

        p, share = np.asarray(p, dtype=np.float64), self._low_share()
        tail = 0.5 * math.erfc(self.sigmas / math.sqrt(2))
        within = 0.5 - tail  # one side's share of an uncut normal
        lower = self.centre + self._deviation(-1) * ndtri(
            tail + within * np.clip(p / share if share else np.ones_like(p), 0, 1)
        )
        rest = np.clip((p - share) / (1 - share) if share < 1 else np.zeros_like(p), 0, 1)
        upper = self.centre - self._deviation(1) * ndtri(0.5 - within * rest)
        return np.asarray(np.clip(np.where(p < share, lower, upper), self.low, self.high))

    def below(self, x: Floats) -> Floats:
        from scipy.special import ndtr

        x, share = np.asarray(x, dtype=np.float64), self._low_share()
        tail = 0.5 * math.erfc(self.sigmas / math.sqrt(2))
        left, right = self._deviation(-1) or 1.0, self._deviation(1) or 1.0
        lower = share * (ndtr((x - self.centre) / left) - tail) / (0.5 - tail)
        upper = share + (1 - share) * (ndtr((x - self.centre) / right) - 0.5) / (0.5 - tail)
        return np.asarray(np.clip(np.where(x < self.centre, lower, upper), 0.0, 1.0))

    def _deviation(self, side: int) -> float:
        return (self.centre - self.low if side < 0 else self.high - self.centre) / self.sigmas

    def _low_share(self) -> float:
        width = self.high - self.low
        return 0.5 if width == 0 else (self.centre - self.low) / width


@dataclass(frozen=True, slots=True)
class Picked:
    """What is left of `base` after a tighter bin, `inner_low` to `inner_high`, was picked out.

    ValueError when the bin takes everything.
    """

    base: Distribution
    inner_low: float
    inner_high: float

    def __post_init__(self) -> None:
        if not self._gap()[1] < 1:
            raise ValueError("picking out the tighter bin leaves nothing")

    @property
    def low(self) -> float:
        return self.base.low

    @property
    def high(self) -> float:
        return self.base.high

    def quantile(self, p: Floats) -> Floats:
        start, gap = self._gap()
        kept = np.asarray(p) * (1 - gap)
        return self.base.quantile(np.where(kept < start, kept, kept + gap))

    def below(self, x: Floats) -> Floats:
        start, gap = self._gap()
        share = self.base.below(x)
        kept = np.where(share < start, share, np.maximum(start, share - gap))
        return np.asarray(kept / (1 - gap))

    def _gap(self) -> tuple[float, float]:
        """Return the share of the base below the bin, and inside it."""
        ends = self.base.below(np.array([self.inner_low, self.inner_high]))
        return float(ends[0]), float(ends[1] - ends[0])
