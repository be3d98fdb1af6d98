"""Device parameters on the cards, simulated, against the limits of the same cards.

Goes over all cards that have parameters of a built-in model, so that a new card is measured the
moment it is added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import card_device_cases as cases
import numpy as np
import pytest

from analog.cards import Column, all_cards, find_card
from analog.circuits.record import Experiment
from analog.engine import Engine, open_engine

Figure = Callable[[str], None]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def parts(*kinds: str) -> list[str]:
    cards = [card for card in all_cards() if card.kind in kinds]
    return [card.identifier for card in cards if card.columns[0].spice]


def column_of(part: str) -> Column:
    return find_card(part).columns[0]


def simulate(engine: Engine, experiment: Experiment, **row: float) -> dict[str, float]:
    out = engine.run(experiment, tuple(row), np.array([list(row.values())]))
    assert not out.failures, out.failures
    return dict(zip(out.outputs, out.values[0].tolist(), strict=True))


def test_every_card_of_a_built_in_device_has_parameters() -> None:
    kinds = ("diode", "zener", "npn", "pnp", "nmos")
    assert set(parts(*kinds)) == {c.identifier for c in all_cards() if c.kind in kinds}


@pytest.mark.parametrize("part", parts("diode"))
def test_diode_drop_at_its_test_current(engine: Engine, figure: Figure, part: str) -> None:
    column = column_of(part)
    current = column.figure("I_F_test").centre
    drop = simulate(engine, cases.diode(column), current=current)["voltage"]
    figure(f"{part} {drop:.3f} V at {current:g} A")
    limit = column.figure("V_F")
    assert 0.5 * limit.high < drop <= limit.high
    if limit.typical is not None:
        assert drop == pytest.approx(limit.typical, abs=0.01)


@pytest.mark.parametrize("part", parts("zener"))
def test_zener_voltage_at_its_test_current(engine: Engine, part: str) -> None:
    column = column_of(part)
    current = column.figure("I_Z_test").centre
    level = simulate(engine, cases.diode(column, reverse=True), current=current)["voltage"]
    assert level == pytest.approx(column.figure("V_Z").centre, rel=2e-3)
    higher = simulate(engine, cases.diode(column, reverse=True), current=1.05 * current)["voltage"]
    slope = (higher - level) / (0.05 * current)
    limit = column.figure("r_Z").high
    assert slope <= limit
    assert slope == pytest.approx(max(limit / 2, 6.2), rel=0.1)


def signed(part: str) -> tuple[str, float]:
    return ("NPN", 1.0) if find_card(part).kind == "npn" else ("PNP", -1.0)


# figure, collector current, base current in A, which voltage
SATURATION = [
    ("V_CE_sat", 10e-3, None, "v_ce"),
    ("V_CE_sat_50mA", 50e-3, 5e-3, "v_ce"),
    ("V_CE_sat_100mA", 100e-3, 5e-3, "v_ce"),
    ("V_BE_sat", 10e-3, 1e-3, "v_be"),
    ("V_BE_sat_50mA", 50e-3, 5e-3, "v_be"),
]


@pytest.mark.parametrize("part", parts("npn", "pnp"))
def test_saturation_voltages(engine: Engine, figure: Figure, part: str) -> None:
    column = column_of(part)
    polarity, sign = signed(part)
    for name, collector, stated, output in SATURATION:
        if not column.has(name):
            continue
        base = stated or (0.5e-3 if "base 0.5" in column.figure(name).conditions else 1e-3)
        currents = {"collector": sign * collector, "base": sign * base}
        found = simulate(engine, cases.saturated(column, polarity), **currents)[output]
        figure(f"{part} {name} {found:.3f} V")
        limit = column.figure(name)
        assert found <= limit.high
        if limit.minimum is not None:
            assert found >= limit.minimum


# figure, collector current in A, collector voltage in V
GAINS = [
    ("h_FE", None, None),
    ("h_FE_0mA1", 0.1e-3, 1.0),
    ("h_FE_1mA", 1e-3, 1.0),
    ("h_FE_50mA", 50e-3, 1.0),
    ("h_FE_100mA", 100e-3, 1.0),
]


@pytest.mark.parametrize("part", parts("npn", "pnp"))
def test_current_gain(engine: Engine, figure: Figure, part: str) -> None:
    """The parameters lie within the card's limits, or above a bare minimum."""
    column = column_of(part)
    polarity, sign = signed(part)
    for name, stated_a, stated_v in GAINS:
        if not column.has(name):
            continue
        at_2ma = "2 mA" in column.figure(name).conditions
        wanted = stated_a or (2e-3 if at_2ma else 10e-3)
        volts = stated_v or (5.0 if at_2ma else 1.0)
        low, high = 1e-7, 0.05
        for _ in range(40):
            middle = (low * high) ** 0.5
            row = {"collector": sign * volts, "base": sign * middle}
            found = simulate(engine, cases.gain(column, polarity), **row)["current"]
            low, high = (middle, high) if found < wanted else (low, middle)
        ratio = wanted / low
        figure(f"{part} {name} {ratio:.0f}")
        limit = column.figure(name)
        assert limit.minimum is not None
        assert ratio >= limit.minimum
        assert limit.maximum is None or ratio <= limit.maximum


@pytest.mark.parametrize("part", parts("nmos"))
def test_mosfet_threshold_and_on_resistance(engine: Engine, figure: Figure, part: str) -> None:
    column = column_of(part)
    experiment = cases.mosfet(column)
    for limit, low_side in ((column.figure("V_GS_th").low, True), (3.0, False)):
        drain = simulate(engine, experiment, drain=limit, level=limit)["current"]
        assert (drain < 1e-3) is low_side
    current = simulate(engine, experiment, drain=0.1, level=10.0)["current"]
    figure(f"{part} {0.1 / current:.2f} Ω at 10 V")
    assert 0.1 / current <= column.figure("R_DS_on_10V").high
    assert 0.1 / current == pytest.approx(1.2, rel=0.05)
    weak = simulate(engine, experiment, drain=0.1, level=4.5)["current"]
    assert 0.1 / weak <= column.figure("R_DS_on").high
    assert simulate(engine, experiment, drain=10.0, level=4.5)["current"] > 75e-3
