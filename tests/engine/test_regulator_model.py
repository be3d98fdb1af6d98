"""The regulator model on its own, and behind transformer, bridge and reservoir.

Figures are those of the part cards: UTC LM78xx, QW-R101-006, electrical characteristics;
Minilogic ML78LxxPRG, electrical characteristics; the rest from memory, as the cards say.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
import regulator_cases as cases
from model_rows import run_row, run_rows

from analog.cards import Card, all_cards, find_card
from analog.circuits.part_models import part_model
from analog.engine import Engine, open_engine

Figure = Callable[[str], None]
Row = dict[str, float]

CARDS = [pytest.param(c, id=c.identifier) for c in all_cards() if c.kind == "regulator"]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def arguments(card: Card) -> Row:
    model = part_model(card, card.columns[0])
    assert model is not None
    return model.as_dict()


def rated(card: Card, **changes: float) -> Row:
    """Return the arguments with 5 V over the output at the input and the sheet's current."""
    row = arguments(card)
    return row | {"v_in": row["v_o"] + 5, "i_load": row["i_o"]} | changes


@pytest.mark.parametrize("card", CARDS)
def test_output_is_the_rated_voltage(engine: Engine, figure: Figure, card: Card) -> None:
    """Within 1 % at the sheet's conditions, and inside its full range from no to full load."""
    column = card.columns[0]
    most = column.figure("I_O_max").high
    rows = [rated(card), rated(card, i_load=0.01 * most), rated(card, i_load=most)]
    out = run_rows(engine, cases.settled(), rows)["out"]
    figure(f"{card.identifier} {out[0]:.4f} V, {out[1]:.4f} V idle, {out[2]:.4f} V full")
    assert out[0] == pytest.approx(column.figure("V_O").centre, rel=0.01)
    limits = column.figure("V_O_full")
    assert (out >= limits.low).all()
    assert (out <= limits.high).all()


@pytest.mark.parametrize("card", CARDS)
def test_quiescent_current_leaves_by_the_ground_pin(engine: Engine, card: Card) -> None:
    rows = [rated(card, i_load=share * rated(card)["i_o"]) for share in (0.0, 1.0)]
    out = run_rows(engine, cases.settled(), rows)
    wanted = card.columns[0].figure("I_Q").centre
    assert out["ground"] == pytest.approx([wanted, wanted], rel=0.01)
    loads = np.array([row["i_load"] for row in rows])
    assert out["input"] == pytest.approx(loads + wanted, rel=0.01)


@pytest.mark.parametrize("card", CARDS)
def test_dropout_at_its_test_current(engine: Engine, figure: Figure, card: Card) -> None:
    row = rated(card, i_load=rated(card)["i_drop"])
    found = run_row(engine, cases.dropping(), row | {"v_low": row["v_o"]})["dropout"]
    figure(f"{card.identifier} dropout {found:.3f} V at {row['i_drop']:g} A")
    assert found == pytest.approx(card.columns[0].figure("V_dropout").centre, rel=0.01)


@pytest.mark.parametrize("card", CARDS)
def test_current_limit_at_half_output_and_at_a_short(engine: Engine, card: Card) -> None:
    limit = card.columns[0].figure("I_limit").centre
    loads = np.array([0.5 * rated(card)["v_o"] / limit, 1e-3])
    rows = [rated(card) | {"r_load": load} for load in loads.tolist()]
    for row in rows:
        del row["i_load"]
    out = run_rows(engine, cases.loaded(), rows)
    assert out["out"] / loads == pytest.approx([limit, limit], rel=0.01)


def test_half_an_ampere_into_8_ohm_makes_4_v(engine: Engine) -> None:
    """A 12 V regulator limited to 0.5 A: V = I·R, by Ohm's law."""
    row = arguments(find_card("7812")) | {"i_lim": 0.5, "v_in": 18.0, "r_load": 8.0}
    assert run_row(engine, cases.loaded(), row)["out"] == pytest.approx(4.0, rel=0.005)


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_ripple_rejection_at_twice_the_mains(engine: Engine, card: Card, mains_hz: float) -> None:
    period = 1 / (2 * mains_hz)
    row = rated(card, ripple_hz=2 * mains_hz, stop=2 * period, step=period / 100)
    rejection = -20 * math.log10(run_row(engine, cases.rippled(), row)["share"])
    assert rejection == pytest.approx(card.columns[0].figure("ripple_rejection").centre, abs=0.3)


@pytest.mark.parametrize("card", CARDS)
def test_load_regulation(engine: Engine, card: Card) -> None:
    most = card.columns[0].figure("I_O_max").high
    rows = [rated(card, i_load=share * most) for share in (0.1, 1.0)]
    out = run_rows(engine, cases.settled(), rows)["out"]
    wanted = card.columns[0].figure("R_out").centre
    assert (out[0] - out[1]) / (0.9 * most) == pytest.approx(wanted, rel=0.01)


