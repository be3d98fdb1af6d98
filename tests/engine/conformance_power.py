"""Conformance measures of triacs, opto-triacs, regulators and transformers.

The circuits are those of the model tests; here their rows are made of a card.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import opto_cases
import regulator_cases
import transformer_cases
import triac_cases
from conformance_parts import Part
from model_rows import run_row, run_rows

from analog.circuits.record import Circuit, Dc, Element, Experiment, Param, Pwl, Transient
from analog.circuits.triac_output import OPTO_PARAMETERS, TRIAC_PARAMETERS
from analog.engine import Engine, Run

STEPS = tuple(0.94 + 0.01 * k for k in range(13))
"""Shares of a figure at which a flip is looked for; its resolution is half a step."""

Row = dict[str, float]


def flip(engine: Engine, experiment: Experiment, rows: Sequence[Mapping[str, float]]) -> float:
    """Return the share between the last row that does not conduct and the first that does.

    NaN unless the rows fall into two such groups.
    """
    on = run_rows(engine, experiment, rows)["on"]
    if np.isnan(on).any():
        return math.nan
    first = int(np.argmax(on)) if on.any() else len(on)
    if first in (0, len(on)) or not on[first:].all():
        return math.nan
    return (STEPS[first - 1] + STEPS[first]) / 2


# --- triac --------------------------------------------------------------------------------------


def triac_row(part: Part, **changes: float) -> Row:
    """Return a row of `triac_cases` from the card's own model arguments."""
    arguments = part.arguments
    row = {name: arguments[key] for key, name in TRIAC_PARAMETERS if key in arguments}
    return triac_cases.TRIAC | row | changes


def gate_ramp(engine: Engine, part: Part, quadrant: int, name: str, **changes: float) -> float:
    """Return gate current (A) or voltage (V) at which the triac fires from 12 V."""
    row = triac_cases.gate_ramp_row(quadrant, **triac_row(part, **changes))
    return abs(run_row(engine, triac_cases.gate_ramp(), row)[name])


def latching(engine: Engine, part: Part, **changes: float) -> float:
    """Return the main current (A) above which the triac stays on after a gate pulse, 325 V."""
    figures = triac_row(part, **changes)
    rows = [
        triac_cases.gate_pulse_row(share * figures["i_l"], 325.0, 1.0, **figures) for share in STEPS
    ]
    return figures["i_l"] * flip(engine, triac_cases.gate_pulse(), rows)


def holding(engine: Engine, part: Part, **changes: float) -> float:
    """Return the falling main current (A) at which the triac turns off, from 100 V."""
    figures = triac_row(part, **changes)
    start = max(5 * figures["i_h"], 1.5 * figures["i_l"])
    row = triac_cases.falling_row(start, 100.0, 1.0, **figures)
    return run_row(engine, triac_cases.falling_current(), row)["i_hold"]


def on_line(engine: Engine, part: Part) -> tuple[float, float]:
    """Return V_T0 (V) and R_d (Ω) of the straight line through 10 % and 100 % of V_T0/R_d."""
    figures = triac_row(part)
    scale = figures["v_t0"] / figures["r_on"]
    trigger = {"i_pulse": 10 * figures["i_gt_1"]}
    currents = (0.1 * scale, scale)
    rows = [figures | trigger | {"i_main": current} for current in currents]
    low, high = run_rows(engine, triac_cases.on_state(), rows)["v_on"].tolist()
    slope = (high - low) / (currents[1] - currents[0])
    return low - slope * currents[0], slope


def static_dvdt(engine: Engine, part: Part) -> float:
    """Return the slope (V/s) above which the main terminals fire by themselves, 600 V."""
    figures, supply = triac_row(part), 600.0
    # The turn-on takes part of the rise, so it is made short beside it.
    constant = min(1e-6, supply / figures["dvdt"] * 1e-6 / 30)
    rows = []
    for share in STEPS:
        end = 1e-5 + supply / (share * figures["dvdt"]) * 1e-6
        rows.append(figures | {"supply": supply, "t_end": end})
    return 1e6 * figures["dvdt"] * flip(engine, triac_cases.steep_rise(constant), rows)


