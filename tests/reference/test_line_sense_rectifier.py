"""The reservoir's start value against the limit of a large capacitor.

For a full-wave rectifier with source resistance R_S and a load R_L on a very large capacitor the
charge balance is tan θ − θ = (π/2)·R_S/R_L with V = V_peak·cos θ (θ half the conduction angle);
the limit that Schade's rectifier curves approach, computed here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from analog.circuits.rectifier import Charging, reservoir_at_crest


def settled_v(v_peak: float, r_source: float, i_load: float, pulses: int = 2) -> float:
    """Return the start value with nearly ideal diodes and 0.1 F."""
    one = np.ones(1)
    charging = Charging(
        v_peak * one, r_source * one, 0.1 * one, i_load * one, 50.0 * one, 1, pulses, 1e-3, 1e-3
    )
    return float(reservoir_at_crest(charging)[0])


@pytest.mark.parametrize("share", [0.003, 0.01, 0.03, 0.1])
def test_full_wave_limit(share: float) -> None:
    theta = brentq(lambda x: math.tan(x) - x - math.pi / 2 * share, 1e-3, 1.5)
    v_peak, r_source = 20.0, 10.0
    voltage = v_peak * math.cos(theta)
    assert settled_v(v_peak, r_source, voltage / (r_source / share)) == pytest.approx(
        voltage, rel=5e-3
    )


def test_half_wave_stands_lower_than_full_wave() -> None:
    assert settled_v(20.0, 10.0, 0.02, pulses=1) < settled_v(20.0, 10.0, 0.02, pulses=2)


def test_no_load_stands_at_the_peak() -> None:
    assert settled_v(20.0, 10.0, 1e-9) == pytest.approx(20.0, rel=1e-3)


def test_rows_do_not_mix() -> None:
    peaks = np.array([10.0, 20.0, 30.0])
    same = np.ones(3)
    together = reservoir_at_crest(
        Charging(peaks, 10 * same, 4e-4 * same, 0.02 * same, 50 * same, 2, 2, 7e-9, 1.8)
    )
    for k, peak in enumerate(peaks):
        one = np.ones(1)
        alone = reservoir_at_crest(
            Charging(peak * one, 10 * one, 4e-4 * one, 0.02 * one, 50 * one, 2, 2, 7e-9, 1.8)
        )
        assert alone[0] == together[k]