def test_below_dropout_the_output_follows_the_input(engine: Engine) -> None:
    """V_in − V_d0 − R_d·I, and nothing while the input is below the pass device's own drop."""
    row = rated(find_card("7809"))
    slope = (row["v_drop"] - row["v_d0"]) / row["i_drop"]
    inputs = [7.0, 8.0, 9.0, 10.0]
    rows = [row | {"v_in": v} for v in inputs]
    wanted = np.array(inputs) - row["v_d0"] - slope * row["i_o"]
    assert run_rows(engine, cases.settled(), rows)["out"] == pytest.approx(wanted, abs=0.01)
    idle = row | {"v_in": 1.0, "i_load": 0.0}
    assert run_row(engine, cases.settled(), idle)["out"] < 0.01


def test_reverse_diode_carries_the_output_into_a_shorted_input(engine: Engine) -> None:
    row = arguments(find_card("7805"))
    rows = [row | {"i_load": current} for current in (1e-3, 50e-3)]
    out = run_rows(engine, cases.reversed_supply(), rows)
    assert (out["out"] > 0.4).all()
    assert (out["out"] < 0.8).all()
    assert -out["input"] == pytest.approx([1e-3, 50e-3], rel=0.05)


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("c_out", [100e-9, 1e-6, 22e-6])
def test_comes_up_and_goes_down_with_its_input(engine: Engine, card: Card, c_out: float) -> None:
    """Never above the rated output, never more than a diode above the input, no overshoot."""
    row = rated(card)
    del row["i_load"]
    row |= {"r_load": row["v_o"] / row["i_o"], "c_out": c_out}
    out = run_row(engine, cases.waking(), row)
    assert out["top"] == pytest.approx(row["v_o"], rel=0.01)
    assert out["over"] < 0.9
    assert out["end"] < 0.5


def supply(card: Card, v_pri: float, freq: float, spare: float, **changes: float) -> Row:
    """Return a supply whose transformer has `spare` V rms over the rated output, half loaded."""
    row = arguments(card)
    load = 0.5 * card.columns[0].figure("I_O_max").high
    v_sec = row["v_o"] + spare
    ratings = {"v_pri": v_pri, "v_sec": v_sec, "va": 3.5 * v_sec * load, "reg": 0.3}
    ratings |= {"freq": freq, "leak": 0.03, "mag": 0.7, "iron": 0.3, "c_iw": 30e-12}
    run = {"peak": v_pri * math.sqrt(2), "reservoir": 5e-3 * load, "c_out": 100e-9}
    run |= {"r_load": row["v_o"] / load, "stop": 15 / freq, "step": 1 / freq / 200}
    return row | ratings | run | changes


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize(("v_pri", "freq"), [(230.0, 50.0), (120.0, 60.0)])
def test_supply_chain_regulates(
    engine: Engine, figure: Figure, card: Card, v_pri: float, freq: float
) -> None:
    """Output within 1 %; the input's mean current is load and quiescent current.

    The ripple lies below I/(2·f·C), which counts the whole half-cycle as discharge, and above
    half of it.
    """
    row = supply(card, v_pri, freq, 3.0)
    out = run_row(engine, cases.chain(), row)
    current = out["mean"] / row["r_load"] + row["i_q"]
    longest = current / (2 * freq * row["reservoir"])
    figure(
        f"{card.identifier} {out['mean']:.3f} V, reservoir {out['reservoir_mean']:.2f} V, ripple "
        f"{out['ripple']:.2f} V of at most {longest:.2f} V"
    )
    assert out["trough"] > row["v_o"] + row["v_drop"]
    assert out["mean"] == pytest.approx(row["v_o"], rel=0.01)
    assert out["highest"] - out["lowest"] == pytest.approx(out["ripple"] * row["line"], rel=0.1)
    assert out["input"] == pytest.approx(current, rel=0.01)
    assert 0.5 * longest < out["ripple"] < longest


def test_weak_transformer_drops_the_output_at_every_trough(engine: Engine) -> None:
    row = supply(find_card("7809"), 230.0, 50.0, -1.5)
    out = run_row(engine, cases.chain(), row)
    slope = (row["v_drop"] - row["v_d0"]) / row["i_drop"]
    expected = (out["trough"] - row["v_d0"]) / (1 + slope / row["r_load"])
    assert out["lowest"] < 0.95 * row["v_o"]
    assert out["lowest"] == pytest.approx(expected, rel=0.01)