def commutating_didt(engine: Engine, part: Part, supply: float = 100.0) -> float:
    """Return the slope (A/s) of the current above which it conducts on after its zero.

    An inductor's current rises through the fired triac and falls in a straight line through
    zero, for several times the decay of the stored charge. The static dv/dt is out of reach.
    """
    figures = triac_row(part, dvdt=1e5)
    rates = [1e3 * share * figures["didt_c"] for share in STEPS]
    rows = [
        figures
        | {
            "supply": supply,
            "inductance": (supply + figures["v_t0"]) / rate,
            "i_pulse": 0.2 + 10 * figures["i_gt_1"],
            "rate": rate,
        }
        for rate in rates
    ]
    return 1e3 * figures["didt_c"] * flip(engine, turning_current(), rows)


RISING_S = 2.5e-3
"""How long the current rises before it falls: six times the longest decay of stored charge."""


def turning_current() -> Experiment:
    """Return an inductor whose voltage turns round at `RISING_S`, in series with the triac."""
    wave = Pwl(((0.0, 1.0), (RISING_S, 1.0), (RISING_S + 1e-6, -1.0)), 0.0, Param("supply"))
    trigger = Pwl(((0.0, 1.0), (5e-5, 1.0), (6e-5, 0.0)), 0.0, Param("i_pulse"))
    elements = (
        Element("VS", "V", ("a", "0"), wave),
        Element("LS", "L", ("a", "m"), Param("inductance")),
        Element("RP", "R", ("a", "m"), 1e4),
        Element("CP", "C", ("a", "m"), 1e-10),
        Element("VL", "V", ("m", "m2"), Dc(0.0)),
        Element("IG", "I", ("0", "g"), trigger),
        triac_cases.triac("m2", "g"),
    )
    return Experiment(
        Circuit("commutation", elements, (), ("triac",)),
        Transient(2 * RISING_S + 0.5e-3, 5e-6, reltol=1e-4),
        ("i(vl)",),
        "conformance_power:turned_round",
        ("on",),
    )


