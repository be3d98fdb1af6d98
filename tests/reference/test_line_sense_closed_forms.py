"""The line-sense bench against first-order filter theory and the slope of a sine.

Filter: fc = 1/(2πRC), gain 1/√(1 + (f/fc)²), phase −atan(f/fc), any textbook on circuits; input
capacitance and limits of TI CD40106B, SCHS097F. Sine: the time between two levels is
[asin(v2/A) − asin(v1/A)]/ω, its slope ω·√(A² − v²); thresholds of SCHS097F section 6.5, edge
limit of TI CD4013B, SCHS023E section 6.3, of CD4020B/4040B, SCHS030D (none).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from line_cases import DESIGN, nominal, run

from analog.benches.line_sense import plan
from analog.circuits.record import Experiment
from analog.design import Design, parse_design
from analog.engine import Engine, Run, open_engine, refined
from analog.measures import edge_time, fundamental, slope_at
from analog.verdicts import judge


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(
    resistor: str = "100k",
    capacitor: str = "10n",
    frequency: int = 50,
    rail: str = "5",
    clocked: str = "4013",
    more: str = "",
    sense: str = "",
) -> Design:
    return parse_design(
        DESIGN.format(
            topology="half-wave",
            resistor=resistor,
            capacitor=capacitor,
            frequency=frequency,
            rail=rail,
            sense=sense,
            more=more,
        ).replace('part = "4013"', f'part = "{clocked}"'),
        "closed-forms.toml",
    )


def nominal_of(of: Design) -> tuple[Experiment, dict[str, float]]:
    return nominal(plan(of))


def response(engine: Engine, frequency_hz: float, c_in: float = 0.1e-12) -> complex:
    """Return the filter's complex gain at one frequency, with a sine too small for any diode."""
    experiment, row = nominal_of(design())
    cycles = 1 / frequency_hz
    settled = math.ceil(8e-3 * frequency_hz)  # 8 time constants of 1 ms
    row |= {"v_peak": 0.1, "f_mains": frequency_hz, "pin_start": 0.0, "i_leak": 0.0, "c_in": c_in}
    row |= {"t_start": settled * cycles, "t_quarter": (settled + 0.25) * cycles}
    row |= {"t_end": (settled + 1.25) * cycles, "t_stop": (settled + 1.5) * cycles}
    row |= {"t_record": (settled - 0.1) * cycles, "t_step": cycles / 100}
    traces = run(engine, experiment, row)
    source = fundamental(traces.time, traces.trace("v(sense)"), frequency_hz)
    return fundamental(traces.time, traces.trace("v(pin)"), frequency_hz) / source


def test_gain_phase_and_delay_at_the_mains_frequency(engine: Engine) -> None:
    gain = response(engine, 50.0)
    assert abs(gain) == pytest.approx(0.9540, rel=1e-3)
    assert math.degrees(np.angle(gain)) == pytest.approx(-17.44, rel=1e-3)
    assert -np.angle(gain) / (2 * math.pi * 50) == pytest.approx(0.969e-3, rel=1e-3)


@pytest.mark.parametrize(("frequency_hz", "gain"), [(1e3, 0.157), (1e5, 0.00159)])
def test_attenuation_above_the_corner(engine: Engine, frequency_hz: float, gain: float) -> None:
    assert abs(response(engine, frequency_hz)) == pytest.approx(gain, rel=5e-3)


def test_input_capacitance_lowers_the_corner(engine: Engine) -> None:
    """7.5 pF beside 10 nF: −0.075 %. The corner follows from the phase: f/tan φ."""
    corner = [
        -50.0 / math.tan(np.angle(response(engine, 50.0, c_in))) for c_in in (0.1e-12, 7.5e-12)
    ]
    assert corner[0] == pytest.approx(159.15, rel=1e-3)
    assert corner[1] / corner[0] - 1 == pytest.approx(-0.00074, abs=3e-5)


def test_current_into_the_inputs_own_protection(engine: Engine) -> None:
    """(16.97 V − 5.5 V − 0.7 V)/100 kΩ = 0.108 mA at the crest, (16.97 V − 0.7 V)/100 kΩ in the
    trough; the absolute maximum is 10 mA (SCHS097F, 6.1)."""
    of = design(rail="5.5", capacitor="100p", more='[conditioner]\npart = "40106"\nmaker = "TI"')
    experiment, row = nominal_of(of)
    traces = run(engine, experiment, {**row, "i_leak": 0.0})
    assert np.max(traces.trace("i(vpin)")) == pytest.approx(0.108e-3, rel=0.02)
    assert traces.values["input_clamp_current"] == pytest.approx(0.1627e-3, rel=0.02)
    limits = {limit.identifier: limit for limit in plan(of).limits["input_clamp_current"]}
    assert limits["absolute_maximum"].maximum == 10e-3
    current = traces.values["input_clamp_current"]
    assert judge(current, limits["working"], 1e-3).verdict == "pass"


