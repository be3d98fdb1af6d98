"""A load on a winding of its own: what the triac switches, by hand."""

from __future__ import annotations

from importlib.resources import files

import pytest
from design_faults import GOOD, Fault, check_fault

from analog.benches import gate_drive
from analog.benches.load_winding import load_and_source
from analog.design import Load, Mains, Spread, read_design

MAINS = Mains(voltage="230 V", frequency="50 Hz")
POWER = Spread(low=2.7, nominal=3.0, high=3.3, key="load.power", text="3 W 10%")


def load(**changes: object) -> Load:
    given = {"winding_voltage": "24 V", "winding_rating": "12 VA", "winding_regulation": "20 %"}
    return Load(kind="inductive", power=POWER, power_factor=0.5, **{**given, **changes})  # type: ignore[arg-type]


def test_ends_of_the_windings_voltage() -> None:
    """24 V at 12 VA; the valve takes 6.6 VA at most, which leaves 45 % of 18 % to come back.

    The highest is without load: 22 % over, at 253 V. EN 50160: 207 V to 253 V for use 198 V.
    """
    _, source = load_and_source(load(), MAINS)
    assert source.voltage_minimum == pytest.approx(24 * (1 + 0.45 * 0.18) * 198 / 230)
    assert source.voltage == pytest.approx(24 * 1.10)
    assert source.voltage_maximum == pytest.approx(24 * 1.22 * 253 / 230)
    assert source.frequency == 50.0


def test_power_is_rated_at_the_windings_voltage_unless_stated() -> None:
    assert load_and_source(load(), MAINS)[0].voltage == 24.0
    assert load_and_source(load(voltage="22 V"), MAINS)[0].voltage == 22.0


def test_without_a_winding_the_mains_feeds_the_load() -> None:
    bare = load(winding_voltage=None, winding_rating=None, winding_regulation=None)
    assert load_and_source(bare, MAINS) == (bare, MAINS)


def test_an_overloaded_winding_gives_no_more_than_its_rated_voltage() -> None:
    _, source = load_and_source(load(winding_rating="3 VA"), MAINS)
    assert source.voltage_minimum == pytest.approx(24 * 198 / 230)


def test_a_stated_load_moves_with_the_transformer_card_without_a_regulation() -> None:
    stated = load_and_source(load(), MAINS)[1].voltage_maximum
    by_card = load_and_source(load(winding_regulation=None), MAINS)[1].voltage_maximum
    assert by_card != stated


def test_the_misting_valves_bench_says_what_its_mains_is() -> None:
    path = files("analog.scenarios").joinpath("mist-valve.toml")
    plan = gate_drive.plan(read_design(str(path)))
    assert any("winding of its own, 24 V" in note for note in plan.notes)
    axes = [axis for axis in plan.scenes[4].space.axes if axis.key == "mains.voltage"]
    assert [axis.high for axis in axes] == [pytest.approx(24 * 1.22 * 1.1)]


def test_a_winding_needs_its_rating() -> None:
    assert 'power = "60 W 10%"' in GOOD
    check_fault(
        Fault(
            'power = "60 W 10%"',
            'power = "60 W 10%"\nwinding_voltage = "24 V"',
            "winding_voltage",
            1,
            "load.winding_voltage",
            "needs winding_rating",
            "Add",
        )
    )
