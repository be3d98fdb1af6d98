"""Two values laid out against each other: where every limit is kept, and which one ends it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np

from analog.advice.changes import ChangeSet, Choice, Edit, steps_between
from analog.advice.knobs import part_at, value_keys
from analog.advice.search import Score
from analog.advice.stock import rewritten, thinned, values
from analog.circuits.space import Floats
from analog.design import Design, PartValue, problem_at
from analog.engine import Engine
from analog.errors import InputError
from analog.studies.archive import Flags
from analog.workflows.check import check_bench, make_plans
from analog.workflows.screening import Screener, score_of, variant
from analog.workflows.suggest import Wish

MOST_VERIFIED = 4

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Trade:
    """What every limit has left over at each pair of values.

    `values` are those laid out, rising: about E6 of what is in stock, and the design's own, which
    are `present`. `gaps` maps a limit to shares (first values, second values) left over the
    required margin; `limits` are those that end the region somewhere. `verified` are pairs
    checked in full at the guaranteed extremes.
    """

    design: Design
    keys: tuple[str, str]
    units: tuple[str, str]
    values: tuple[tuple[float, ...], tuple[float, ...]]
    present: tuple[float, float]
    gaps: Mapping[str, Floats]
    limits: tuple[str, ...]
    works: Flags
    verified: tuple[tuple[tuple[float, float], bool], ...]
    required: float
    screened: int

    def cell(self, first: float, second: float) -> tuple[str, ...]:
        """Return the limits that are short at a pair of the values laid out."""
        at = self.values[0].index(first), self.values[1].index(second)
        return tuple(name for name in self.limits if not self.gaps[name][at] >= 0)


def trade(
    design: Design,
    engine: Engine,
    keys: tuple[str, str],
    wish: Wish | None = None,
    *,
    progress: Progress | None = None,
    tell: Callable[[str], None] | None = None,
    filename: str = "design",
) -> Trade:
    """Lay out two values of a design; InputError for keys that name no value of it.

    The benches that either key touches are checked in full as they are, and again at up to
    `MOST_VERIFIED` pairs at the ends of what works; everything else is screened.
    """
    wanted = wish or Wish()
    parts = _parts(design, keys, filename)
    benches = _touched(design, keys, filename)
    screener = Screener(engine, design, filename, frozenset(benches), wanted.required)
    for plan in make_plans(design, benches, filename):
        screener.learn(check_bench(plan, design, engine, wanted.seed, progress))
    axes = tuple(_laid_out(part) for part in parts)
    pairs = list(product(*axes))
    cases = 1 + sum(len(known) for known in screener.points.values())
    if tell is not None:
        most = len(pairs) * cases
        tell(
            f"{len(pairs)} pairs of values, {cases} known worst cases each: "
            f"about {most} short simulations"
        )
    if progress is not None:
        report = progress
        screener.told = lambda asked: report("pairs of values", asked, len(pairs) * cases)
    layout = _Layout(design, screener, parts, axes, filename)
    scores, verified = layout.settle(pairs, benches, wanted)
    return _record(layout, keys, scores, verified, wanted.required)


@dataclass(slots=True)
class _Layout:
    design: Design
    screener: Screener
    parts: tuple[PartValue, PartValue]
    axes: tuple[tuple[float, ...], ...]
    filename: str

    def changes(self, pair: tuple[float, ...]) -> ChangeSet:
        return tuple(_choice(part, value) for part, value in zip(self.parts, pair, strict=True))

    def settle(
        self, pairs: Sequence[tuple[float, ...]], benches: Sequence[str], wish: Wish
    ) -> tuple[list[Score], list[tuple[tuple[float, float], bool]]]:
        """Screen all pairs, check the ends of what works in full, screen again what was learnt."""
        verified: dict[tuple[float, float], bool] = {}
        while True:
            scores = self.screener([self.changes(pair) for pair in pairs], True)
            ends = _ends([p for p, s in zip(pairs, scores, strict=True) if s.works], self.parts)
            fresh = [end for end in ends if end not in verified][: MOST_VERIFIED - len(verified)]
            if not fresh:
                return scores, list(verified.items())
            for end in fresh:
                verified[end] = self._verify(end, benches, wish).works

    def _verify(self, pair: tuple[float, float], benches: Sequence[str], wish: Wish) -> Score:
        changed = variant(self.design, self.changes(pair), self.filename)
        if changed.design is None:
            return Score({}, changed.barred)
        own = [plan for plan in changed.plans if plan.bench in benches]
        engine, seed = self.screener.engine, wish.seed
        checked = [check_bench(plan, changed.design, engine, seed) for plan in own]
        score = score_of(checked, wish.required)
        if not score.works:
            for bench in checked:
                self.screener.learn(bench)
        return score


def _ends(
    works: Sequence[tuple[float, ...]], parts: Sequence[PartValue]
) -> list[tuple[float, float]]:
    """Return the pairs to check in full: nearest to the design, and the ends of what works."""
    pairs = [(pair[0], pair[1]) for pair in works]
    if not pairs:
        return []

    def apart(pair: tuple[float, float]) -> float:
        return sum(steps_between(p.nominal, v) for p, v in zip(parts, pair, strict=True))

    chosen = [min(pairs, key=apart)]
    for index in (1, 0):
        chosen += [max(pairs, key=lambda p: (p[index], -apart(p))),
                   min(pairs, key=lambda p: (p[index], apart(p)))]  # fmt: skip
    return list(dict.fromkeys(chosen))


def _parts(design: Design, keys: tuple[str, str], filename: str) -> tuple[PartValue, PartValue]:
    found = [part_at(design, key) for key in keys]
    known = ", ".join(key for key in value_keys() if part_at(design, key) is not None)
    problems = [
        problem_at(design, filename, key, "this is no resistor or capacitor of the design that "
                   "can be changed", f"It has: {known}")
        for key, part in zip(keys, found, strict=True)
        if part is None or key not in value_keys()
    ]  # fmt: skip
    if not problems and keys[0] == keys[1]:
        problems = [problem_at(design, filename, keys[0], "the same part twice", "Name two parts")]
    if problems:
        raise InputError(tuple(problems))
    first, second = found
    if first is None or second is None:
        raise ValueError(f"{keys} passed although one is missing")
    return first, second


def _touched(design: Design, keys: tuple[str, str], filename: str) -> tuple[str, ...]:
    sections = {key.partition(".")[0] for key in keys}
    if "line_sense" in sections:
        sections.add("conditioner")
    plans = make_plans(design, None, filename)
    return tuple(plan.bench for plan in plans if plan.bench in sections)


def _unit(part: PartValue) -> Literal["Ω", "F"]:
    from analog.cards import technology

    return "F" if technology(part.technology).kind == "capacitor" else "Ω"


def _laid_out(part: PartValue) -> tuple[float, ...]:
    """Return what is in stock nearest to E6 around the part, with its own value, rising."""
    kept = thinned(values(part, part.technology, None), "E6")
    return tuple(sorted({*kept, part.nominal}))


def _choice(part: PartValue, value: float) -> Choice:
    if math.isclose(value, part.nominal, rel_tol=1e-9):
        return Choice((), 0.0, f"{part.key}: as it is")
    text = rewritten(part, value, _unit(part))
    edit = Edit(part.key, text)
    return Choice((edit,), steps_between(part.nominal, value), f"{part.key}: {text}")


def _record(
    layout: _Layout,
    keys: tuple[str, str],
    scores: Sequence[Score],
    verified: Sequence[tuple[tuple[float, float], bool]],
    required: float,
) -> Trade:
    shape = tuple(len(axis) for axis in layout.axes)
    names = sorted({name for score in scores for name in score.gaps})
    gaps = {
        name: np.array([s.gaps.get(name, -math.inf) for s in scores]).reshape(shape)
        for name in names
    }
    works = np.array([score.works for score in scores]).reshape(shape)
    first, second = layout.parts
    return Trade(
        layout.design,
        keys,
        (_unit(first), _unit(second)),
        (layout.axes[0], layout.axes[1]),
        (first.nominal, second.nominal),
        gaps,
        tuple(name for name in names if (gaps[name] < 0).any()),
        works,
        tuple(verified),
        required,
        layout.screener.asked,
    )