def test_current_pushed_into_the_rail(engine: Engine) -> None:
    """The part of a sine over a level, over a cycle: A/π·(cos θ − (π/2 − θ)·sin θ)/R, where
    sin θ = (5.5 V + 0.66 V + 1 kΩ·I)/16.97 V; no more than the rail's least load, 2 mA."""
    of = design(rail="5.5", capacitor="10p", more='[conditioner]\npart = "40106"\nmaker = "TI"')
    experiment, row = nominal_of(of)
    pushed = run(engine, experiment, {**row, "i_leak": 0.0}).values["rail_pump_current"]
    theta = math.asin(6.16 / 16.97)
    share = (math.cos(theta) - (math.pi / 2 - theta) * math.sin(theta)) / math.pi
    assert pushed == pytest.approx(16.97 * share / 101e3, rel=0.02)
    (limit,) = plan(of).limits["rail_pump_current"]
    assert limit.maximum == 2e-3


@pytest.fixture(scope="module")
def bare_sine(engine: Engine) -> Run:
    """Return the nominal run behind 100 Ω and 10 pF, at a tenth of the bench's step."""
    experiment, row = nominal_of(design(resistor="100R", capacitor="10p"))
    return run(engine, refined(experiment), {**row, "i_leak": 0.0})


class TestEdgeAfterASine:
    """12 V rms, 50 Hz, no filter to speak of: how slow is the edge that reaches the clock?"""

    def test_rise_time(self, bare_sine: Run) -> None:
        assert bare_sine.values["rise_time"] == pytest.approx(760e-6, rel=5e-3)

    def test_verdict_against_a_4013(self, bare_sine: Run) -> None:
        (limit,) = plan(design()).limits["rise_time"]
        assert limit.maximum == 15e-6
        assert judge(bare_sine.values["rise_time"], limit, 1e-3).verdict == "fail"
        assert bare_sine.values["rise_time"] / limit.maximum == pytest.approx(51, rel=0.01)

    def test_no_limit_at_a_schmitt_clock_or_a_schmitt_stage(self) -> None:
        assert "rise_time" not in plan(design(clocked="4040")).limits
        stage = design(more='[conditioner]\npart = "40106"')
        assert "rise_time" not in plan(stage).limits

    def test_between_the_thresholds(self, bare_sine: Run) -> None:
        time, pin = bare_sine.time, bare_sine.trace("v(pin)")
        start = time[-1] - 0.025
        assert edge_time(time, pin, 1.9, 2.9, True, start) == pytest.approx(189.5e-6, rel=5e-3)

    def test_slope_at_the_threshold(self, bare_sine: Run) -> None:
        time, pin = bare_sine.time, bare_sine.trace("v(pin)")
        start = time[-1] - 0.025
        assert slope_at(time, pin, 2.9, True, start) == pytest.approx(5253, rel=5e-3)

    def test_slew_measure(self, engine: Engine) -> None:
        """The smaller slope is that at V_P max, 3.6 V: 314.16·√(16.97² − 3.6²)."""
        more = '[conditioner]\npart = "40106"\nmaker = "TI"'
        experiment, row = nominal_of(design(resistor="100R", capacitor="10p", more=more))
        slew = run(engine, experiment, row).values["slew_at_threshold"]
        assert slew == pytest.approx(314.16 * math.sqrt(16.97**2 - 3.6**2), rel=5e-3)

    def test_delay_after_the_mains_zero(self, bare_sine: Run) -> None:
        """At V_IH = 3.5 V (JESD13-B): asin(3.5/16.97)/ω."""
        expected = math.asin(3.5 / 16.97) / (2 * math.pi * 50)
        assert bare_sine.values["crossing_delay"] == pytest.approx(expected, rel=5e-3)

    def test_earliest_delay_after_the_mains_zero(self, bare_sine: Run) -> None:
        """At V_IL = 1.5 V (JESD13-B): what a part may take for high already."""
        expected = math.asin(1.5 / 16.97) / (2 * math.pi * 50)
        assert bare_sine.values["crossing_delay_earliest"] == pytest.approx(expected, rel=5e-3)


def test_delay_of_an_inverted_winding_is_half_a_cycle_more(engine: Engine) -> None:
    experiment, row = nominal_of(design())
    inverted = design(sense='polarity = "negative"')
    upright = run(engine, experiment, row).values["crossing_delay"]
    turned = run(engine, *nominal_of(inverted)).values["crossing_delay"]
    assert turned - upright == pytest.approx(10e-3, abs=1e-6)
