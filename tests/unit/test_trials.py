"""Which trials are the same: a changed part, load or winding is another trial."""

from __future__ import annotations

from pathlib import Path

import pytest

from analog.benches import conditioner, line_sense
from analog.benches.base import Plan
from analog.benches.trials import same_trials, trials_in
from analog.design import Design, parse_design

DRAFT = Path(__file__).parents[2] / "analog" / "scenarios" / "first-draft.toml"


def design(before: str = "", after: str = "") -> Design:
    text = DRAFT.read_text(encoding="utf-8")
    assert before in text
    return parse_design(text.replace(before, after) if before else text, "draft.toml")


def same(one: Plan, other: Plan) -> bool:
    return same_trials(trials_in(one), trials_in(other))


@pytest.mark.parametrize("bench", [conditioner, line_sense])
def test_a_design_is_like_itself(bench) -> None:
    assert same(bench.plan(design()), bench.plan(design()))


@pytest.mark.parametrize(
    ("before", "after", "alike"),
    [
        ('capacitor = "10n 10% film 63V"', 'capacitor = "22n 10% film 63V"', False),
        ('transformer_voltage = "12 V"', 'transformer_voltage = "15 V"', False),
        ('power = "45 W 10%"', 'power = "450 W 10%"', False),
        ('gate_resistor = "3k3', 'gate_resistor = "330R', True),
    ],
)
def test_what_makes_other_trials(before: str, after: str, alike: bool) -> None:
    """The conditioner bench of this design has trials only: nothing else could tell them apart."""
    changed = conditioner.plan(design(before, after))
    assert same(conditioner.plan(design()), changed) == alike


def test_benches_without_trials_are_alike() -> None:
    empty = Plan("reset", "Reset", (), (), {})
    assert same(empty, empty)
    assert not same(empty, conditioner.plan(design()))
