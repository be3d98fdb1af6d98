"""The search for the smallest change, against going through every set there is."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest

from analog.advice.changes import ChangeSet, Choice, Edit, Knob, size
from analog.advice.search import Found, Score, find

Gaps = Callable[[Mapping[str, float]], dict[str, float]]


def knob(name: str, values: Sequence[float], coarse: Sequence[float] | None = None) -> Knob:
    """A place whose choices are numbers; a change is as large as its number."""
    return Knob(name, _choices(name, values), _choices(name, coarse or values))


def _choices(name: str, values: Sequence[float]) -> tuple[Choice, ...]:
    made = (Choice((Edit(name, repr(v)),), abs(v), f"{name} {v:g}") for v in values)
    return tuple(sorted(made, key=lambda choice: choice.steps))


def placed(changes: ChangeSet) -> dict[str, float]:
    return {edit.key: float(edit.text or 0) for one in changes for edit in one.edits}


class Bench:
    """A made-up bench: `truth` gives every gap, the screening sees `kinder` gaps at first."""

    def __init__(self, truth: Gaps, kinder: float = 0.0) -> None:
        self.truth = truth
        self.kinder = kinder
        self.verified: list[ChangeSet] = []

    def screen(self, wanted: Sequence[ChangeSet], fully: bool) -> list[Score]:
        del fully
        return [
            Score({k: gap + self.kinder for k, gap in self.truth(placed(one)).items()})
            for one in wanted
        ]

    def verify(self, changes: ChangeSet) -> Score:
        self.verified.append(changes)
        return Score(self.truth(placed(changes)))

    def find(self, knobs: Sequence[Knob], most: int = 2, wanted: int = 3, **more: object) -> Found:
        present = Score(self.truth({}))
        return find(knobs, present, self.screen, self.verify, most_changes=most,
                    wanted=wanted, **more)  # type: ignore[arg-type]  # fmt: skip


def smallest(knobs: Sequence[Knob], truth: Gaps, most: int) -> dict[tuple[str, ...], float]:
    """Go through every set: the smallest size that works per combination of places."""
    for count in range(1, most + 1):
        best: dict[tuple[str, ...], float] = {}
        for places in itertools.combinations(knobs, count):
            for one in itertools.product(*(k.fine if count == 1 else k.coarse for k in places)):
                if Score(truth(placed(one))).works:
                    names = tuple(k.name for k in places)
                    best[names] = min(size(one), best.get(names, math.inf))
        if best:
            return best
    return {}


def bent(random: np.random.Generator, names: Sequence[str], limits: int) -> Gaps:
    """Gaps that bend in every value; a place that moves a limit at all moves it alone too."""
    slopes = random.normal(size=(limits, len(names)))
    bends = random.uniform(0.0, 0.05, size=(limits, len(names)))
    start = np.where(np.arange(limits) == 0, -1.0, random.uniform(0.1, 2.0, size=limits))

    def gaps(at: Mapping[str, float]) -> dict[str, float]:
        x = np.array([at.get(name, 0.0) for name in names])
        found = start + slopes @ x - bends @ x**2
        return {f"limit {i}": float(gap) for i, gap in enumerate(found)}

    return gaps


@pytest.mark.parametrize("kinder", [0.0, 0.05])
def test_the_smallest_is_that_of_going_through_all(kinder: float, counts: Callable) -> None:
    seen: set[int] = set()
    for seed in range(counts(60, 1000)):
        random = np.random.default_rng(seed)
        names = ("a", "b", "c")
        knobs = [knob(n, np.round(random.uniform(-3, 3, 12), 3).tolist()) for n in names]
        truth = bent(random, names, 4)
        expected = smallest(knobs, truth, 2)
        found = Bench(truth, kinder).find(knobs)
        sizes = [size(changes) for changes, _ in found.works]
        best = sorted(expected.values())[:3]
        assert sizes == pytest.approx(best), seed
        assert found.whole
        seen.add(len(found.works[0][0]) if found.works else 0)
    assert seen == {0, 1, 2}  # the cases are of all three sorts


def test_every_set_handed_out_was_verified() -> None:
    bench = Bench(lambda at: {"level": at.get("a", 0.0) - 1.0}, kinder=0.5)
    found = bench.find([knob("a", (0.5, 0.6, 0.9, 1.0, 2.0))])
    assert [placed(changes) for changes, _ in found.works] == [{"a": 1.0}]
    # the screening let the smaller ones through; only their verification showed it
    assert [placed(changes)["a"] for changes in bench.verified] == [0.5, 0.6, 0.9, 1.0]
    assert found.verified == 4


def test_one_change_is_taken_before_two_smaller_ones() -> None:
    def truth(at: Mapping[str, float]) -> dict[str, float]:
        return {"level": at.get("a", 0.0) + at.get("b", 0.0) - 3.0}

    found = Bench(truth).find([knob("a", (1.5, 10.0)), knob("b", (1.5,))])
    assert [placed(changes) for changes, _ in found.works] == [{"a": 10.0}]


def test_two_places_that_only_work_together() -> None:
    def truth(at: Mapping[str, float]) -> dict[str, float]:
        return {"x": at.get("a", 0.0) - 1, "y": at.get("b", 0.0) - 1, "z": 5 - at.get("c", 0.0)}

    found = Bench(truth).find([knob(n, (1, 2)) for n in "abc"])
    assert [placed(changes) for changes, _ in found.works] == [{"a": 1, "b": 1}]


def test_a_limit_that_never_happens_bars_no_pair() -> None:
    def truth(at: Mapping[str, float]) -> dict[str, float]:
        both = at.get("a", 0.0) > 0 and at.get("b", 0.0) > 0
        return {"fires": 1.0 if both else -math.inf}

    found = Bench(truth).find([knob("a", (1,)), knob("b", (1,))])
    assert [placed(changes) for changes, _ in found.works] == [{"a": 1, "b": 1}]


def test_nothing_works_and_the_closest_is_named() -> None:
    def truth(at: Mapping[str, float]) -> dict[str, float]:
        a = at.get("a", 0.0)
        return {"level": -1.0 + 0.1 * a, "other": -0.5}

    found = Bench(truth).find([knob("a", (1, 2, 3))], most=1)
    assert found.works == ()
    assert found.whole
    assert found.closest is not None
    assert placed(found.closest) == {"a": 3}


def test_fewer_short_limits_are_closer_than_a_smaller_shortfall() -> None:
    def truth(at: Mapping[str, float]) -> dict[str, float]:
        a = at.get("a", 0.0)
        return {"x": 1.0 if a == 2 else -0.1, "y": -5.0 if a == 2 else -0.1}

    found = Bench(truth).find([knob("a", (1, 2))], most=1)
    assert found.closest is not None
    assert placed(found.closest) == {"a": 2}


def test_the_closest_is_judged_by_its_verification() -> None:
    """The screening is kinder to 3 than to 2; in truth 2 is closer."""

    def screen(wanted: Sequence[ChangeSet], fully: bool) -> list[Score]:
        del fully
        return [Score({"x": {1: -0.9, 2: -0.3, 3: -0.2}[placed(one)["a"]]}) for one in wanted]

    def verify(changes: ChangeSet) -> Score:
        return Score({"x": {1: -0.9, 2: -0.4, 3: -0.6}[placed(changes)["a"]]})

    found = find([knob("a", (1, 2, 3))], Score({"x": -1.0}), screen, verify,
                 most_changes=1, wanted=1)  # fmt: skip
    assert found.closest is not None
    assert placed(found.closest) == {"a": 2}


def test_a_spent_budget_is_no_proof_that_nothing_works() -> None:
    left = iter([True, False])
    bench = Bench(lambda _: {"level": -1.0})
    found = bench.find([knob("a", range(1, 200))], has_budget=lambda: next(left))
    assert not found.whole
    assert found.tried < 199


def test_a_set_that_cannot_be_is_never_verified() -> None:
    def screen(wanted: Sequence[ChangeSet], fully: bool) -> list[Score]:
        del fully
        return [Score({}, "no such part") for _ in wanted]

    def verify(changes: ChangeSet) -> Score:
        raise AssertionError(changes)

    found = find([knob("a", (1, 2))], Score({"x": -1.0}), screen, verify, most_changes=2, wanted=1)
    assert found.works == ()
    assert found.closest is None
