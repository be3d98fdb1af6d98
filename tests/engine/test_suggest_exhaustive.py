"""Suggestions with the real engine against checking every change there is, one by one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator

import pytest
from suggest_cases import IMPOSSIBLE, LEAKS, SLOW_FILTER

from analog.advice.changes import ChangeSet, Knob, edits_of, size
from analog.advice.editing import edited_text
from analog.advice.knobs import knobs_of
from analog.design import parse_design
from analog.engine import Engine, open_engine
from analog.errors import InputError
from analog.workflows import check
from analog.workflows.screening import score_of
from analog.workflows.suggest import Suggested, Wish, suggest

REQUIRED = 0.05


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    store = tmp_path_factory.mktemp("suggest") / "results.sqlite"
    with open_engine(store=store) as opened:
        yield opened


def works(text: str, changes: ChangeSet, engine: Engine) -> bool:
    """Check a changed design in full; what cannot be read does not work."""
    try:
        design = parse_design(edited_text(text, edits_of(changes)), "changed.toml")
    except InputError:
        return False
    return score_of(check(design, engine).benches, REQUIRED).works


def smallest(
    text: str, knobs: tuple[Knob, ...], count: int, engine: Engine
) -> dict[tuple[str, ...], float]:
    """Check every set of `count` changes: the smallest size that works, by its places."""
    found: dict[tuple[str, ...], float] = {}
    for places in itertools.combinations(knobs, count):
        names = tuple(knob.name for knob in places)
        for one in itertools.product(*(k.fine if count == 1 else k.coarse for k in places)):
            if size(one) < found.get(names, math.inf) and works(text, one, engine):
                found[names] = size(one)
    return found


def sizes(found: Suggested) -> dict[tuple[str, ...], float]:
    return {
        tuple(choice.edits[0].key for choice in one.changes): size(one.changes)
        for one in found.suggestions
    }


def chosen(text: str, series: str, places: tuple[str, ...]) -> tuple[Knob, ...]:
    knobs = knobs_of(parse_design(text, "x.toml"), series)  # type: ignore[arg-type]
    return tuple(knob for knob in knobs if knob.name in places)


@pytest.mark.parametrize(
    ("text", "places"),
    [
        (LEAKS.replace("1M", "220k"), ("reset.resistor",)),
        (SLOW_FILTER, ("line_sense.capacitor",)),
    ],
    ids=["reset", "line"],
)
def test_one_change_is_the_smallest_of_all(
    text: str, places: tuple[str, ...], engine: Engine, counts: Callable[[int, int], int]
) -> None:
    series = ("E6", "E12")[counts(0, 1)]
    every = tuple(knob.name for knob in _all(text)) if counts(0, 1) else places
    knobs = chosen(text, series, every)
    wish = Wish(REQUIRED, series, 1, wanted=10, places=every)  # type: ignore[arg-type]
    found = suggest(parse_design(text, "x.toml"), engine, wish)
    assert sizes(found) == pytest.approx(smallest(text, knobs, 1, engine))
    assert found.status == "found"


def _all(text: str) -> tuple[Knob, ...]:
    return knobs_of(parse_design(text, "x.toml"))


def test_two_changes_are_the_smallest_of_all(
    engine: Engine, counts: Callable[[int, int], int]
) -> None:
    """A smaller resistor alone leaks less but holds less: it takes both to hold for 0.3 s.

    That no single change works and no pair is smaller is gone through in the full run.
    """
    text = LEAKS + (
        '\n[[limits]]\nmeasure = "reset.hold_time"\nminimum = "300 ms"\nreason = "a slow display"\n'
    )
    places = ("reset.resistor", "reset.capacitor")
    wish = Wish(REQUIRED, "E6", 2, wanted=10, places=places)
    found = suggest(parse_design(text, "x.toml"), engine, wish)
    knobs = chosen(text, "E6", places)
    assert [len(one.changes) for one in found.suggestions] == [2]
    assert all(one.score.works for one in found.suggestions)
    if counts(0, 1):
        assert smallest(text, knobs, 1, engine) == {}
        assert sizes(found) == pytest.approx(smallest(text, knobs, 2, engine))


def test_what_is_handed_out_is_checked_whole_and_reads_as_it_says(engine: Engine) -> None:
    design = parse_design(LEAKS, "leaks.toml")
    wish = Wish(series="E6", most_changes=1, places=("reset.resistor",))
    found = suggest(design, engine, wish)
    one = found.suggestions[0]
    again = check(parse_design(one.text, "mended.toml"), engine)
    assert again.results == one.results
    assert again.results.verdict == "pass"
    assert score_of(again.benches, wish.required).works
    assert "# large, so that the capacitor may be small; was 1M 5% carbon-film" in one.text
    assert found.check_runs == check(design, engine).results.benches[0].runs
    assert found.multiple > 1


def test_a_larger_margin_never_takes_a_smaller_change(engine: Engine) -> None:
    taken = []
    for required in (0.0, 0.05):
        wish = Wish(required, "E12", 1, wanted=1, places=("reset.resistor",))
        found = suggest(parse_design(LEAKS, "x.toml"), engine, wish)
        assert found.suggestions[0].score.least >= 0
        taken.append(size(found.suggestions[0].changes))
    assert taken[0] <= taken[1]


def test_nothing_works_and_the_closest_is_given_with_numbers(engine: Engine) -> None:
    wish = Wish(series="E6", most_changes=1, places=("reset.resistor", "reset.capacitor"))
    found = suggest(parse_design(IMPOSSIBLE, "x.toml"), engine, wish)
    assert found.status == "none"
    assert found.suggestions == ()
    assert all(one.found.whole for one in found.searched)
    assert found.closest is not None
    assert found.closest.score.rank <= found.base.score.rank
    assert found.closest.score.short
    assert found.closest.results.verdict == "fail"
    for name in found.closest.score.short:
        assert found.closest.score.gaps[name] < 0


def test_a_budget_that_ends_the_search_is_no_answer(engine: Engine) -> None:
    wish = Wish(series="E6", most_changes=1, budget=1)
    found = suggest(parse_design(IMPOSSIBLE, "x.toml"), engine, wish)
    assert found.status == "undecided"


def test_a_design_that_holds_needs_nothing(engine: Engine) -> None:
    text = LEAKS.replace("1M", "68k")
    found = suggest(parse_design(text, "x.toml"), engine, Wish(required=0.0))
    assert found.status == "none needed"
    assert found.screened == found.verified == 0
    assert found.multiple == 1.0
