"""Thresholds, limits and leakage of the reset bench, by hand from the published tables.

TI CD40106B, SCHS097F, section 6.5; Philips HEF40106B (1995) and National CD40106BM (1988), DC
characteristics; JESD13-B levels as the National sheets quote them; the electrolytic's leakage
rule 0.01·C·V or 3 µA, whichever is larger, as makers of aluminium electrolytics state it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analog.benches.base import Plan
from analog.benches.reset import plan
from analog.benches.reset_levels import ReceiverLevels
from analog.benches.reset_measures import power_up
from analog.cards import find_card
from analog.circuits.reset_network import CONTACT_OHM
from analog.design import parse_design
from analog.engine import Run
from analog.verdicts import Limit

DESIGN = """
edgeproof = 1
[design]
name = "limits"
[environment]
ambient_minimum = "0 °C"
ambient_typical = "25 °C"
ambient_maximum = "25 °C"
[supply]
rail = "9 V 0%"
[clocked]
part = "4013"
[reset]
resistor = "1M 5% metal-film"
capacitor = "10u 20% electrolytic 16V"
{more}
"""


def make_plan(more: str) -> Plan:
    return plan(parse_design(DESIGN.format(more=more), "limits.toml"))


def only_limit(whole: Plan, measure: str) -> Limit:
    (limit,) = whole.limits[measure]
    return limit


def levels(part: str, maker: str | None = None) -> ReceiverLevels:
    return ReceiverLevels(find_card(part).chosen(maker))


@pytest.mark.parametrize(
    ("maker", "earliest", "latest"),
    [
        ("TI", 2.2 + 0.8 * 2.4, 3.6 + 0.8 * 3.5),
        ("Philips", 2.0 + 0.8 * 1.7, 3.5 + 0.8 * 3.5),
        ("National", 3.0 + 0.8 * 3.0, 4.3 + 0.8 * 4.3),
        (None, 2.0 + 0.8 * 1.7, 4.3 + 0.8 * 4.3),
    ],
)
def test_thresholds_at_nine_volts(maker: str | None, earliest: float, latest: float) -> None:
    found = levels("40106", maker)
    assert found.earliest(9.0).low == pytest.approx(earliest)
    assert found.latest(9.0).high == pytest.approx(latest)


def test_a_plain_input_releases_somewhere_between_its_levels() -> None:
    found = levels("4013")
    assert not found.schmitt
    assert found.earliest(9.0).low == pytest.approx(1.5 + 0.8 * 1.5)
    assert found.latest(9.0).high == pytest.approx(3.5 + 0.8 * 3.5)
    assert found.asserting(5.0).low == pytest.approx(1.5)


def test_assertion_below_the_table_is_in_proportion_and_marked() -> None:
    limit = only_limit(make_plan('receiver = "40106"'), "input_at_valid_supply")
    assert limit.maximum == pytest.approx(0.7 * 3 / 5)  # National's V_N min at 5 V, taken to 3 V
    assert "not guaranteed" in limit.note
    assert "3 V" in limit.note


@pytest.mark.parametrize("part", ["40106", "4093", "4013", "74HC14"])
def test_row_thresholds_follow_the_cards_at_every_rail(part: str) -> None:
    """The reducers draw straight lines between the knots; so do the cards."""
    found = levels(part)
    full = {"74HC14": 5.5}.get(part, 13.0)
    rows = found.over_rail(np.array([full]))
    knots = [0.0, *(float(rows[f"knot_{k}"][0]) for k in range(4))]
    for side in ("low", "high"):
        drawn = [0.0, *(float(rows[f"{side}_{k}"][0]) for k in range(4))]
        for rail in np.linspace(0.1, full, 40):
            figure = found.earliest(rail) if side == "low" else found.latest(rail)
            exact = figure.low if side == "low" else figure.high
            line = float(np.interp(rail, knots, drawn))
            # Where two makers' lines cross between knots, the chord errs to the unsafe side never.
            assert line <= exact + 1e-9 if side == "low" else line >= exact - 1e-9
            assert line == pytest.approx(exact, rel=0.05)
        assert drawn[-1] == pytest.approx(float(rows[f"threshold_{side}"][0]))


def test_hold_is_judged_against_the_longest_of_the_shortest_pulses() -> None:
    limit = only_limit(make_plan('receiver = "40106"'), "hold_time")
    # CD4013B, from memory: at least 180 ns at 5 V and 80 ns at 10 V; straight between them.
    assert limit.minimum == pytest.approx(180e-9 - 0.8 * 100e-9)


def test_electrolytic_leakage_follows_the_makers_rule() -> None:
    """10 µF and 16 V: 0.01·C·V is 1.6 µA, so the 3 µA hold."""
    scene = next(s for s in make_plan('receiver = "40106"').scenes if s.identifier == "settled")
    coordinates = np.zeros((3, len(scene.space.axes)))
    place = scene.space.keys.index("reset.capacitor.leakage")
    coordinates[:, place] = (-1, 0, 1)
    leakage = scene.space.decode(coordinates)["reset.capacitor.leakage"]
    assert leakage == pytest.approx([0.0, 0.3e-6, 3e-6])


def test_the_pin_has_a_working_and_an_absolute_limit() -> None:
    found = {
        x.identifier: x for x in make_plan('receiver = "40106"').limits["pin_discharge_current"]
    }
    assert found["absolute_maximum"].maximum == pytest.approx(10e-3)
    assert found["working"].maximum == pytest.approx(1e-3)
    assert "common practice" in found["working"].source


def test_measures_are_those_of_the_parts_there_are() -> None:
    bare = make_plan('receiver = "40106"')
    names = {measure.identifier for measure in bare.measures}
    assert names == {
        "input_at_valid_supply",
        "hold_time",
        "release_level_margin",
        "release_time",
        "pin_discharge_current",
        "missed_reset_window",
        "shortest_off_time",
        "brown_out_margin",
        "release_edges",
        "release_hysteresis_margin",
    }
    more = make_plan('receiver = "40106"\ndischarge_diode = "1N4148"\nbutton = true')
    added = {measure.identifier for measure in more.measures} - names
    assert added == {"discharge_current", "button_current", "button_press_time"}
    assert only_limit(more, "discharge_current").maximum == pytest.approx(0.5)  # Vishay 81857
    assert "button_current" not in more.limits
    assert any(f"{CONTACT_OHM * 1e3:g} mΩ" in note for note in more.notes)


ROW = {
    "valid_supply": 3.0,
    "threshold_high": 6.0,
    **{f"knot_{k}": knot for k, knot in enumerate((0.0, 0.0, 5.0, 10.0))},
    **{f"low_{k}": level for k, level in enumerate((0.0, 0.0, 2.0, 4.0))},
    **{f"high_{k}": level for k, level in enumerate((0.0, 0.0, 3.0, 6.0))},
}


def measured(time: list[float], rail: list[float], pin: list[float]) -> dict[str, float]:
    traces = {"v(vdd)": np.array(rail), "v(pin)": np.array(pin)}
    return power_up(Run(np.array(time), traces), ROW)


def test_hold_counts_from_the_last_time_the_supply_became_valid() -> None:
    found = measured([0, 1, 2, 3, 4, 14], [0, 6, 0, 6, 10, 10], [0, 0, 0, 0, 0, 10])
    assert found["t_valid"] == pytest.approx(2.5)
    assert found["t_earliest"] == pytest.approx(4 + 4)
    assert found["hold_time"] == pytest.approx(5.5)
    assert found["release_time"] == pytest.approx(4 + 6)


def test_a_pin_that_follows_the_ramp_does_not_hold_at_all() -> None:
    found = measured([0, 10, 20], [0, 10, 10], [0, 9, 9])
    assert found["t_valid"] == pytest.approx(3.0)
    assert found["hold_time"] == 0.0


def test_thresholds_scale_with_the_rail_of_the_moment() -> None:
    """Rail t, pin t − 4 V: it meets 0.4·t at 4/0.6 s, before the rail is full."""
    found = measured([0, 4, 10, 20], [0, 4, 10, 10], [0, 0, 6, 6])
    assert found["t_earliest"] == pytest.approx(4 / 0.6)
    assert found["t_latest"] == pytest.approx(10.0)


def test_a_reset_that_never_releases_holds_and_has_no_release() -> None:
    found = measured([0, 1, 20], [0, 10, 10], [0, 0, 1])
    assert math.isnan(found["t_earliest"])
    assert math.isnan(found["release_time"])
    assert found["hold_time"] == pytest.approx(20 - 0.3)


def test_a_rail_that_never_becomes_valid_measures_nothing() -> None:
    found = measured([0, 1, 2], [0, 2, 2], [0, 0, 0])
    assert all(math.isnan(value) for value in found.values())
