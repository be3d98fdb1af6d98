"""The opto-triac model alone: trigger current, LED and on-state voltage, zero-cross inhibit.

Figures as in Fairchild MOC301x-M/MOC302x-M, rev 1.0.2, and MOC306x-M/MOC316x-M, rev 1.0.4.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import opto_cases as cases
import pytest
from model_rows import run_rows

from analog.cards import Card
from analog.cards.loader import all_cards
from analog.engine import Engine, open_engine

Figure = Callable[[str], None]
OPTO_CARDS = [card for card in all_cards() if card.kind == "opto_triac"]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


@pytest.mark.parametrize("i_ft", [5e-3, 10e-3, 15e-3, 30e-3])
@pytest.mark.parametrize("supply", [24.0, -325.0])
def test_trigger_current(engine: Engine, figure: Figure, i_ft: float, supply: float) -> None:
    row = cases.OPTO | {"i_ft": i_ft, "i_end": 1.3 * i_ft, "supply": supply}
    found = run_rows(engine, cases.led_ramp(), [row])["i_led"][0]
    figure(f"I_FT {i_ft * 1e3:g} mA off by {found / i_ft - 1:.2%}")
    assert found == pytest.approx(i_ft, rel=0.01)


@pytest.mark.parametrize(("v_f", "i_f"), [(1.15, 10e-3), (1.3, 30e-3), (1.5, 10e-3)])
def test_forward_voltage(engine: Engine, v_f: float, i_f: float) -> None:
    row = cases.OPTO | {"v_f": v_f, "i_f_test": i_f, "i_led": i_f}
    found = run_rows(engine, cases.led_point(), [row])["v_forward"][0]
    assert found == pytest.approx(v_f, rel=0.005)


@pytest.mark.parametrize("v_tm", [1.8, 3.0])
def test_on_state_voltage(engine: Engine, v_tm: float) -> None:
    """V_TM at 100 mA, and a line of the stated slope on both sides of it."""
    rows = [cases.OPTO | {"v_tm": v_tm, "i_led": 8e-3, "i_main": i} for i in (0.02, 0.1, 0.3)]
    found = run_rows(engine, cases.opto_conducting(), rows)["v_on"]
    expected = [v_tm + 6.0 * (i - 0.1) for i in (0.02, 0.1, 0.3)]
    assert found == pytest.approx(expected, rel=0.01)


def test_random_phase_conducts_at_once(engine: Engine) -> None:
    row = cases.OPTO | {"i_led": 10e-3, "t_on": 5e-3}
    found = run_rows(engine, cases.lit_at_crest(), [row])["t_conducts"][0]
    assert 5e-3 < found < 5e-3 + 20e-6


def test_zero_cross_waits_for_the_zero(engine: Engine) -> None:
    """Lit at the crest, a zero-cross type conducts only from the next zero on."""
    row = cases.OPTO | {"i_led": 10e-3, "t_on": 5e-3, "v_inh": 12.0}
    found = run_rows(engine, cases.lit_at_crest(), [row])["t_conducts"][0]
    zero = 10e-3
    inhibit_s = np.arcsin(12.0 / 325.0) / (2 * np.pi * 50)
    assert zero - inhibit_s < found < zero + inhibit_s


@pytest.mark.parametrize("v_inh", [8.0, 12.0, 20.0])
def test_inhibit_voltage(engine: Engine, v_inh: float) -> None:
    """Lit 3 % below the inhibit voltage it conducts, 3 % above it does not."""
    base = cases.OPTO | {"i_led": 10e-3, "v_inh": v_inh}
    rows = [base | {"supply": scale * v_inh} for scale in (0.97, 1.03, -0.97, -1.03)]
    on = run_rows(engine, cases.inhibit(), rows)["on"]
    assert on.tolist() == [1.0, 0.0, 1.0, 0.0]


@pytest.mark.parametrize("card", OPTO_CARDS, ids=lambda card: card.identifier)
def test_model_meets_every_card(engine: Engine, card: Card) -> None:
    """Trigger current, forward and on-state voltage of each opto-triac card, every column."""
    for column in card.columns:
        test_a = column.figure("I_F_test").centre
        figures = {
            "i_ft": column.figure("I_FT").high,
            "v_f": column.figure("V_F").centre,
            "i_f_test": test_a,
            "v_tm": column.figure("V_TM").high,
        }
        ramp = cases.OPTO | figures | {"i_end": 1.3 * figures["i_ft"], "supply": 24.0}
        found = run_rows(engine, cases.led_ramp(), [ramp])["i_led"][0]
        assert found == pytest.approx(figures["i_ft"], rel=0.01)
        point = cases.OPTO | figures | {"i_led": test_a}
        forward = run_rows(engine, cases.led_point(), [point])["v_forward"][0]
        assert forward == pytest.approx(figures["v_f"], rel=0.005)
        line = cases.OPTO | figures | {"i_led": 1.5 * figures["i_ft"], "i_main": 0.1}
        on = run_rows(engine, cases.opto_conducting(), [line])["v_on"][0]
        assert on == pytest.approx(figures["v_tm"], rel=0.01)
