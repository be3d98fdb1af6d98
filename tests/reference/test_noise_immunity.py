"""The smallest noise that makes an extra edge, against closed forms of a first-order filter.

Behind R·C = τ the pin rises with slope s through V_P. A pulse of −H that begins there moves it by
s·u − H·(1 − e^(−u/τ)); the edge comes twice when that reaches −h, h being the hysteresis. For
pulses far shorter than τ this is H·w = h·τ, for long ones H − s·τ·(1 + ln(H/(s·τ))) = h. A sine of
amplitude A at the pin turns the ramp back by 2·A·√(1 − κ²) − 2·(s/ω)·acos(κ), κ = s/(A·ω), which
is 2·A for high frequencies, where A is the sine's over ω·τ.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from scipy.optimize import brentq

from analog.benches.immunity import SINE_KEY, Immunity, _experiment
from analog.circuits.record import Circuit, Element, Param, Pulse, Sine
from analog.circuits.space import Space
from analog.engine import Engine, open_engine
from analog.workflows.immunity import Item, rhythm, weakest_pulses, weakest_sines
from analog.workflows.trial_runs import TrialRunner

MAINS_HZ, CREST_V, MIDDLE_V = 50.0, 6.0, 5.0
R_OHM, C_F = 10e3, 10e-9
TAU_S = R_OHM * C_F
HYSTERESIS_V = 1.0
V_P, V_N = 5.5, 4.5


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def immunity() -> Immunity:
    """Return the experiments on a sine behind R and C, nothing else."""
    elements = (
        Element("VLINE", "V", ("sense", "0"), Sine(CREST_V, Param("f_mains"), 90.0, MIDDLE_V)),
        Element("R1", "R", ("sense", "pin"), Param("r_series"), key=SINE_KEY),
        Element("C1", "C", ("pin", "0"), Param("c_filter"), initial=CREST_V + MIDDLE_V),
    )
    names = ("v_noise", "t_noise", "t_flank", "t_flank", "t_flat", "t_period")
    pulse = Pulse(0.0, *(Param(name) for name in names))
    circuit = Circuit("first-order filter", elements)
    sine = Sine(Param("v_noise"), Param("f_noise"))
    receiver: object = None
    return Immunity(
        _experiment(circuit, pulse),
        _experiment(circuit, sine),
        receiver,  # type: ignore[arg-type]  # the rows below have their thresholds already
        Space(()),
        lambda values: values,
        1,
    )


def quiet_row(engine: Engine) -> dict[str, float]:
    cycle = 1 / MAINS_HZ
    row = {"f_mains": MAINS_HZ, "r_series": R_OHM, "c_filter": C_F, "v_rail": 10.0}
    row |= {"t_start": 0.0, "t_step": cycle / 400}
    row |= {f"{kind}0_{side}": v for kind in ("typ", "part") for side, v in _SIDES}
    found = rhythm(immunity(), row, TrialRunner(engine))
    assert found is not None
    return found


_SIDES = (("p", V_P), ("n", V_N))

# At V_P: d/dt of 5 + A·cos, A the amplitude behind the filter.
PIN_CREST_V = CREST_V / math.hypot(1.0, 2 * math.pi * MAINS_HZ * TAU_S)
SLOPE = 2 * math.pi * MAINS_HZ * math.sqrt(PIN_CREST_V**2 - (V_P - MIDDLE_V) ** 2)


def least_pulse(width_s: float) -> float:
    """Return H (V) of the closed form."""

    def lowest(height: float) -> float:
        u = np.linspace(0.0, width_s, 20_001)
        return float((SLOPE * u - height * -np.expm1(-u / TAU_S)).min()) + HYSTERESIS_V

    return float(brentq(lowest, HYSTERESIS_V, 1e6))


def least_sine(hertz: float) -> float:
    """Return the sine's peak (V) of the closed form."""
    omega = 2 * math.pi * hertz

    def turn(level: float) -> float:
        share = SLOPE / (level * omega)
        back = level * math.sqrt(1 - share**2) - SLOPE / omega * math.acos(share)
        return 2 * back - HYSTERESIS_V

    at_pin = float(brentq(turn, SLOPE / omega * (1 + 1e-9), 1e3))
    return at_pin * math.hypot(1.0, omega * TAU_S)


def test_pulses_meet_the_closed_form(engine: Engine, figure: Callable[[str], None]) -> None:
    """From a hundredth of the time constant to four of them, within 5 %."""
    row, runner = quiet_row(engine), TrialRunner(engine)
    widths = [0.01 * TAU_S, 0.1 * TAU_S, TAU_S, 4 * TAU_S]
    found = weakest_pulses(immunity(), [Item(row, w, "guaranteed") for w in widths], runner)
    ratios = [
        abs(one.height_v) / least_pulse(width) for one, width in zip(found, widths, strict=True)
    ]
    figure(f"found over closed form: {', '.join(f'{ratio:.3f}' for ratio in ratios)}")
    assert ratios == pytest.approx([1.0] * 4, abs=0.05)
    assert min(ratios) > 0.985
    assert not runner.failed


def test_asymptotes_of_the_closed_form() -> None:
    """What the curve tends to: H·w = h·τ, the implicit form for long pulses, h·ω·τ/2."""
    short = 1e-4 * TAU_S
    assert least_pulse(short) * short == pytest.approx(HYSTERESIS_V * TAU_S, rel=1e-3)
    long_v, lag = least_pulse(20 * TAU_S), SLOPE * TAU_S
    assert long_v - lag * (1 + math.log(long_v / lag)) == pytest.approx(HYSTERESIS_V, rel=1e-3)
    high = 1e6
    assert least_sine(high) == pytest.approx(
        HYSTERESIS_V * 2 * math.pi * high * TAU_S / 2, rel=0.02
    )


def test_sines_meet_the_closed_form(engine: Engine, figure: Callable[[str], None]) -> None:
    """Within 8 %: few edges need not meet the best phase. 30 kHz is 19 times 1/(2π·τ)."""
    row, runner = quiet_row(engine), TrialRunner(engine)
    hertz = [3_970.0, 10_070.0, 30_130.0]
    found = weakest_sines(immunity(), [Item(row, f, "guaranteed") for f in hertz], runner)
    ratios = [abs(one.height_v) / least_sine(f) for one, f in zip(found, hertz, strict=True)]
    figure(f"found over closed form: {', '.join(f'{ratio:.3f}' for ratio in ratios)}")
    assert ratios == pytest.approx([1.0] * 3, abs=0.08)
    assert min(ratios) > 0.97
