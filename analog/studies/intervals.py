"""Confidence intervals: of a share counted at a fixed number of boards, and over replicates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analog.circuits.space import Floats


@dataclass(frozen=True, slots=True)
class Interval:
    """Both ends of an interval, in the unit of what it is of."""

    low: float
    high: float


def exact(passes: int, boards: int, confidence: float) -> Interval:
    """Return the Clopper-Pearson interval of a share, two-sided, `boards` fixed beforehand.

    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404: the quantiles of two beta
    distributions. ValueError for counts that are none.
    """
    from scipy.special import betaincinv

    if not 0 <= passes <= boards:
        raise ValueError(f"{passes} of {boards} is no share")
    tail = (1 - confidence) / 2
    low = 0.0 if passes == 0 else float(betaincinv(passes, boards - passes + 1, tail))
    high = 1.0 if passes == boards else float(betaincinv(passes + 1, boards - passes, 1 - tail))
    return Interval(low, high)


def fewest_boards(claim: float, confidence: float) -> int:
    """Return how many boards, fixed beforehand and without a failure, prove a share of `claim`.

    The lower Clopper-Pearson end after n passes is (α/2)^(1/n): 368 boards for 99 % at 95 %.
    """
    return math.ceil(math.log((1 - confidence) / 2) / math.log(claim))


def over_replicates(estimates: Floats, confidence: float) -> Interval:
    """Return Student's t interval of the mean of independent estimates, shape (replicates,).

    ValueError for fewer than two.
    """
    from scipy.special import stdtrit

    count = len(estimates)
    if count < 2:
        raise ValueError("an interval over replicates needs at least two")
    mean = float(np.mean(estimates))
    error = float(np.std(estimates, ddof=1)) / math.sqrt(count)
    reach = float(stdtrit(count - 1, 0.5 + confidence / 2)) * error
    return Interval(mean - reach, mean + reach)
