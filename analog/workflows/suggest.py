"""`suggest`: the smallest stock-value changes that make every limit pass with a margin.

Benches that share parts are mended together, the others apart; the whole design with all changes
in is what is verified and handed out. See `analog.advice.search` for what "smallest" rests on.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Final, Literal

from analog.advice.changes import ChangeSet, Choice, Knob, edits_of, size
from analog.advice.editing import edited_text, with_verdict
from analog.advice.knobs import knobs_of
from analog.advice.search import Found, Score, find
from analog.design import Design, parse_design, problem_at, read_design
from analog.engine import Engine
from analog.errors import InputError
from analog.quantities import SeriesName
from analog.results.records import Results
from analog.workflows.check import check_bench, gathered, make_plans
from analog.workflows.checked import CheckedBench
from analog.workflows.screening import Screener, same_bench, score_of, variant

GROUPS: Final = (("supply",), ("line_sense", "conditioner"), ("reset",), ("gate_drive",))
"""Benches that share parts which could be changed."""

MOST_CHANGES: Final = 2
WANTED: Final = 3
BUDGET: Final = 6000
"""Rows that screening may ask for."""
REQUIRED: Final = 0.05

FROM_STORE_S: Final = 1e-3
"""A check faster than this per run was not simulated: its pace tells nothing."""

PROBES: Final = 6
"""Choices of a place that are looked at to see how far a limit can be moved at all."""

Status = Literal["none needed", "found", "none", "undecided"]

Tell = Callable[[str], None]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for: margin as a share of each limit, series, how far to search.

    `places` are the only ones that may change, as `analog.advice.knobs` names them; none means
    all.
    """

    required: float = REQUIRED
    series: SeriesName | None = None
    most_changes: int = MOST_CHANGES
    wanted: int = WANTED
    budget: int = BUDGET
    seed: int = 0
    places: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A changed design, checked whole at its guaranteed extremes."""

    changes: ChangeSet
    design: Design
    benches: tuple[CheckedBench, ...]
    results: Results
    score: Score

    @property
    def text(self) -> str:
        return self.design.text


@dataclass(frozen=True, slots=True)
class Searched:
    """How one group of benches was searched: limits that were short, places, and what was tried."""

    benches: tuple[str, ...]
    short: tuple[str, ...]
    knobs: tuple[Knob, ...]
    found: Found


@dataclass(frozen=True, slots=True)
class Suggested:
    """The outcome. `base` is the design as it is; `closest` is given when nothing works:
    `base` itself when nothing comes closer.

    `aside` names limits that are kept, or can be, though more thinly than asked for whatever is
    changed: it is enough that they are kept. `check_runs` are the simulations of
    checking the design as it is; `screened` and `verified` those that the search asked for on
    top (what a store knew included).
    """

    wish: Wish
    status: Status
    base: Suggestion
    searched: tuple[Searched, ...]
    suggestions: tuple[Suggestion, ...]
    closest: Suggestion | None
    aside: tuple[str, ...]
    check_runs: int
    screened: int
    verified: int

    @property
    def multiple(self) -> float:
        """The whole work in checks of the design as it is, the first included."""
        return (self.check_runs + self.screened + self.verified) / max(1, self.check_runs)


def suggest(
    design: Design | Path | str,
    engine: Engine,
    wish: Wish | None = None,
    *,
    progress: Progress | None = None,
    tell: Tell | None = None,
    filename: str = "design",
) -> Suggested:
    """Search the smallest changes that make every limit of a design pass with a margin.

    `tell` is called with a line about each search before it begins: how many sets, how many
    simulations at most. Raises InputError as `check` does.
    """
    name = filename if isinstance(design, Design) else str(design)
    record = design if isinstance(design, Design) else read_design(design)
    work = _Work(record, engine, wish or Wish(), name, progress, tell or (lambda _: None))
    return work.whole()


@dataclass(slots=True)
class _Work:
    design: Design
    engine: Engine
    wish: Wish
    filename: str
    progress: Progress | None
    tell: Tell
    checked: dict[ChangeSet, tuple[CheckedBench, ...]] = field(default_factory=dict)
    base: tuple[CheckedBench, ...] = ()
    knobs: tuple[Knob, ...] = ()
    aside: frozenset[str] = frozenset()
    seconds_each: float = 0.0
    screened: int = 0
    verified: int = 0

    def whole(self) -> Suggested:
        plans = make_plans(self.design, None, self.filename)
        self.knobs = _allowed(self.design, self.wish, self.filename)
        began = time.monotonic()
        self.base = tuple(
            check_bench(plan, self.design, self.engine, self.wish.seed, self.progress)
            for plan in plans
        )
        runs = sum(bench.result.runs for bench in self.base)
        self.seconds_each = (time.monotonic() - began) / max(1, runs)
        self.aside = self._thin_for_good(score_of(self.base, self.wish.required))
        searched = tuple(self._searches(self._suggestion((), self.design, self.base).score))
        present = self._suggestion((), self.design, self.base)
        works = [one.found.works for one in searched]
        suggestions = self._combined(works) if all(works) else ()
        status = self._status(searched, suggestions)
        return Suggested(
            self.wish,
            status,
            present,
            searched,
            suggestions if searched else (),
            self._closest(searched, present) if status in ("none", "undecided") else None,
            tuple(sorted(self.aside)),
            sum(bench.result.runs for bench in self.base),
            self.screened,
            self.verified,
        )

    def _status(self, searched: Sequence[Searched], suggestions: Sequence[Suggestion]) -> Status:
        if not searched:
            return "none needed"
        if suggestions:
            return "found"
        return (
            "none" if all(one.found.whole or one.found.works for one in searched) else "undecided"
        )

    def _searches(self, present: Score) -> Iterator[Searched]:
        """Search every group of benches that has a limit short of its margin."""
        for group in _groups(self.base):
            short = tuple(name for name in present.short if name.split(".")[0] in group)
            if not short:
                continue
            own = tuple(knob for knob in self.knobs if knob.section in group)
            screener = self._screener(group)
            self.aside |= self._out_of_reach(short, own, screener)
            short = tuple(name for name in short if name not in self.aside)
            if short:
                yield Searched(group, short, own, self._search(group, own, screener))

    def _screener(self, group: tuple[str, ...]) -> Screener:
        screener = Screener(
            self.engine, self.design, self.filename, frozenset(group), self.wish.required
        )
        for bench in self.base:
            if bench.plan.bench in group:
                screener.learn(bench)
        return screener

    def _out_of_reach(
        self, short: Iterable[str], knobs: Iterable[Knob], screener: Screener
    ) -> frozenset[str]:
        """Return the limits that changes can keep, but none of a few of each place by the margin.

        Such is a rail as exact as its regulator: asking for more than the part gives would hide
        every change that mends the rest.
        """
        probes = [(choice,) for knob in knobs for choice in _spread(knob.coarse, PROBES)]
        tried = screener([(), *probes], fully=True)
        best = {
            name: max(one.gaps.get(name, -math.inf) for one in tried if not one.barred)
            for name in short
        }
        return frozenset(name for name, gap in best.items() if gap < 0 and self._kept(gap))

    def _search(self, group: tuple[str, ...], knobs: tuple[Knob, ...], screener: Screener) -> Found:
        own = [bench for bench in self.base if bench.plan.bench in group]
        self._announce(group, knobs, screener)
        start = self.screened
        if self.progress is not None:
            report, title = self.progress, f"changes in {', '.join(group)}"
            screener.told = lambda asked: report(title, start + asked, self.wish.budget)
        found = find(
            knobs,
            self._excusing(score_of(own, self.wish.required)),
            lambda wanted, fully: [self._excusing(one) for one in screener(wanted, fully)],
            lambda changes: self._verify(changes, group, screener),
            most_changes=self.wish.most_changes,
            wanted=self.wish.wanted,
            has_budget=lambda: start + screener.asked < self.wish.budget,
        )
        self.screened += screener.asked
        return found

    def _announce(self, group: tuple[str, ...], knobs: Sequence[Knob], screener: Screener) -> None:
        single = sum(len(knob.fine) for knob in knobs)
        cases = 1 + sum(len(known) for known in screener.points.values())
        most = min(single * cases, self.wish.budget - self.screened)
        self.tell(
            f"{', '.join(group)}: {single} single changes in {len(knobs)} places, {cases} known "
            f"worst cases each: at most {max(most, 0)} short simulations{self._estimate(most)}; "
            f"then sets of up to {self.wish.most_changes}, {self.wish.budget} in all"
        )

    def _estimate(self, runs: int) -> str:
        """Return how long that takes by the pace of the check, nothing where a store knew it."""
        if self.seconds_each < FROM_STORE_S or runs <= 0:
            return ""
        return f", about {_time_words(runs * self.seconds_each)}"

    def _verify(self, changes: ChangeSet, group: tuple[str, ...], screener: Screener) -> Score:
        """Check the benches of a group in full with the changes in, and learn from it."""
        changed = variant(self.design, changes, self.filename)
        if changed.design is None:
            return Score({}, changed.barred)
        benches = tuple(
            bench for bench in self._benches(changed.design, self.base) if bench.plan.bench in group
        )
        self.checked[changes] = benches
        score = self._excusing(score_of(benches, self.wish.required))
        if not score.works:
            for bench in benches:
                screener.learn(bench)
        return score

    def _benches(self, design: Design, known: Iterable[CheckedBench]) -> tuple[CheckedBench, ...]:
        """Return all benches of a changed design; what is the same as a known one is not run."""
        known = tuple(known)
        found = []
        for plan in make_plans(design, None, self.filename):
            same = (b for b in known if b.plan.bench == plan.bench and same_bench(b.plan, plan))
            bench = next(same, None)
            if bench is None:
                bench = check_bench(plan, design, self.engine, self.wish.seed, self.progress)
                self.verified += bench.result.runs
            found.append(bench)
        return tuple(found)

    def _combined(
        self, works: Sequence[Sequence[tuple[ChangeSet, Score]]]
    ) -> tuple[Suggestion, ...]:
        """Join what mends each group; hand out the smallest, every one checked whole."""
        joined = [tuple(changes for changes, _ in parts) for parts in product(*works)]
        joined.sort(key=lambda parts: (sum(map(len, parts)), sum(map(size, parts))))
        found: list[Suggestion] = []
        for parts in joined:
            if len(found) == self.wish.wanted:
                break
            one = self._whole(parts)
            if one.score.works:
                found.append(one)
        return tuple(found)

    def _whole(self, parts: Sequence[ChangeSet]) -> Suggestion:
        changes = tuple(choice for part in parts for choice in part)
        known = [bench for part in parts for bench in self.checked.get(part, ())]
        text = edited_text(self.design.text, edits_of(changes), noted=True)
        design = parse_design(text, self.filename)
        benches = self._benches(design, [*known, *self.base])
        one = self._suggestion(changes, design, benches)
        if one.score.works and design.expect is not None:
            design = parse_design(with_verdict(text, one.results.verdict or "pass"), self.filename)
            one = self._suggestion(changes, design, benches)
        return one

    def _suggestion(
        self, changes: ChangeSet, design: Design, benches: tuple[CheckedBench, ...]
    ) -> Suggestion:
        results = gathered(design, self.engine, self.wish.seed, benches)
        score = self._excusing(score_of(benches, self.wish.required))
        return Suggestion(changes, design, benches, results, score)

    def _thin_for_good(self, present: Score) -> frozenset[str]:
        """Return the limits that are kept too thinly where no part in the search could help."""
        sections = {knob.section for knob in self.knobs}
        fixed = {
            name
            for group in _groups(self.base)
            if not sections.intersection(group)
            for name in group
        }
        return frozenset(
            name
            for name in present.short
            if name.split(".")[0] in fixed and self._kept(present.gaps[name])
        )

    def _kept(self, gap: float) -> bool:
        return gap + self.wish.required >= 0

    def _excusing(self, score: Score) -> Score:
        gaps = {name: self._excused(name, gap) for name, gap in score.gaps.items()}
        return Score(gaps, score.barred)

    def _excused(self, name: str, gap: float) -> float:
        """Return a gap; none for a limit set aside, as long as it is kept at all."""
        return math.inf if name in self.aside and self._kept(gap) else gap

    def _closest(self, searched: Sequence[Searched], present: Suggestion) -> Suggestion:
        """Return what comes closest: per group what works, else the best that was verified.

        That is the design as it is when nothing comes closer.
        """
        parts = [
            one.found.works[0][0] if one.found.works else one.found.closest for one in searched
        ]
        best = self._whole([part for part in parts if part is not None])
        return best if best.score.rank < present.score.rank else present


def _allowed(design: Design, wish: Wish, filename: str) -> tuple[Knob, ...]:
    """Return the places that may change; InputError for one that the design does not have."""
    knobs = knobs_of(design, wish.series)
    names = [knob.name for knob in knobs]
    remedy = f"It has: {', '.join(names)}"
    rule = "this is no place of the design that a stock part could change"
    problems = tuple(
        problem_at(design, filename, place, rule, remedy)
        for place in wish.places
        if place not in names
    )
    if problems:
        raise InputError(problems)
    return tuple(knob for knob in knobs if not wish.places or knob.name in wish.places)


def _time_words(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def _spread(choices: Sequence[Choice], most: int) -> tuple[Choice, ...]:
    """Return at most `most` choices, from the smallest change to the largest."""
    count = min(most, len(choices))
    return tuple(choices[k * (len(choices) - 1) // max(1, count - 1)] for k in range(count))


def _groups(benches: Iterable[CheckedBench]) -> list[tuple[str, ...]]:
    names = [bench.plan.bench for bench in benches]
    grouped = {name for group in GROUPS for name in group}
    return [*GROUPS, *((name,) for name in names if name not in grouped)]
