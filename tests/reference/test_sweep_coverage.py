"""Intervals against tables and by simulation on cases of known truth, the stopping rule on.

Clopper-Pearson ends against D. Altman et al., Statistics with Confidence, and scipy's binomtest;
Student's t against its published quantiles (from memory: t(7; 0.975) = 2.3646).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from analog.studies.intervals import Interval, exact, fewest_boards, over_replicates
from analog.studies.sampling import replicate
from analog.studies.stopping import (
    Claim,
    Tally,
    anytime,
    decide,
    fixed,
    looks,
    soonest,
    still_needed,
)

CLAIM = Claim(0.99, 0.95)
BUDGET = 2000


def first_decision(works: np.ndarray, claim: Claim) -> tuple[str, int]:
    """Sample boards under the rule; return outcome and number of boards."""
    passes = np.cumsum(works)
    for boards in looks(claim, len(works)):
        counted = Tally(boards, boards - int(passes[boards - 1]))
        outcome = decide(anytime(counted, claim), claim)
        if outcome != "open":
            return outcome, boards
    return "open", len(works)


def coverage(yields: float, claim: Claim, repeats: int, budget: int = BUDGET) -> tuple[float, int]:
    """Return how often the interval at the stop holds the truth, and how often a wrong claim."""
    random = np.random.default_rng([int(1e6 * yields), repeats])
    held = wrong = 0
    for _ in range(repeats):
        works = random.random(budget) < yields
        outcome, boards = first_decision(works, claim)
        interval = anytime(Tally(boards, boards - int(works[:boards].sum())), claim)
        held += interval.low <= yields <= interval.high
        wrong += outcome == ("refuted" if yields >= claim.share else "proved")
    return held / repeats, wrong


@pytest.mark.parametrize("truth", [0.5, 0.9, 0.97, 0.9899, 0.99, 0.995, 0.999])
def test_the_interval_holds_the_truth_with_the_stopping_rule_on(
    truth: float, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    repeats = counts(120, 2000)
    share, wrong = coverage(truth, CLAIM, repeats)
    error = np.sqrt(0.95 * 0.05 / repeats)
    figure(f"yield {truth}: covered {share:.4f}, wrong claims {wrong} of {repeats}")
    assert share >= 0.95 - 2 * error
    assert wrong / repeats <= 0.05 + 2 * error


@pytest.mark.parametrize(("claim", "truth"), [(0.9, 0.9), (0.9, 0.85), (0.5, 0.5)])
def test_other_claims_hold_too(
    claim: float, truth: float, counts: Callable[[int, int], int]
) -> None:
    repeats = counts(120, 2000)
    share, wrong = coverage(truth, Claim(claim, 0.9), repeats, 500)
    error = np.sqrt(0.9 * 0.1 / repeats)
    assert share >= 0.9 - 2 * error
    assert wrong / repeats <= 0.1 + 2 * error


def test_the_chance_of_a_false_claim_is_as_stated(figure: Callable[[str], None]) -> None:
    """Exactly, by the distribution of failures not yet stopped, for a truth at the claim."""
    stops = list(looks(CLAIM, BUDGET))
    found = chance_of_decision(0.99, stops, lambda n, f: anytime(Tally(n, f), CLAIM))
    figure(f"at a true yield of 99 %: proved or refuted with a chance of {found:.4f}")
    assert 0.001 < found <= 0.05


def test_peeking_at_an_exact_interval_would_prove_false_claims(
    figure: Callable[[str], None],
) -> None:
    """Why the rule is what it is: the interval for a fixed number, looked at every 100 boards."""
    stops = list(range(100, 5001, 100))
    found = chance_of_decision(0.99, stops, lambda n, f: fixed(Tally(n, f), CLAIM))
    figure(f"peeking at an exact interval decides wrongly with a chance of {found:.4f}")
    assert found > 0.2


def chance_of_decision(
    truth: float, stops: list[int], interval: Callable[[int, int], Interval]
) -> float:
    """Return the chance that the interval ever leaves out `truth`, looked at after `stops`."""
    alive, before, stopped = np.array([1.0]), 0, 0.0
    for boards in stops:
        step = stats.binom.pmf(np.arange(boards - before + 1), boards - before, 1 - truth)
        alive, before = np.convolve(alive, step), boards
        likely = np.flatnonzero(alive > 1e-9)
        for failed in likely.tolist():
            found = interval(boards, failed)
            if found.low > truth or found.high < truth:
                stopped += alive[failed]
                alive[failed] = 0.0
    return float(stopped)


@pytest.mark.parametrize(
    ("passes", "boards", "low", "high"),
    [(0, 10, 0.0, 0.3085), (5, 10, 0.1871, 0.8129), (10, 10, 0.6915, 1.0), (1, 20, 0.0013, 0.2487)],
)
def test_exact_intervals_are_the_tabulated_ones(
    passes: int, boards: int, low: float, high: float
) -> None:
    found = exact(passes, boards, 0.95)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


def test_exact_intervals_are_scipys() -> None:
    for passes, boards in ((0, 1), (1, 1), (3, 7), (367, 368), (990, 1000)):
        own = exact(passes, boards, 0.95)
        theirs = stats.binomtest(passes, boards).proportion_ci(0.95, "exact")
        assert (own.low, own.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize("truth", [0.2, 0.9, 0.99])
def test_exact_intervals_cover(truth: float, counts: Callable[[int, int], int]) -> None:
    repeats = counts(1000, 10_000)
    passes = np.random.default_rng(3).binomial(400, truth, repeats)
    known = {int(k): exact(int(k), 400, 0.95) for k in np.unique(passes)}
    held = np.mean([known[int(k)].low <= truth <= known[int(k)].high for k in passes])
    assert held >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / repeats)


def test_the_fewest_boards() -> None:
    assert fewest_boards(0.99, 0.95) == 368
    assert exact(368, 368, 0.95).low >= 0.99 > exact(367, 367, 0.95).low


def test_the_soonest_look_is_the_first_that_proves() -> None:
    count = soonest(CLAIM)
    assert anytime(Tally(count, 0), CLAIM).low >= 0.99 > anytime(Tally(count - 1, 0), CLAIM).low
    assert count in set(looks(CLAIM, BUDGET))


@pytest.mark.parametrize("most", [1, 16, 17, 316, 999, 5000])
def test_looks_rise_and_end_at_the_budget(most: int) -> None:
    found = list(looks(CLAIM, most))
    assert found[-1] == most
    assert all(a < b for a, b in itertools.pairwise(found))


def test_lost_boards_count_against_the_claim_and_never_for_it() -> None:
    for method in (anytime, fixed):
        clean, lost = method(Tally(400, 2), CLAIM), method(Tally(400, 2, 5), CLAIM)
        failed = method(Tally(400, 7), CLAIM)
        assert lost.low == failed.low < clean.low
        assert lost.high == clean.high > failed.high
        assert method(Tally(20, 0, 20), CLAIM) == method(Tally(20, 0, 20), CLAIM)
        assert (method(Tally(20, 0, 20), CLAIM).low, method(Tally(20, 0, 20), CLAIM).high) == (0, 1)


def test_what_is_still_needed_decides() -> None:
    counted = Tally(400, 1)
    more = still_needed(counted, CLAIM)
    assert more is not None
    total = 400 + more
    then = Tally(total, round(total / 400))
    assert decide(anytime(then, CLAIM), CLAIM) == "proved"
    assert still_needed(Tally(400, 4), CLAIM) is None  # exactly the claimed share
    assert still_needed(Tally(0, 0), CLAIM) == soonest(CLAIM)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, float("nan")])
def test_impossible_claims_are_refused(share: float) -> None:
    with pytest.raises(ValueError, match="above 0 and below"):
        Claim(share)


def test_the_interval_over_replicates_is_students() -> None:
    values = np.array([1.0, 2, 3, 4, 5, 6, 7, 8])
    found = over_replicates(values, 0.95)
    reach = 2.3646 * values.std(ddof=1) / np.sqrt(8)
    assert (found.low, found.high) == pytest.approx((4.5 - reach, 4.5 + reach), rel=1e-4)
    with pytest.raises(ValueError, match="at least two"):
        over_replicates(values[:1], 0.95)


def test_replicates_cover_a_mean_and_a_percentile(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Known truth: x²·y + z of three uniform numbers has the mean 1/6 + 1/2; the median by a
    dense grid."""
    repeats = counts(100, 1000)
    grid = (np.arange(100) + 0.5) / 100
    every = grid[:, None, None] ** 2 * grid[None, :, None] + grid[None, None, :]
    truth = {"mean": 2 / 3, "median": float(np.median(every))}
    held = dict.fromkeys(truth, 0)
    for repeat in range(repeats):
        points = [replicate(repeat, k, ["x", "y", "z"], 64) for k in range(8)]
        values = np.array([p[:, 0] ** 2 * p[:, 1] + p[:, 2] for p in points])
        for name, function in (("mean", np.mean), ("median", np.median)):
            found = over_replicates(function(values, axis=1), 0.95)
            held[name] += found.low <= truth[name] <= found.high
    figure(f"covered of {repeats}: {held}")
    for name in truth:
        assert held[name] / repeats >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / repeats)
