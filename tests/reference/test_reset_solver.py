"""The reset network against closed forms and against an independent solver.

The differential equations are written out here by hand, with the Shockley diode and its series
resistance, and solved by scipy's stiff integrator at tight tolerance; nothing of the circuit
record or of ngspice takes part. Parameters of the discharge diode: example of a diode model in
the ngspice manual. Closed forms: first-order charging, any circuit textbook.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.constants import Boltzmann, elementary_charge
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, root
from scipy.special import wrightomega

from analog.benches.base import Scene
from analog.benches.reset import plan
from analog.design import parse_design
from analog.engine import Engine, open_engine

THERMAL_V = Boltzmann * 298.15 / elementary_charge


@dataclass(frozen=True)
class Junction:
    """A diode: saturation current (A), emission coefficient, series resistance (Ω), and its
    junction capacitance C0·(1 − V/VJ)^−M (F) with VJ = 1 V."""

    saturation_a: float
    emission: float
    series_ohm: float
    c0_f: float
    grading: float

    def current(self, voltage_v: float) -> float:
        """Solve I = IS·(exp((V − I·RS)/(N·VT)) − 1) in closed form with Wright's ω."""
        scale = self.emission * THERMAL_V
        drop = self.saturation_a * self.series_ohm / scale
        argument = math.log(drop) + drop + voltage_v / scale
        return scale / self.series_ohm * float(wrightomega(argument).real) - self.saturation_a

    def capacitance(self, voltage_v: float) -> float:
        """Return the junction's capacitance (F); above 0.5 V its tangent, as SPICE has it."""
        if voltage_v < 0.5:
            return float(self.c0_f * (1 - voltage_v) ** -self.grading)
        tangent = 0.5 * (1 - self.grading) + self.grading * voltage_v
        return float(self.c0_f * 0.5 ** -(1 + self.grading) * tangent)


DISCHARGE = Junction(2.495e-9, 1.679, 0.4755, 1.7e-12, 0.1959)
PROTECTION = Junction(1e-14, 1.0, 10.0, 1e-12, 0.5)
INPUT_F = 5e-12


@dataclass(frozen=True)
class Parts:
    """One random part set, SI units; `r_pin` 0 when the capacitor sits at the pin."""

    rail: float
    r: float
    c: float
    r_pin: float
    diode: bool
    leak_c: float
    leak_pin: float
    rise: float
    fall: float


