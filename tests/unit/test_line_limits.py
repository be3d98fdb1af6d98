"""Limits of line sense and conditioner: the right figure, of the right maker, at the right rail."""

from __future__ import annotations

import numpy as np
import pytest

from analog.benches import conditioner, line_sense
from analog.benches.base import Plan
from analog.design import parse_design
from analog.verdicts import Limit

DESIGN = """
edgeproof = 1
[design]
name = "limits"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "{hot} °C"
[supply]
rail = "{rail}"
[line_sense]
topology = "half-wave"
winding_voltage = "12 V"
winding_rating = "3 VA"
series_resistor = "{resistor}"
capacitor = "10n 10% film"
[conditioner]
part = "{part}"
{maker}
[clocked]
part = "{clocked}"
"""


def design_text(
    part: str = "40106",
    clocked: str = "4013",
    rail: str = "10 V 5%",
    maker: str = "",
    resistor: str = "100k 5% carbon-film 0.25W",
    hot: int = 50,
) -> str:
    return DESIGN.format(
        part=part, clocked=clocked, rail=rail, maker=maker, resistor=resistor, hot=hot
    )


def plans(**changes: object) -> tuple[Plan, Plan]:
    design = parse_design(design_text(**changes), "limits.toml")  # type: ignore[arg-type]
    return line_sense.plan(design), conditioner.plan(design)


def only(plan: Plan, measure: str) -> Limit:
    (limit,) = plan.limits[measure]
    return limit


def test_deciding_makers_are_named() -> None:
    """At 10 V: V_P max 8.6 V of National; V_N min 1.4 V of National (CD40106BM, 1988)."""
    line, _ = plans()
    assert "National" in only(line, "high_level_margin").note
    assert "National" in only(line, "low_level_margin").note


def test_a_named_maker_is_the_only_one_judged() -> None:
    line, stage = plans(maker='maker = "TI"')
    assert "SCHS097F" in only(line, "high_level_margin").source
    assert {scene.identifier for scene in stage.scenes} == {"ramp-ti", "chain-ti"}


def test_every_maker_has_its_own_scenes() -> None:
    _, stage = plans()
    assert len(stage.scenes) == 6


def test_edge_limit_of_a_4013_is_taken_at_the_highest_rail() -> None:
    """TI CD4013B, SCHS023E, 6.3: 10 µs at 10 V, 5 µs at 15 V, linear between: 9.5 µs at 10.5 V."""
    _, stage = plans()
    limit = only(stage, "output_rise_time")
    assert limit.maximum == pytest.approx(9.5e-6)
    assert "10.5 V" in limit.note
    assert "interpolated" in limit.note


def test_an_input_that_takes_any_edge_sets_no_limit() -> None:
    """TI CD4020B/4024B/4040B, SCHS030D: unlimited."""
    _, stage = plans(clocked="4040")
    assert "output_rise_time" not in stage.limits


def test_hc_has_a_second_limit_per_volt() -> None:
    """ON MC74HC4040A: 500 ns at 4.5 V, 400 ns at 6 V; 139 ns/V and 83 ns/V over 80 % of VCC."""
    _, stage = plans(part="74HC14", clocked="74HC4040", rail="5 V 5%")
    limits = {limit.identifier: limit for limit in stage.limits["output_rise_time"]}
    assert set(limits) == {"transition_maximum", "transition_rate"}
    assert limits["transition_maximum"].maximum == pytest.approx(450e-9)
    per_volt = 139e-9 + (5.25 - 4.5) / 1.5 * (83e-9 - 139e-9)
    assert limits["transition_rate"].maximum == pytest.approx(per_volt * 0.8 * 5.25)


def test_without_a_stage_the_edge_is_judged_at_the_clocked_part() -> None:
    line, stage = plans(part="none", rail="5 V .. 5 V .. 5 V")
    assert only(line, "rise_time").maximum == 15e-6
    assert only(line, "fall_time").maximum == 15e-6
    assert "V_IH" in only(line, "high_level_margin").source
    assert stage.scenes == ()


def test_levels_of_the_clock_are_judged_at_the_lowest_rail() -> None:
    """JESD13-B: V_IH 3.5 V at 5 V and 7 V at 10 V, V_IL 1.5 V and 3 V: 6.65 V, 2.85 V at 9.5 V."""
    _, stage = plans()
    assert only(stage, "output_high_level").minimum == pytest.approx(6.65)
    assert only(stage, "output_low_level").maximum == pytest.approx(2.85)


def test_clamp_current_has_an_absolute_and_a_working_limit() -> None:
    line, _ = plans()
    limits = {limit.identifier: limit for limit in line.limits["input_clamp_current"]}
    assert limits["absolute_maximum"].maximum == 10e-3
    assert limits["working"].maximum == 1e-3
    assert "common practice" in limits["working"].source


@pytest.mark.parametrize(
    ("resistor", "hot", "power_w", "voltage_v"),
    [
        ("100k 5% carbon-film 0.25W", 50, 0.25, 250),
        ("100k 5% carbon-film 0.125W", 50, 0.125, 150),
        ("100k 5% carbon-film 0.4W", 50, 0.4, 250),
        ("100k 5% carbon-film 0.5W", 87, 0.4, 350),
        ("100k 5% carbon-film", 50, 0.25, 250),
    ],
)
def test_ratings_follow_the_resistors_size_and_ambient(
    resistor: str, hot: int, power_w: float, voltage_v: float
) -> None:
    line, _ = plans(resistor=resistor, hot=hot)
    assert only(line, "series_resistor_power").maximum == pytest.approx(power_w)
    assert only(line, "series_resistor_voltage").maximum == voltage_v
    assert only(line, "series_resistor_surge").maximum == 2 * voltage_v  # the cards' overload


def test_an_unstated_size_is_said() -> None:
    line, _ = plans(resistor="100k 5% carbon-film")
    assert "not stated" in only(line, "series_resistor_power").note


def test_tied_inputs_have_thresholds_of_their_own() -> None:
    """ST HCF4093B: both inputs tied, V_P max 8.2 V at 10 V instead of 7.1 V."""
    text = design_text(
        part="4093", maker='maker = "ST"\ninputs_tied = true', rail="10 V .. 10 V .. 10 V"
    )
    scene = line_sense.plan(parse_design(text, "tied.toml")).scenes[0]
    values = scene.space.decode(np.zeros((1, len(scene.space.axes))))
    assert scene.derive(values)["v_high"][0] == pytest.approx(8.2)
