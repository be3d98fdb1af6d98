"""No random sample of any model is lost in a typical circuit, and none takes for ever.

Each sample may use `LIMIT_S` of processor time and is lost when it needs more, so the run time
is bounded by the same test. Other models have theirs beside their other tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import convergence_cases as cases
import numpy as np
import pytest
import regulator_cases
from conformance_parts import Part
from conformance_power import opto_row, triac_row
from model_rows import run_random

from analog.cards import Card, all_cards, find_card
from analog.circuits.part_models import part_model
from analog.engine import Engine, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]
Row = dict[str, float]

LIMIT_S = 60.0
MAINS = ((230.0, 50.0), (120.0, 60.0))


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1, limit_s=LIMIT_S) as opened:
        yield opened


def cards_of(kind: str) -> list[Card]:
    return [card for card in all_cards() if card.kind == kind]


def log_uniform(draw: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(draw.uniform(math.log(low), math.log(high))))


def sensing_row(draw: np.random.Generator) -> Row:
    """Any supply, thresholds, filter, noise and burst."""
    card = find_card("40106")
    vdd = float(draw.uniform(4, 15))
    model = part_model(card, card.columns[int(draw.integers(len(card.columns)))], vdd)
    assert model is not None
    row = model.as_dict()
    del row["vto"]
    v_n = vdd * float(draw.uniform(0.15, 0.5))
    row |= {"v_nom": row.pop("vnom"), "v_rail": vdd, "v_n": v_n}
    row |= {"v_p": v_n + vdd * float(draw.uniform(0.03, 0.35))}
    v_rms, hertz = MAINS[int(draw.integers(2))]
    winding = float(draw.uniform(6, 36)) if draw.integers(4) else v_rms
    resistance = log_uniform(draw, 10e3, 470e3)
    if winding > 100:
        resistance = max(resistance, 220e3)
    return row | {
        "peak": winding * math.sqrt(2),
        "mains_hz": hertz,
        "noise": float(draw.uniform(0, 0.05)) * winding,
        "noise_hz": log_uniform(draw, 300, 20e3),
        "height": log_uniform(draw, 10, 4000),
        "burst_start": float(draw.uniform(0, 20e-3)),
        "c_stray": log_uniform(draw, 0.1e-12, 10e-12),
        "r_filter": resistance,
        "c_filter": log_uniform(draw, 1e-9, 220e-9),
        "c_load": log_uniform(draw, 5e-12, 500e-12),
        "stop": 2 / hertz,
    }


def test_schmitt_behind_a_line_filter(engine: Engine, counts: Counts, figure: Figure) -> None:
    draw = np.random.default_rng(1)
    rows = [sensing_row(draw) for _ in range(counts(8, 500))]
    out = run_random(engine, cases.sensed_mains(), rows, figure)
    assert (out.column("lowest") > -1.0).all()
    assert (out.column("highest") < 1.0).all()
    assert (out.column("edges") > 0).any()


def supply_row(draw: np.random.Generator) -> Row:
    """Any regulator card behind any transformer, reservoir and load, overloads included."""
    regulators = cards_of("regulator")
    card = regulators[int(draw.integers(len(regulators)))]
    model = part_model(card, card.columns[0])
    assert model is not None
    row = model.as_dict()
    load = card.columns[0].figure("I_O_max").high * log_uniform(draw, 0.01, 3.0)
    v_pri, freq = MAINS[int(draw.integers(2))]
    v_sec = row["v_o"] * float(draw.uniform(0.6, 2.0)) + 2
    return row | {
        "v_pri": v_pri,
        "v_sec": v_sec,
        "va": v_sec * load * float(draw.uniform(1.5, 5)),
        "reg": float(draw.uniform(0.1, 0.8)),
        "freq": freq,
        "leak": float(draw.uniform(0.01, 0.08)),
        "mag": float(draw.uniform(0.1, 1.0)),
        "iron": float(draw.uniform(0.05, 0.5)),
        "c_iw": log_uniform(draw, 5e-12, 300e-12),
        "peak": v_pri * math.sqrt(2) * float(draw.uniform(0.5, 1.15)),
        "reservoir": load * log_uniform(draw, 0.5e-3, 20e-3),
        "c_out": log_uniform(draw, 10e-9, 1e-3),
        "r_load": row["v_o"] / load,
        "stop": 6 / freq,
        "step": 1 / freq / 200,
    }


def test_regulator_behind_a_transformer(engine: Engine, counts: Counts, figure: Figure) -> None:
    draw = np.random.default_rng(2)
    rows = [supply_row(draw) for _ in range(counts(12, 500))]
    out = run_random(engine, regulator_cases.chain(), rows, figure)
    rated = np.array([row["v_o"] for row in rows])
    assert (out.column("highest") < 1.08 * rated).all()
    assert (out.column("lowest") > -0.1).all()


def output_row(draw: np.random.Generator) -> Row:
    """Any triac and opto card at any load from 5 W to 2 kW, power factor 0.25 to 1."""
    chosen = {}
    for kind in ("triac", "opto_triac"):
        cards = cards_of(kind)
        card = cards[int(draw.integers(len(cards)))]
        chosen[kind] = Part(card, card.columns[0])
    row = triac_row(chosen["triac"]) | opto_row(chosen["opto_triac"])
    v_rms, hertz = MAINS[int(draw.integers(2))]
    power, factor = log_uniform(draw, 5, 2000), float(draw.uniform(0.25, 0.98))
    impedance = v_rms**2 * factor / power
    return row | {
        "mains_peak": v_rms * math.sqrt(2) * float(draw.uniform(0.86, 1.1)),
        "mains_hz": hertz,
        "r_load": impedance * factor,
        "l_load": impedance * math.sqrt(1 - factor**2) / (2 * math.pi * hertz),
        "r_loss": v_rms**2 / (0.25 * power),
        "c_wind": 100e-12,
        "i_led": row["i_ft"] * float(draw.uniform(0.5, 3.0)),
        "r_gate": log_uniform(draw, 47, 3300),
        "r_gk": log_uniform(draw, 100, 1e6),
        "r_snubber": log_uniform(draw, 22, 330),
        "c_snubber": log_uniform(draw, 10e-9, 220e-9),
        "pulse_edge": 1e-6,
        "pulse_width": log_uniform(draw, 100e-6, 4e-3),
        "half_period": 0.5 / hertz,
        "stop": 1.5 / hertz,
    }


@pytest.mark.parametrize("inductive", [False, True], ids=["resistive", "inductive"])
@pytest.mark.parametrize("pulsed", [False, True], ids=["continuous", "pulsed"])
@pytest.mark.parametrize("snubber", [False, True], ids=["bare", "snubber"])
def test_triac_and_opto_on_the_mains(
    engine: Engine, counts: Counts, figure: Figure, inductive: bool, pulsed: bool, snubber: bool
) -> None:
    """Eight circuits that share the 500 samples."""
    draw = np.random.default_rng((3, inductive, pulsed, snubber))
    rows = [output_row(draw) for _ in range(counts(2, 63))]
    out = run_random(engine, cases.triac_output(inductive, snubber, pulsed), rows, figure)
    peak = np.array([row["mains_peak"] for row in rows])
    if not inductive:
        assert (out.column("highest") < 1.02 * peak).all()
