"""Which line of a design an annotation or a failed test points at."""

from __future__ import annotations

from importlib.resources import files

import pytest

from analog.design import Design, parse_design, read_design
from analog.results import MeasureRow
from analog.workflows.check import make_plans
from analog.workflows.places import limit_key, limit_place
from analog.workflows.planned import planned_rows


def scenario(name: str) -> Design:
    return read_design(str(files("analog.scenarios").joinpath(f"{name}.toml")))


def rows(design: Design) -> dict[str, tuple[str, MeasureRow]]:
    return {
        f"{plan.bench}.{row.measure}[{row.limit.id if row.limit else ''}]": (plan.bench, row)
        for plan in make_plans(design)
        for row in planned_rows(plan, design)
    }


@pytest.mark.parametrize(
    ("row", "key"),
    [
        ("line_sense.high_level_margin[guaranteed]", "conditioner.part"),
        ("line_sense.series_resistor_power[rating]", "line_sense.series_resistor"),
        ("reset.hold_time[reset_pulse]", "clocked.part"),
        ("reset.release_level_margin[threshold]", "reset.receiver"),
        ("gate_drive.led_current[trigger]", "gate_drive.opto"),
        ("gate_drive.latching_margin[latching]", "gate_drive.triac"),
        ("gate_drive.gate_resistor_power[rating]", "gate_drive.gate_resistor"),
    ],
)
def test_the_key_is_that_of_the_part_whose_limit_it_is(row: str, key: str) -> None:
    design = scenario("propagator-mat")
    assert limit_key(design, *rows(design)[row]) == key


def test_without_a_conditioner_the_clocked_part_sets_the_limits() -> None:
    design = scenario("first-draft")
    own = rows(design)["line_sense.rise_time[transition_maximum]"]
    assert limit_key(design, *own) == "clocked.part"
    line, column = limit_place(design, *own)
    assert design.text.splitlines()[line - 1][column - 1 :].startswith('"4013"')


def test_a_limit_of_the_designs_own_points_at_itself() -> None:
    limit = '\n[[limits]]\nmeasure = "reset.hold_time"\nminimum = "1 s"\nreason = "wanted"\n'
    design = parse_design(scenario("propagator-mat").text + limit, "a.toml")
    own = rows(design)["reset.hold_time[user]"]
    line, _ = limit_place(design, *own)
    assert design.text.splitlines()[line - 1] == 'measure = "reset.hold_time"'
    other = rows(design)["reset.hold_time[reset_pulse]"]
    assert limit_key(design, *other) == "clocked.part"


def test_every_limit_has_a_line_of_the_file() -> None:
    design = scenario("propagator-mat")
    lines = design.text.splitlines()
    for bench, row in rows(design).values():
        line, column = limit_place(design, bench, row)
        assert (line, column) != (1, 1), row
        assert lines[line - 1].strip(), row
