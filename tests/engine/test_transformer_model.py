"""The transformer model on its own: ratings, losses, barrier capacitance, capacitor input."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
import transformer_cases as cases
from model_rows import run_random

from analog.cards import Card, all_cards
from analog.circuits.record import Experiment
from analog.engine import Engine, Outcomes, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]
Row = dict[str, float]

NO_LOAD_OHM = 1e7


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def run(engine: Engine, experiment: Experiment, rows: list[Row]) -> Outcomes:
    names = tuple(rows[0])
    out = engine.run(experiment, names, np.array([[row[name] for name in names] for row in rows]))
    assert not out.failures, next(iter(out.failures.values())).reason
    return out


def ratings(card: Card, v_pri: float, v_sec: float, freq: float, reg: float) -> Row:
    column = card.columns[0]
    shares = {
        argument: column.figure(name).centre
        for argument, name in (
            ("va", "rating"),
            ("leak", "leakage_share"),
            ("mag", "magnetising_share"),
            ("iron", "iron_loss_share"),
            ("c_iw", "interwinding_capacitance"),
        )
    }
    return {"v_pri": v_pri, "v_sec": v_sec, "reg": reg, "freq": freq, **shares}


def driven(rated: Row, load_ohm: float, **changes: float) -> Row:
    row = {
        **rated,
        "peak": rated["v_pri"] * math.sqrt(2),
        "mains_hz": rated["freq"],
        "phase": 90.0,
        "load": load_ohm,
        "stop": 6 / rated["freq"],
        "step": 1 / rated["freq"] / 200,
    }
    return row | changes


def rated_load(rated: Row) -> float:
    return rated["v_sec"] ** 2 / rated["va"]


def every_card() -> list[Row]:
    """Each card at its lowest, typical and highest regulation, on both mains, three windings."""
    found = []
    for card in (card for card in all_cards() if card.kind == "transformer"):
        figure = card.columns[0].figure("regulation")
        for reg in (figure.low, figure.centre, figure.high):
            for v_pri, freq in ((230.0, 50.0), (120.0, 60.0)):
                found += [ratings(card, v_pri, v_sec, freq, reg) for v_sec in (6.0, 12.0, 24.0)]
    return found


def test_rated_load_and_no_load_voltage_of_every_card(engine: Engine, figure: Figure) -> None:
    """Both within 0.3 % of the rating and its regulation (1 % wanted)."""
    cards = every_card()
    assert len(cards) >= 90
    full = run(engine, cases.loaded(), [driven(rated, rated_load(rated)) for rated in cards])
    open_circuit = run(engine, cases.loaded(), [driven(rated, NO_LOAD_OHM) for rated in cards])
    wanted = np.array([rated["v_sec"] for rated in cards])
    rise = np.array([1 + rated["reg"] for rated in cards])
    full_error = full.column("secondary") / wanted - 1
    open_error = open_circuit.column("secondary") / (wanted * rise) - 1
    figure(f"rated load {abs(full_error).max():.2%}, no load {abs(open_error).max():.2%} off")
    assert abs(full_error).max() < 3e-3
    assert abs(open_error).max() < 3e-3


def test_partial_loads_lie_on_the_straight_load_line(engine: Engine) -> None:
    """V(R) = V_no-load / (1 + reg·R_rated/R), the Thevenin line through the two ratings."""
    rated = every_card()[13]
    shares = (0.1, 0.25, 0.5, 0.75, 1.5)
    rows = [driven(rated, rated_load(rated) / share) for share in shares]
    found = run(engine, cases.loaded(), rows).column("secondary")
    line = rated["v_sec"] * (1 + rated["reg"]) / (1 + rated["reg"] * np.array(shares))
    np.testing.assert_allclose(found, line, rtol=5e-3)


def test_no_load_current_and_losses(engine: Engine, figure: Figure) -> None:
    """Idle: iron loss and magnetising current; loaded: load, copper (reg·va) and iron loss."""
    rated = next(row for row in every_card() if row["va"] == 10 and row["reg"] == 0.2)
    rows = [driven(rated, NO_LOAD_OHM), driven(rated, rated_load(rated))]
    out = run(engine, cases.loaded(), rows)
    va = rated["va"]
    idle_a = math.hypot(rated["mag"], rated["iron"]) * va / rated["v_pri"]
    assert out.column("primary")[0] == pytest.approx(idle_a, rel=0.05)
    assert out.column("power")[0] == pytest.approx(rated["iron"] * va, rel=0.05)
    losses = out.column("power")[1] - va
    figure(f"losses at rated load {losses:.2f} W of {va:g} VA")
    assert losses == pytest.approx((rated["reg"] + rated["iron"]) * va, rel=0.1)


def test_windings_are_in_phase(engine: Engine) -> None:
    rated = every_card()[-1]
    lag = run(engine, cases.loaded(), [driven(rated, rated_load(rated))]).column("lag")[0]
    assert abs(lag) < 5


def test_steady_at_once_from_the_peak_and_offset_from_zero(engine: Engine) -> None:
    """From the voltage peak the flux starts where it belongs; from zero it starts offset."""
    rated = every_card()[13]
    peak, zero = driven(rated, NO_LOAD_OHM), driven(rated, NO_LOAD_OHM, phase=0.0)
    out = run(engine, cases.loaded(), [peak, zero])
    assert out.column("first_cycle")[0] == pytest.approx(out.column("secondary")[0], rel=2e-3)
    assert abs(out.column("first_cycle")[1] / out.column("secondary")[1] - 1) > 5e-3


def test_barrier_capacitance(engine: Engine) -> None:
    """I = 2π·f·C·V between the windings, both ends of each tied."""
    rows = [
        driven(row, 1.0, peak=1000.0, mains_hz=5e3, stop=6 / 5e3, step=1e-6)
        for row in every_card()[::30]
    ]
    out = run(engine, cases.common_mode(), rows)
    wanted = [2 * math.pi * 5e3 * row["c_iw"] * 1000 / math.sqrt(2) for row in rows]
    np.testing.assert_allclose(out.column("primary"), wanted, rtol=0.01)


# R_s/R_L, ω·C·R_L, mean V_dc/V_pk, ripple peak to peak/V_pk: full wave, ideal diodes, on the
# axes of Schade, Proc. IRE 31 (1943) p. 341; as C grows, tan θ − θ = (π/2)·R_s/R_L and
# V_dc = V_pk·cos θ from the charge balance.
CAPACITOR_INPUT = [
    (0.005, 5, 0.831, 0.348),
    (0.005, 10, 0.893, 0.210),
    (0.005, 20, 0.933, 0.117),
    (0.005, 50, 0.955, 0.049),
    (0.005, 200, 0.960, 0.012),
    (0.01, 5, 0.827, 0.343),
    (0.01, 10, 0.886, 0.204),
    (0.01, 20, 0.920, 0.111),
    (0.01, 50, 0.935, 0.046),
    (0.01, 200, 0.937, 0.012),
    (0.1, 5, 0.726, 0.254),
    (0.1, 10, 0.745, 0.134),
    (0.1, 20, 0.750, 0.068),
    (0.1, 50, 0.751, 0.027),
    (0.1, 200, 0.752, 0.007),
]


def rectifier_row(share: float, reactance_ratio: float, mean: float) -> Row:
    """A transformer whose whole regulation is the source resistance, into bridge and reservoir.

    The nearly ideal diodes drop about 0.03 V each, which the 100 V winding makes small.
    """
    load, freq = 100.0, 50.0
    v_pk = 100.0
    rated = {
        "v_pri": 230.0,
        "v_sec": v_pk / math.sqrt(2) / (1 + share),
        "reg": share,
        "freq": freq,
        "leak": 1e-5,
        "mag": 0.01,
        "iron": 0.01,
        "c_iw": 30e-12,
    }
    rated["va"] = rated["v_sec"] ** 2 / load
    reservoir = reactance_ratio / (2 * math.pi * freq * load)
    row = driven(rated, load, stop=12 / freq, step=1 / freq / 400)
    return row | {"reservoir": reservoir, "start": mean * v_pk}


def test_capacitor_input_rectifier(engine: Engine, figure: Figure) -> None:
    """Mean within 1 % or 0.003 of the peak, ripple within 3 % or 0.003, whichever is larger."""
    rows = [rectifier_row(share, ratio, mean) for share, ratio, mean, _ in CAPACITOR_INPUT]
    out = run(engine, cases.capacitor_input(), rows)
    mean, ripple = out.column("mean") / 100, out.column("ripple") / 100
    wanted = np.array([row[2:] for row in CAPACITOR_INPUT])
    worst = abs(mean - wanted[:, 0]).max(), abs(ripple - wanted[:, 1]).max()
    figure(f"mean off by {worst[0]:.4f}, ripple by {worst[1]:.4f} of the peak")
    assert (abs(mean - wanted[:, 0]) <= np.maximum(0.003, 0.01 * wanted[:, 0])).all()
    assert (abs(ripple - wanted[:, 1]) <= np.maximum(0.003, 0.03 * wanted[:, 1])).all()


def test_large_reservoir_meets_the_charge_balance(engine: Engine) -> None:
    """tan θ − θ = (π/2)·R_s/R_L, V_dc = V_pk·cos θ, for a reservoir without ripple."""
    rows, wanted = [], []
    for share in (0.005, 0.02, 0.05, 0.2):
        angles = np.linspace(1e-3, 1.5, 200_000)
        angle = np.interp(math.pi / 2 * share, np.tan(angles) - angles, angles)
        wanted.append(math.cos(angle))
        rows.append(rectifier_row(share, 500.0, math.cos(angle)))
    mean = run(engine, cases.capacitor_input(), rows).column("mean") / 100
    np.testing.assert_allclose(mean, wanted, atol=3e-3)


def test_no_random_sample_is_lost(engine: Engine, counts: Counts, figure: Figure) -> None:
    draw = np.random.default_rng(4)
    rows = []
    for _ in range(counts(40, 500)):
        v_pri, freq = ((230.0, 50.0), (120.0, 60.0))[int(draw.integers(2))]
        rated = {
            "v_pri": v_pri,
            "v_sec": float(draw.uniform(6, 36)),
            "va": float(draw.uniform(1, 15)),
            "reg": float(draw.uniform(0.05, 1.0)),
            "freq": freq,
            "leak": float(draw.uniform(0.005, 0.1)),
            "mag": float(draw.uniform(0.1, 1.2)),
            "iron": float(draw.uniform(0.05, 0.5)),
            "c_iw": float(draw.uniform(5e-12, 300e-12)),
        }
        load = rated_load(rated) * float(10 ** draw.uniform(-0.3, 3))
        row = driven(rated, load, phase=float(draw.uniform(0, 360)), stop=3 / freq)
        rows.append(row | {"reservoir": 470e-6, "start": 0.0})
    run_random(engine, cases.capacitor_input("1N4007"), rows, figure)
