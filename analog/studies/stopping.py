"""When enough boards have been sampled: an interval that may be looked at after every board.

Looking again and again at an interval made for a fixed number of boards proves false claims: an
exact 95 % interval looked at every 100 boards up to 5 000 "proves" 99 % at a true yield of 99 %
in one case of ten (two-sided). The interval here holds at all numbers of boards at once. For
every yield p the ratio

    M(p) = E / (p^s (1-p)^f),   E = w + (1-w) B(a+s, b+f) / B(a, b)   (w only while f = 0)

of a mixture of alternatives to p, after s passes and f failures, is a non-negative martingale
that starts at 1 when p is true; it ever reaches 1/α with a probability of at most α (J. Ville,
1939; used for yields by H. Robbins, Ann. Math. Stat. 41 (1970) 1397). The interval is all p at
which M(p) < 1/α. The mixture, half decided by the claim, only governs how soon it is narrow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from analog.studies.intervals import Interval, exact, fewest_boards

PERFECT_WEIGHT = 0.75
"""Share of the mixture on "no board ever fails": the more, the sooner a good design is proved."""

NARROWNESS = 0.5
"""Failures that the rest of the mixture counts as seen, at the claimed share."""

LOOK_EVERY = 32

Outcome = Literal["proved", "refuted", "open"]


@dataclass(frozen=True, slots=True)
class Claim:
    """At least the share `share` of all boards work, to be shown with `confidence`.

    ValueError when no number of boards can show it.
    """

    share: float = 0.99
    confidence: float = 0.95

    def __post_init__(self) -> None:
        if not 0 < self.share < 1:
            raise ValueError("a claim lies above 0 and below 100 %")
        if not 0 < self.confidence < 1:
            raise ValueError("a confidence lies above 0 and below 100 %")


@dataclass(frozen=True, slots=True)
class Tally:
    """What was counted: `failed` boards break a limit, `lost` ones gave no data and no failure.

    A lost board is a failure for the lower end of a yield and a pass for the upper.
    """

    boards: int
    failed: int
    lost: int = 0

    @property
    def estimate(self) -> float | None:
        """The share of boards known to work; None without any board."""
        return (self.boards - self.failed - self.lost) / self.boards if self.boards else None


def anytime(tally: Tally, claim: Claim) -> Interval:
    """Return the interval of the yield that holds at every number of boards at once."""
    surely, maybe = tally.boards - tally.failed - tally.lost, tally.boards - tally.failed
    low = _ends(surely, tally.failed + tally.lost, claim).low
    return Interval(low, _ends(maybe, tally.failed, claim).high)


def fixed(tally: Tally, claim: Claim) -> Interval:
    """Return the exact interval of the yield, the number of boards fixed beforehand."""
    surely, maybe = tally.boards - tally.failed - tally.lost, tally.boards - tally.failed
    low = exact(surely, tally.boards, claim.confidence).low
    return Interval(low, exact(maybe, tally.boards, claim.confidence).high)


def decide(interval: Interval, claim: Claim) -> Outcome:
    """Return whether the interval proves the claim, refutes it or leaves it open."""
    if interval.low >= claim.share:
        return "proved"
    return "refuted" if interval.high < claim.share else "open"


def soonest(claim: Claim) -> int:
    """Return the fewest boards, none failing, after which `anytime` proves the claim."""
    high = fewest_boards(claim.share, claim.confidence)
    while not _proves(claim, high, 0):
        high *= 2
    return _first(lambda n: _proves(claim, n, 0), 1, high)


def looks(claim: Claim, most: int) -> Iterator[int]:
    """Yield the numbers of boards after which to look, the last one `most`.

    Fixed by the claim alone: small ones first, because a bad design shows early; then the
    soonest that can prove it; then every `LOOK_EVERY`, ever more rarely beyond a thousand.
    """
    first, count = soonest(claim), LOOK_EVERY // 2
    reached = False
    while True:
        if not reached and count >= first:
            count, reached = first, True
        if count >= most:
            yield most
            return
        yield count
        count += max(LOOK_EVERY // 2 if count < 2 * LOOK_EVERY else LOOK_EVERY, count // 16)


def still_needed(tally: Tally, claim: Claim, most: int = 10_000_000) -> int | None:
    """Return how many more boards would decide if they fail as often as those so far.

    None when more than `most` would be needed, or when none could: lost boards alone hold the
    claim open, or the share seen is the one claimed.
    """
    if not tally.boards:
        return soonest(claim)
    bad, good = (tally.failed + tally.lost) / tally.boards, tally.failed / tally.boards

    def decided(total: int) -> bool:
        kept = Tally(total, round(good * total), round(bad * total) - round(good * total))
        return decide(anytime(kept, claim), claim) != "open"

    total = tally.boards
    while not decided(total):
        total *= 2
        if total > most:
            return None
    return max(1, _first(decided, tally.boards, total) - tally.boards)


def _proves(claim: Claim, boards: int, failed: int) -> bool:
    return anytime(Tally(boards, failed), claim).low >= claim.share


def _first(holds: Callable[[int], bool], low: int, high: int) -> int:
    """Return the least n in [low, high] for which `holds(n)`, which holds at `high`."""
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low


def _ends(passes: int, failures: int, claim: Claim) -> Interval:
    """Return all p with p^s (1-p)^f > α E: an interval about s/(s+f), by bisection."""
    if passes + failures == 0:
        return Interval(0.0, 1.0)
    floor = math.log(1 - claim.confidence) + _log_evidence(passes, failures, claim)

    def inside(p: float) -> bool:
        return _log_power(p, passes) + _log_power(1 - p, failures) > floor

    peak = passes / (passes + failures)
    low = 0.0 if inside(0.0) else _border(inside, peak, 0.0)
    high = 1.0 if inside(1.0) else _border(inside, peak, 1.0)
    return Interval(low, high)


def _border(inside: Callable[[float], bool], within: float, outside: float) -> float:
    """Return where `inside` ends between a point where it holds and one where it does not."""
    for _ in range(60):
        middle = (within + outside) / 2
        within, outside = (middle, outside) if inside(middle) else (within, middle)
    return outside


def _log_power(p: float, count: int) -> float:
    if count == 0:
        return 0.0
    return count * math.log(p) if p > 0 else -math.inf


def _log_evidence(passes: int, failures: int, claim: Claim) -> float:
    b = NARROWNESS
    a = b * claim.share / (1 - claim.share)
    spread = math.log(1 - PERFECT_WEIGHT) + _log_beta(a + passes, b + failures) - _log_beta(a, b)
    if failures:
        return spread
    perfect = math.log(PERFECT_WEIGHT)
    return max(perfect, spread) + math.log1p(math.exp(-abs(perfect - spread)))


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