def turned_round(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Tell whether the current goes on past its zero, to a quarter of what conduction gives."""
    current = run.trace("i(vl)")
    if current.max() < 0.8 * row["rate"] * RISING_S:
        return {"on": math.nan}
    return {"on": float(current[-1] < -0.25 * row["rate"] * 0.5e-3)}


def over_temperature(
    engine: Engine, part: Part, curve: str, measure: Callable[[float, float], float]
) -> float:
    """Return the largest departure from a ratio curve over its own temperatures, as a share.

    `measure` takes (ratio, temperature °C) and returns the measured value over the 25 °C one:
    the model is given the scaled figure at that simulation temperature, which must not add to
    it.
    """
    del engine
    temperatures, ratios = part.column.curve(curve)
    cold_to_hot = sorted({temperatures[0], 25.0, temperatures[-1]})
    wanted = np.interp(cold_to_hot, temperatures, ratios)
    found = [measure(float(r), t) for r, t in zip(wanted.tolist(), cold_to_hot, strict=True)]
    return float(np.abs(np.array(found) / wanted - 1).max())


# --- opto-triac ---------------------------------------------------------------------------------


def opto_row(part: Part, **changes: float) -> Row:
    arguments = part.arguments
    row = {name: arguments[key] for key, name in OPTO_PARAMETERS if key in arguments}
    return opto_cases.OPTO | row | changes


def led_ramp(engine: Engine, part: Part, **changes: float) -> float:
    """Return the LED current (A) that triggers, with half the inhibit voltage or 24 V."""
    row = opto_row(part, **changes)
    row |= {"i_end": 1.3 * row["i_ft"], "supply": min(24.0, 0.5 * row["v_inh"])}
    return run_row(engine, opto_cases.led_ramp(), row)["i_led"]


def led_voltage(engine: Engine, part: Part) -> float:
    row = opto_row(part)
    experiment = opto_cases.led_point()
    return run_row(engine, experiment, row | {"i_led": row["i_f_test"]})["v_forward"]


def opto_line(engine: Engine, part: Part) -> tuple[float, float, float]:
    """Return V_TM at its test current (V), V_T0 (V) and R_d (Ω) of the line through it."""
    row = opto_row(part)
    test = row["i_tm_test"]
    rows = [row | {"i_led": 1.5 * row["i_ft"], "i_main": share * test} for share in (0.5, 1.0)]
    low, high = run_rows(engine, opto_cases.opto_conducting(), rows)["v_on"].tolist()
    slope = (high - low) / (0.5 * test)
    return high, high - slope * test, slope


def inhibiting(engine: Engine, part: Part) -> float:
    """Return the output voltage (V) above which the lit LED does not trigger."""
    row = opto_row(part)
    rows = [
        row | {"i_led": 1.5 * row["i_ft"], "supply": share * row["v_inh"]}
        for share in reversed(STEPS)
    ]
    share = flip(engine, opto_cases.inhibit(), rows)
    return row["v_inh"] * (STEPS[0] + STEPS[-1] - share)


def opto_elements(part: Part, **changes: float) -> Element:
    arguments = tuple((part.arguments | changes).items())
    return Element("XO", "X", ("an", "0", "m", "0"), model="opto_triac", arguments=arguments)


def opto_holding(engine: Engine, part: Part) -> float:
    """Return the falling output current (A) at which the unlit output turns off."""
    arguments = part.arguments
    lit = 1.5 * arguments["IFT"]
    supply = min(24.0, 0.5 * arguments["VINH"])
    fall = Pwl(((0.0, supply), (5e-3, supply), (0.025, 0.26 * supply), (0.125, 0.0)))
    elements = (
        Element("IL", "I", ("0", "an"), Pwl(((0.0, lit), (1e-3, lit), (1.1e-3, 0.0)))),
        Element("VS", "V", ("a", "0"), fall),
        Element("RS", "R", ("a", "b"), (supply - arguments["VTM"]) / (5 * arguments["IH"])),
        Element("VM", "V", ("b", "m"), Dc(0.0)),
        opto_elements(part),
    )
    experiment = Experiment(
        Circuit("holding", elements, (), ("opto_triac",)),
        Transient(0.125, 5e-5, reltol=1e-4),
        ("v(m)", "i(vm)"),
        "conformance_power:released",
        ("i_hold",),
    )
    line = {"v_t0": arguments["VTM"] - arguments["RD"] * arguments["ITM"], "r_d": arguments["RD"]}
    return run_row(engine, experiment, line)["i_hold"]


def released(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the current at which the voltage, which falls with it, begins to rise for good."""
    volts, current = run.trace("v(m)"), run.trace("i(vm)")
    above = volts - row["v_t0"] - row["r_d"] * current
    left = np.flatnonzero((run.time > 5e-3) & (above > 0.1))
    if not left.size:
        return {"i_hold": math.nan}
    later = int(np.flatnonzero(run.time > 5e-3)[0])
    return {"i_hold": float(current[later + np.argmin(volts[later : left[0]])])}


def opto_dvdt(engine: Engine, part: Part) -> float:
    """Return the slope (V/s) above which the unlit output fires by itself, 400 V."""
    rate, supply = part.arguments["DVDT"], 400.0
    constant = min(1e-6, supply / rate * 1e-6 / 30)
    rise = Pwl(((0.0, 0.0), (1e-5, 0.0), (Param("t_end"), supply)))
    elements = (
        Element("RA", "R", ("an", "0"), 1e5),
        Element("VS", "V", ("a", "0"), rise),
        Element("RS", "R", ("a", "m"), 50.0),
        opto_elements(part, TON=constant),
    )
    experiment = Experiment(
        Circuit("slope", elements, (), ("opto_triac",)),
        Transient(3e-4, 2e-6, reltol=1e-4),
        ("v(m)",),
        "triac_cases:still_on",
        ("on",),
    )
    rows = [{"supply": supply, "t_end": 1e-5 + supply / (share * rate) * 1e-6} for share in STEPS]
    return 1e6 * rate * flip(engine, experiment, rows)


# --- regulator ----------------------------------------------------------------------------------


def regulated(engine: Engine, part: Part, name: str, load: float | None = None) -> float:
    """Return a settled level with 5 V over the output at the input; `load` in A."""
    row = part.arguments
    row |= {"v_in": row["v_o"] + 5, "i_load": row["i_o"] if load is None else load}
    return run_row(engine, regulator_cases.settled(), row)[name]


def output_resistance(engine: Engine, part: Part) -> float:
    most = part.figure("I_O_max").high
    low, high = (regulated(engine, part, "out", share * most) for share in (0.1, 1.0))
    return (low - high) / (0.9 * most)


def dropout(engine: Engine, part: Part) -> float:
    row = part.arguments
    row |= {"v_in": row["v_o"] + 5, "v_low": row["v_o"], "i_load": row["i_drop"]}
    return run_row(engine, regulator_cases.dropping(), row)["dropout"]


def limited(engine: Engine, part: Part) -> float:
    """Return the current (A) into a resistor that pulls the output to about a half."""
    row = part.arguments
    resistance = 0.5 * row["v_o"] / row["i_lim"]
    row |= {"v_in": row["v_o"] + 5, "r_load": resistance}
    return run_row(engine, regulator_cases.loaded(), row)["out"] / resistance


def rejection(engine: Engine, part: Part) -> float:
    """Return the ripple rejection at 120 Hz, dB."""
    row = part.arguments
    row |= {"v_in": row["v_o"] + 5, "i_load": row["i_o"], "ripple_hz": 120.0}
    row |= {"stop": 2 / 120, "step": 1 / 120 / 100}
    return -20 * math.log10(run_row(engine, regulator_cases.rippled(), row)["share"])


# --- transformer --------------------------------------------------------------------------------

V_PRI, V_SEC, FREQ = 230.0, 12.0, 50.0


def transformed(engine: Engine, part: Part, load_ohm: float, **changes: float) -> dict[str, float]:
    row = (
        part.arguments | changes | {"v_pri": V_PRI, "v_sec": V_SEC, "freq": FREQ, "load": load_ohm}
    )
    row |= {"peak": V_PRI * math.sqrt(2), "mains_hz": FREQ, "phase": 90.0}
    row |= {"stop": 6 / FREQ, "step": 1 / FREQ / 200}
    return run_row(engine, transformer_cases.loaded(), row)


def rated_output_va(engine: Engine, part: Part) -> float:
    """Return the power (VA) into the resistance of the rating."""
    load = V_SEC**2 / part.arguments["va"]
    return transformed(engine, part, load)["secondary"] ** 2 / load


def voltage_rise(engine: Engine, part: Part) -> float:
    """Return (no load − rated load)/rated load of the secondary voltage."""
    load = V_SEC**2 / part.arguments["va"]
    full, idle = (transformed(engine, part, r)["secondary"] for r in (load, 1e7))
    return idle / full - 1


def idle_shares(engine: Engine, part: Part) -> tuple[float, float]:
    """Return reactive and active power over the rating, at no load and rated voltage."""
    out = transformed(engine, part, 1e7)
    apparent = out["primary"] * V_PRI
    reactive = math.sqrt(apparent**2 - out["power"] ** 2)
    return reactive / part.arguments["va"], out["power"] / part.arguments["va"]


def idle_expected(part: Part) -> complex:
    """Return active + j·reactive power over the rating of the equivalent circuit at no load.

    The card's shares are those of the core at rated voltage; half of the regulation's resistance
    and the leakage reactance stand before it.
    """
    argument = part.arguments
    before = complex(0.5 * argument["reg"], argument["leak"]) / (1 + argument["reg"]) ** 2
    core = 1 / complex(argument["iron"], -argument["mag"])
    return 1 / (before + core).conjugate()


def leakage_share(engine: Engine, part: Part) -> float:
    """Return the reactance that the leakage adds over the rated load's, the secondary shorted.

    Both are taken at the primary. The core in parallel to the shorted secondary has a reactance
    of its own, found without leakage.
    """
    rated = V_PRI**2 / part.arguments["va"] / (1 + part.arguments["reg"]) ** 2
    with_leakage, without = (
        shorted_reactance(engine, part, leak) for leak in (part.arguments["leak"], 1e-6)
    )
    return (with_leakage - without) / rated


def shorted_reactance(engine: Engine, part: Part, leak: float) -> float:
    """Return the reactance (Ω) at the primary with the secondary shorted."""
    out = transformed(engine, part, V_SEC**2 / part.arguments["va"] * 1e-6, leak=leak)
    impedance = V_PRI / out["primary"]
    resistance = out["power"] / out["primary"] ** 2
    return math.sqrt(impedance**2 - resistance**2)


def between_windings(engine: Engine, part: Part) -> float:
    """Return the capacitance (F) between the windings, by a sine of 1 kV and 5 kHz."""
    row = part.arguments | {"v_pri": V_PRI, "v_sec": V_SEC, "freq": FREQ, "load": 1.0}
    row |= {"peak": 1000.0, "mains_hz": 5e3, "phase": 90.0, "stop": 6 / 5e3, "step": 1e-6}
    current = run_row(engine, transformer_cases.common_mode(), row)["primary"]
    return current / (2 * math.pi * 5e3 * 1000 / math.sqrt(2))
