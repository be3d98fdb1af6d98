"""Finds the smallest sets of changes that work, knowing nothing of circuits.

Sets of one change are tried before sets of two, small changes before large ones. A set is first
screened, which is cheap and only ever too kind (it looks at some of the worst cases, so what
fails there fails); what passes is verified, which is dear. Every verification that fails teaches
the screening a worst case more. So the first set that is verified is the smallest in the space.

Sets of two and more are taken from the coarse choices, and only where every failing limit was
moved the right way by at least one of the set's places alone.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, islice, product
from typing import Final

from analog.advice.changes import ChangeSet, Choice, Knob, size

BATCH: Final = 24
"""Sets screened at a time."""

CANDIDATES_KEPT: Final = 8
"""Failed sets that are looked at again when the closest is asked for."""

CLOSEST_VERIFIED: Final = 2
"""Of these, how many are verified: a screening is kinder to some than to others."""

_MOVED: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Score:
    """How far each limit is kept, as far as it was looked at.

    `gaps` maps a limit's name to the margin left over the one required, as a share (negative:
    short of it; −inf: it never happens, or no data). `barred` says why the set cannot be at all.
    """

    gaps: Mapping[str, float]
    barred: str = ""

    @property
    def short(self) -> tuple[str, ...]:
        """The limits that are not kept."""
        return tuple(name for name, gap in self.gaps.items() if not gap >= 0)

    @property
    def works(self) -> bool:
        return not self.barred and not self.short

    @property
    def least(self) -> float:
        """The smallest gap; −inf for a set that cannot be."""
        return -math.inf if self.barred else min(self.gaps.values(), default=math.inf)

    @property
    def rank(self) -> tuple[int, float]:
        """How far from working: how many limits are short, and by how much the worst."""
        return (10**6 if self.barred else len(self.short)), -self.least


Screen = Callable[[Sequence[ChangeSet], bool], Sequence[Score]]
"""Sets of changes to scores; with True every known worst case is looked at, without only as many
as it takes to see that a set fails."""

Verify = Callable[[ChangeSet], Score]


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: verified sets, smallest first, with their scores.

    `closest` is the best verified set that failed, when none works. `tried` counts the
    sets screened; `whole` is False when the budget ended the search.
    """

    works: tuple[tuple[ChangeSet, Score], ...]
    closest: ChangeSet | None
    tried: int
    verified: int
    whole: bool


@dataclass(slots=True)
class _Hunt:
    screen: Screen
    verify: Verify
    has_budget: Callable[[], bool]
    wanted: int
    works: dict[tuple[str, ...], tuple[ChangeSet, Score]] = field(default_factory=dict)
    failed: list[tuple[tuple[int, float], int, ChangeSet]] = field(default_factory=list)
    gaps: dict[str, list[Mapping[str, float]]] = field(default_factory=dict)
    tried: int = 0
    noted: int = 0
    verified: int = 0
    whole: bool = True


def find(
    knobs: Sequence[Knob],
    present: Score,
    screen: Screen,
    verify: Verify,
    *,
    most_changes: int,
    wanted: int,
    has_budget: Callable[[], bool] = lambda: True,
) -> Found:
    """Return up to `wanted` smallest sets that work, at most one per combination of places.

    `present` is the score of the design as it is. Sets of n changes are only tried when none of
    fewer works.
    """
    hunt = _Hunt(screen, verify, has_budget, wanted)
    for count in range(1, most_changes + 1):
        places = list(_places(knobs, count, present, hunt.gaps))
        _try_level(places, hunt, count)
        if hunt.works or not hunt.whole:
            break
    works = sorted(hunt.works.values(), key=lambda pair: (len(pair[0]), size(pair[0])))
    closest = None if works else _closest(hunt)
    return Found(tuple(works), closest, hunt.tried, hunt.verified, hunt.whole)


def _places(
    knobs: Sequence[Knob],
    count: int,
    present: Score,
    gaps: Mapping[str, Sequence[Mapping[str, float]]],
) -> Iterator[tuple[Knob, ...]]:
    """Yield the combinations of places worth trying."""
    for places in combinations(knobs, count):
        if count == 1 or _may_mend(places, present, gaps):
            yield places


