"""Capacitor-input rectifiers against the limits that textbooks give for them.

Ripple I/(2·f·C) of a constant current (published capacitor-filter examples, 12 V rms on 100 Ω);
mean of a very large capacitor behind a source resistance, tan θ − θ = (π/2)·R_S/R_L and
V = V_peak·cos θ (charge balance; the limit of O. H. Schade, Proc. IRE 31 (1943) 341); secondary
current of a bridge over its direct current (makers' sizing notes: rated about 1.4 times).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from scipy.optimize import brentq

from analog.circuits.record import Experiment, Param, Transient
from analog.circuits.rectifier import Charging, reservoir_at_crest
from analog.circuits.supply_network import SupplyParts, supply_network
from analog.engine import Engine, Run, open_engine
from analog.measures import mean, rms, window

IDEAL = (("IS", 1e-6), ("N", 1.0), ("RS", 1e-3), ("CJO", 1e-11))

LIMITS = {0.001: 0.9861, 0.005: 0.9601, 0.01: 0.9376, 0.1: 0.7518, 0.2: 0.6455, 0.3: 0.5724}


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def large_capacitor(share: float) -> float:
    angle = brentq(lambda x: math.tan(x) - x - math.pi / 2 * share, 1e-3, 1.5)
    return math.cos(angle)


@pytest.mark.parametrize("share", LIMITS)
def test_charge_balance_reaches_the_limit_of_a_large_capacitor(share: float) -> None:
    """Within 0.2 % of the limit, which itself is the printed one."""
    limit = large_capacitor(share)
    assert limit == pytest.approx(LIMITS[share], abs=1e-4)
    peak, load = 1000.0, 1000.0
    one = np.ones(1)
    charging = Charging(
        peak * one,
        share * load * one,
        1.0 * one,
        limit * peak / load * one,
        50.0 * one,
        diodes=2,
        pulses=2,
        saturation_a=1e-6,
        emission=1.0,
    )
    # Two diodes of 0.4 V each are 0.08 % of the peak.
    assert reservoir_at_crest(charging)[0] / peak == pytest.approx(limit, rel=2e-3)


def simulated(engine: Engine, row: dict[str, float]) -> Run:
    circuit = supply_network("rectifier", SupplyParts("bridge", IDEAL, regulated=False))
    analysis = Transient(
        Param("t_stop"), Param("t_step"), reltol=1e-4, initial=(("store", Param("raw_start")),)
    )
    saves = ("v(raw)", "i(vwind)")
    experiment = Experiment(circuit, analysis, saves, "supply_cases:nothing", ())
    return engine.traces(experiment, tuple(row), np.array(list(row.values())))


ROW = {
    "v_peak": 12 * math.sqrt(2),
    "f_mains": 60.0,
    "phase_deg": 90.0,
    "r_source": 0.05,
    "c_reservoir": 0.154 / (2 * 60.0 * 1.0),
    "r_esr": 1e-3,
    "i_load": 0.154,
    "raw_start": 15.8,
    "t_step": 5e-5,
    "t_stop": 0.2,
}


def test_ripple_stays_below_the_published_rule(engine: Engine) -> None:
    """1 V at 60 Hz, 0.154 A and 1283 µF; the rule lets the load drain for the whole half-cycle,
    so that it is an upper end: the capacitor really drains until the next pulse meets it."""
    assert ROW["c_reservoir"] == pytest.approx(1283e-6, rel=1e-3)
    run = simulated(engine, ROW)
    time, raw = window(run.time, run.trace("v(raw)"), 0.15, 0.2)
    ripple = float(np.ptp(raw))
    # It meets where the crest has fallen by the ripple: half-cycle less acos(1 − ripple/peak)/ω.
    top = float(raw.max())
    early = math.acos(1 - ripple / top) / (2 * math.pi * 60)
    expected = 0.154 / ROW["c_reservoir"] * (1 / 120 - early)
    assert ripple < 1.0
    assert ripple == pytest.approx(expected, rel=0.05)
    assert mean(time, raw) > 14.0


@pytest.mark.parametrize(("source_ohm", "low", "high"), [(5.0, 1.3, 1.8), (16.0, 1.2, 1.6)])
def test_secondary_current_is_what_makers_rate_for(
    source_ohm: float, low: float, high: float, engine: Engine
) -> None:
    """With the resistance of a small transformer the rms current is near 1.4 times the direct."""
    row = ROW | {"r_source": source_ohm, "raw_start": 14.0, "t_stop": 0.4}
    run = simulated(engine, row)
    times, current = window(run.time, run.trace("i(vwind)"), 0.4 - 1 / 60, 0.4)
    assert low < rms(times, current) / 0.154 < high