def draw(rng: np.random.Generator) -> Parts:
    def span(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    r, rail = span(10e3, 1e6), float(rng.uniform(5, 15))
    most = 0.1 * rail / r
    return Parts(
        rail=rail,
        r=r,
        c=span(22e-9, 4.7e-6),
        r_pin=span(1e3, 100e3) if rng.random() < 0.5 else 0.0,
        diode=bool(rng.random() < 0.5),
        leak_c=float(rng.uniform(0, min(3e-6, most))),
        leak_pin=float(rng.uniform(-1, 1)) * min(1e-6, most),
        rise=span(0.2e-3, 0.2),
        fall=span(1e-3, 0.2),
    )


class HandWritten:
    """The network's equations, the rail given: states are the capacitor's voltage and the pin's
    (one and the same without a pin resistor)."""

    def __init__(self, parts: Parts, rail: Callable[[float], float]) -> None:
        self.parts, self.rail = parts, rail

    def climb(self, time_s: float) -> float:
        """Return the slope of the rail (V/s) just after `time_s`."""
        return (self.rail(time_s + 1e-9) - self.rail(time_s)) / 1e-9

    def through(self, diode: Junction, time_s: float, node_v: float) -> float:
        """Return the current (A) into the rail through a diode, its capacitance with a node that
        stands still included."""
        across = node_v - self.rail(time_s)
        return diode.current(across) - diode.capacitance(across) * self.climb(time_s)

    def ammeter(self, diode: Junction, time_s: float, states: np.ndarray, node: int) -> float:
        """Return the current (A) that an ammeter before a diode to the rail shows."""
        across = float(states[node]) - self.rail(time_s)
        moving = diode.capacitance(across) * self.slope(time_s, states)[node]
        return self.through(diode, time_s, float(states[node])) + moving

    def pin_draws(self, time_s: float, pin_v: float) -> float:
        leakage = self.parts.leak_pin * self.rail(time_s) / self.parts.rail
        upper = self.through(PROTECTION, time_s, pin_v)
        return upper - PROTECTION.current(-pin_v) + leakage

    def slope(self, time_s: float, state: np.ndarray) -> list[float]:
        p, rail, v, pin = self.parts, self.rail(time_s), float(state[0]), float(state[-1])
        at_pin = INPUT_F + PROTECTION.capacitance(-pin) + PROTECTION.capacitance(pin - rail)
        into_pin = (v - pin) / p.r_pin if p.r_pin else self.pin_draws(time_s, pin)
        total = p.c + (0.0 if p.r_pin else at_pin)
        out = into_pin + p.leak_c * math.tanh(v / 0.1)
        if p.diode:
            out += self.through(DISCHARGE, time_s, v)
            total += DISCHARGE.capacitance(v - rail)
        slopes = [((rail - v) / p.r - out) / total]
        if p.r_pin:
            slopes.append((into_pin - self.pin_draws(time_s, pin)) / at_pin)
        return slopes

    def solve(self, start_v: float, times: tuple[float, ...]) -> Callable[[float], np.ndarray]:
        """Integrate across the corners `times` of the rail and return the states over time."""
        pieces = []
        state = np.full(2 if self.parts.r_pin else 1, start_v)
        for begin, end in pairwise(times):
            piece = solve_ivp(
                self.slope, (begin, end), state, "LSODA", rtol=1e-10, atol=1e-12, dense_output=True
            )
            assert piece.success
            pieces.append((end, piece.sol))
            state = piece.y[:, -1]

        def at(time_s: float) -> np.ndarray:
            sol = next((s for end, s in pieces if time_s <= end), pieces[-1][1])
            return np.asarray(sol(time_s))

        return at

    def settled(self) -> np.ndarray:
        """Return the states that no longer change, by Newton from the full rail."""
        start = np.full(2 if self.parts.r_pin else 1, 0.9 * self.parts.rail)
        found = root(lambda state: np.multiply(self.slope(0.0, state), 1e-6), start, tol=1e-14)
        return np.asarray(found.x)


def design_text(parts: Parts) -> str:
    optional = []
    if parts.r_pin:
        optional.append('pin_resistor = "10k 5% metal-film"')
    if parts.diode:
        optional.append('discharge_diode = "1N4148"')
    return "\n".join(
        [
            'edgeproof = 1\n[design]\nname = "solver"',
            '[environment]\nambient_minimum = "25 °C"\nambient_maximum = "25 °C"',
            f'[supply]\nrail = "{parts.rail:.12f} V"',
            '[reset]\nresistor = "100k 1% metal-film"\ncapacitor = "1u 10% film 63V"',
            'receiver = "40106"\nmaker = "TI"\ndriven = "4013"',
            *optional,
        ]
    )


def scene_rows(parts: Parts) -> dict[str, tuple[Scene, dict[str, float]]]:
    """Return each scene of these parts alone with the row that holds exactly them."""
    chosen = {
        "environment.ambient": 25.0,
        "supply.rail": parts.rail,
        "reset.resistor": parts.r,
        "reset.capacitor": parts.c,
        "reset.pin_resistor": parts.r_pin,
        "reset.capacitor.leakage": parts.leak_c,
        "reset.receiver.leakage": parts.leak_pin,
        "supply.rise_time": parts.rise,
        "supply.fall_time": parts.fall,
    }
    scenes = {}
    for scene in plan(parse_design(design_text(parts), "solver.toml")).scenes:
        if not chosen.keys() >= set(scene.space.keys):
            continue  # it has a threshold of its own
        values = {key: np.array([chosen[key]]) for key in scene.space.keys}
        rows = {name: float(column[0]) for name, column in scene.derive(values).items()}
        scenes[scene.identifier] = (scene, rows)
    return scenes


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


def simulate(engine: Engine, scene: Scene, row: dict[str, float]) -> dict[str, float]:
    outcomes = engine.run(scene.experiment, tuple(row), np.array([list(row.values())]))
    assert not outcomes.failures
    return {name: float(outcomes.column(name)[0]) for name in outcomes.outputs}


def first_passing(
    excess: Callable[[float], float], start: float, stop: float, points: int = 4000
) -> float:
    """Return the first time at which `excess` turns positive, NaN when it never does."""
    if excess(start) >= 0:
        return start
    grid = np.linspace(start, stop, points)
    values = [excess(float(t)) for t in grid]
    after = next((i for i, value in enumerate(values) if value >= 0), None)
    if after is None:
        return math.nan
    return float(brentq(excess, grid[after - 1], grid[after], xtol=1e-12))


TI_SUPPLIES, TI_LOW, TI_HIGH = [0, 5, 10, 15], [0, 2.2, 4.6, 6.8], [0, 3.6, 7.1, 10.8]


def test_power_up_agrees_with_the_independent_solver(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    rng = np.random.default_rng(20)
    worst = 0.0
    for _ in range(counts(6, 50)):
        parts = draw(rng)
        scene, row = scene_rows(parts)["power-up"]
        measured = simulate(engine, scene, row)
        rail = ramp(parts.rail, parts.rise)
        hand = HandWritten(parts, rail)
        stop = row["t_stop"]
        at = hand.solve(0.0, (0.0, parts.rise, stop))
        t_valid = 3.0 / parts.rail * parts.rise
        level = float(at(t_valid)[-1])

        expected = [
            first_passing(
                lambda t, at=at, rail=rail, side=side: (
                    float(at(t)[-1]) - float(np.interp(rail(t), TI_SUPPLIES, side))
                ),
                t_valid,
                stop,
            )
            for side in (TI_LOW, TI_HIGH)
        ]
        allowed = max(1e-6, 1e-3 * 2.2 * parts.r * parts.c)
        found = [measured["t_earliest"], measured["t_latest"]]
        assert found == pytest.approx(expected, abs=allowed), parts
        assert measured["hold_time"] == pytest.approx(expected[0] - t_valid, abs=allowed), parts
        assert measured["input_at_valid_supply"] == pytest.approx(level, rel=1e-3, abs=1e-6), parts
        worst = max(worst, *(abs(a - b) / allowed for a, b in zip(found, expected, strict=True)))
    figure(f"crossing times off by at most {worst:.2f} of the allowance")


def ramp(full_v: float, rise_s: float) -> Callable[[float], float]:
    return lambda t: full_v * min(max(t / rise_s, 0.0), 1.0)


def test_power_down_agrees_with_the_independent_solver(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    rng = np.random.default_rng(21)
    worst = 0.0
    for _ in range(counts(6, 50)):
        parts = draw(rng)
        scene, row = scene_rows(parts)["power-down"]
        measured = simulate(engine, scene, row)
        still = replace(parts, leak_c=0.0, leak_pin=0.0)
        hold, down = 0.1 * parts.fall, 1.1 * parts.fall

        def rail(t: float, parts: Parts = parts, hold: float = hold) -> float:
            return parts.rail * min(max(1 - (t - hold) / parts.fall, 0.0), 1.0)

        hand = HandWritten(still, rail)
        at = hand.solve(parts.rail, (0.0, hold, down, 1.3 * parts.fall))
        # The moments around the end of the fall, where every current peaks.
        moments = np.append(np.linspace(hold, down - 2e-9, 1500), 1.001 * down)
        pin = max(hand.ammeter(PROTECTION, t, at(t), -1) for t in moments)
        assert measured["pin_discharge_current"] == pytest.approx(pin, rel=1e-3, abs=1e-9), parts
        worst = max(worst, abs(measured["pin_discharge_current"] - pin) / max(pin, 1e-6))
        if parts.diode:
            diode = max(hand.ammeter(DISCHARGE, t, at(t), 0) for t in moments)
            assert measured["discharge_current"] == pytest.approx(diode, rel=1e-3, abs=1e-9), parts
            worst = max(worst, abs(measured["discharge_current"] / diode - 1))
    figure(f"peak currents off by at most {worst:.2e}")


def test_settled_level_agrees_with_the_independent_solution(
    engine: Engine, counts: Callable[[int, int], int]
) -> None:
    rng = np.random.default_rng(22)
    for _ in range(counts(20, 60)):
        parts = draw(rng)
        scene, row = scene_rows(parts)["settled"]
        hand = HandWritten(parts, lambda _t, v=parts.rail: v)
        level = float(hand.settled()[-1])
        measured = simulate(engine, scene, row)
        assert measured["final_level"] == pytest.approx(level, rel=1e-4), parts
        highest = float(np.interp(parts.rail, TI_SUPPLIES, TI_HIGH))
        assert measured["release_level_margin"] == pytest.approx(
            measured["final_level"] - highest, abs=1e-9
        )


def test_ramp_response_is_the_textbook_one(engine: Engine) -> None:
    """v(t) = k·(t − RC·(1 − exp(−t/RC))) while the rail rises at k volts per second."""
    parts = Parts(9.0, 470e3, 1e-6, 0.0, False, 0.0, 0.0, 0.2, 0.05)
    scene, row = scene_rows(parts)["power-up"]
    t_valid = 3.0 / 9.0 * 0.2
    constant = parts.r * parts.c
    expected = 9.0 / 0.2 * (t_valid - constant * -math.expm1(-t_valid / constant))
    measured = simulate(engine, scene, row)["input_at_valid_supply"]
    assert measured == pytest.approx(expected, rel=1e-3)


def test_leakage_lowers_the_level_that_is_charged_to(engine: Engine) -> None:
    """RC·ln(V/(V − V_P)) with V = VDD − R·I: a constant leakage is a lower rail."""
    parts = Parts(10.0, 1e6, 1e-6, 0.0, False, 2e-6, 0.0, 1e-6, 0.05)
    scene, row = scene_rows(parts)["power-up"]
    measured = simulate(engine, scene, row)
    # The leakage builds up over the first tenths of a volt, which the closed form does not know.
    expected = 1.0 * math.log(8.0 / (8.0 - 7.1))
    assert measured["t_latest"] == pytest.approx(expected, rel=3e-3)
    settled, still = scene_rows(parts)["settled"]
    assert simulate(engine, settled, still)["final_level"] == pytest.approx(8.0, rel=1e-4)


def test_a_level_that_leakage_keeps_below_the_threshold_never_releases(engine: Engine) -> None:
    """1 MΩ and 3 µA at 9 V leave 6 V, below the 6.4 V the input may need."""
    parts = Parts(9.0, 1e6, 10e-6, 100e3, False, 3e-6, 0.1e-6, 0.05, 0.05)
    scenes = scene_rows(parts)
    released = simulate(engine, *scenes["power-up"])
    assert math.isnan(released["t_latest"])
    assert math.isnan(released["release_time"])
    assert released["hold_time"] > 0
    settled = simulate(engine, *scenes["settled"])
    assert settled["final_level"] == pytest.approx(9.0 - 1e6 * 3.1e-6 - 1e5 * 0.1e-6, rel=1e-3)
    assert settled["release_level_margin"] < 0
