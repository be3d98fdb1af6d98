"""The shipped first draft gets suggestions that verify, and only what they touch is run again."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from analog.design import Design, parse_design
from analog.engine import Engine, open_engine
from analog.workflows import check
from analog.workflows.screening import score_of
from analog.workflows.suggest import Wish, suggest

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
DRAFT = (SCENARIOS / "first-draft.toml").read_text(encoding="utf-8")

RAIL = (("supply.rail_minimum", "stated_rail"), ("supply.rail_maximum", "stated_rail"))


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    with open_engine(store=tmp_path_factory.mktemp("draft") / "results.sqlite") as opened:
        yield opened


def only(text: str, *sections: str) -> Design:
    """Return a design with some sections left out, and what it expects with them."""
    parts = re.split(r"(?m)^(?=\[)", text)
    kept = [part for part in parts if not part.startswith(tuple(f"[{s}]" for s in sections))]
    return parse_design("".join(kept), "draft.toml")


def draft(whole: bool) -> Design:
    return (
        parse_design(DRAFT, "first-draft.toml")
        if whole
        else only(DRAFT, "line_sense", "conditioner", "gate_drive", "load", "expect")
    )


def test_the_first_draft_is_mended(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """The reset alone in two places; all benches and places, with what is expected of the draft,
    in the full run."""
    design = draft(bool(counts(0, 1)))
    few = Wish(places=("reset.capacitor", "reset.receiver"), wanted=1)
    found = suggest(design, engine, Wish() if counts(0, 1) else few)
    assert found.status == "found"
    for one in found.suggestions:
        assert one.results.verdict == "pass"
        assert one.score.works
        mended = parse_design(one.text, "mended.toml")
        assert mended.expect is None or mended.expect.verdict == "pass"
    best = found.suggestions[0]
    again = check(parse_design(best.text, "mended.toml"), engine)
    assert again.results == best.results
    limits = {f"{name}.{limit}" for name, limit in RAIL}
    assert set(found.aside) == limits  # the regulator's spread fills the rail's: no part helps
    short = set(score_of(again.benches, found.wish.required).short)
    assert short == limits
    touched = {choice.edits[0].key for choice in best.changes}
    assert any(key.startswith("reset.") for key in touched)
    if counts(0, 1):  # the Schmitt stage that the draft left out
        assert "conditioner.part" in touched
        assert any(key.startswith("gate_drive.") for key in touched)
    figure(f"{found.multiple:.1f} times the simulations of one check")


def test_benches_that_no_change_touches_are_not_run_again(engine: Engine) -> None:
    """The reset is mended, the line sense beside it was checked once."""
    text = DRAFT.replace('[clocked]\npart = "4013"', '[clocked]\npart = "4060"')
    text = text.replace('receiver = "4013"', 'receiver = "40106"')  # noise at its release
    both = only(text, "conditioner", "gate_drive", "load", "expect")
    found = suggest(both, engine, Wish(places=("reset.capacitor",), wanted=1))
    assert found.status == "found"
    before = {bench.plan.bench: bench for bench in found.base.benches}
    for one in found.suggestions:
        after = {bench.plan.bench: bench for bench in one.benches}
        assert after.keys() == before.keys()
        assert {name for name in after if after[name] is not before[name]} == {"reset"}
    assert 0 < found.verified <= 4 * before["reset"].result.runs