def _may_mend(
    places: tuple[Knob, ...],
    present: Score,
    gaps: Mapping[str, Sequence[Mapping[str, float]]],
) -> bool:
    """Tell whether every failing limit was moved the right way by one of the places alone.

    A limit at −inf tells nothing: two changes together may make happen what neither does.
    """
    for name in present.short:
        before = present.gaps[name]
        if math.isinf(before):
            continue
        seen = (own.get(name, -math.inf) for knob in places for own in gaps.get(knob.name, ()))
        if not any(gap > before + _MOVED for gap in seen):
            return False
    return True


def _try_level(places: Sequence[tuple[Knob, ...]], hunt: _Hunt, count: int) -> None:
    queue = _ordered(places, count)
    while len(hunt.works) < hunt.wanted:
        batch = list(islice((item for item in queue if item[0] not in hunt.works), BATCH))
        if not batch:
            return
        if not hunt.has_budget():
            hunt.whole = False
            return
        _try_batch(batch, hunt)


def _ordered(
    places: Sequence[tuple[Knob, ...]], count: int
) -> Iterator[tuple[tuple[str, ...], ChangeSet]]:
    """Return all sets of all places, the smallest change first."""
    streams = []
    for knobs in places:
        names = tuple(knob.name for knob in knobs)
        choices = [knob.fine if count == 1 else knob.coarse for knob in knobs]
        streams.append(_sorted_sets(names, choices))
    merged = heapq.merge(*streams, key=lambda item: (size(item[1]), item[0]))
    return iter(merged)


def _sorted_sets(
    names: tuple[str, ...], choices: Iterable[Sequence[Choice]]
) -> list[tuple[tuple[str, ...], ChangeSet]]:
    return [(names, one) for one in sorted(product(*choices), key=size)]


def _try_batch(batch: Sequence[tuple[tuple[str, ...], ChangeSet]], hunt: _Hunt) -> None:
    """Screen a batch and verify what passes, in order; screen again after each failure."""
    scores = list(hunt.screen([changes for _, changes in batch], False))
    hunt.tried += len(batch)
    for (names, changes), score in zip(batch, scores, strict=True):
        _note(hunt, names, changes, score)
    open_ = [item for item, score in zip(batch, scores, strict=True) if score.works]
    while open_ and len(hunt.works) < hunt.wanted:
        names, changes = open_.pop(0)
        score = hunt.verify(changes)
        hunt.verified += 1
        if score.works:
            hunt.works[names] = (changes, score)
            open_ = [item for item in open_ if item[0] != names]
            continue
        _note(hunt, names, changes, score)
        if open_:
            again = hunt.screen([own for _, own in open_], False)
            open_ = [item for item, own in zip(open_, again, strict=True) if own.works]


def _note(hunt: _Hunt, names: tuple[str, ...], changes: ChangeSet, score: Score) -> None:
    """Remember what a set did to the limits, and the sets that came closest."""
    if len(names) == 1:
        hunt.gaps.setdefault(names[0], []).append(dict(score.gaps))
    if score.works or score.barred:
        return
    # The set's number is the tie-breaker: changes cannot be compared.
    hunt.noted += 1
    hunt.failed.append((score.rank, hunt.noted, changes))
    if len(hunt.failed) > 50 * CANDIDATES_KEPT:
        hunt.failed = heapq.nsmallest(CANDIDATES_KEPT, hunt.failed)


def _closest(hunt: _Hunt) -> ChangeSet | None:
    """Return the failed set that is nearest to working, judged by verifying the best few."""
    best = [changes for _, _, changes in heapq.nsmallest(CANDIDATES_KEPT, hunt.failed)]
    if not best:
        return None
    scores = hunt.screen(best, True)
    ranked = sorted(zip((score.rank for score in scores), range(len(best)), strict=True))
    verified = []
    for _, index in ranked[:CLOSEST_VERIFIED]:
        verified.append((hunt.verify(best[index]).rank, index))
        hunt.verified += 1
    return best[min(verified)[1]]
