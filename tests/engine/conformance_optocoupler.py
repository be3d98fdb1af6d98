"""Conformance measures of phototransistor optocouplers; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from conformance_parts import Part
from model_rows import run_row, run_rows

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Stimulus,
    Transient,
)
from analog.engine import Engine, Run
from analog.measures import edge_time

TIME_SUPPLY_V = 10.0


def coupler(part: Part, **changes: float) -> Element:
    arguments = tuple((part.arguments | changes).items())
    return Element("XPART", "X", ("an", "0", "c", "0"), model="optocoupler", arguments=arguments)


def circuit(part: Part, light: Stimulus, *others: Element, **changes: float) -> Circuit:
    """Return the part with a current `light` into its LED and `others` at the node ``c``."""
    elements = (Element("ILED", "I", ("0", "an"), light), coupler(part, **changes), *others)
    return Circuit(part.label, elements, libraries=("optocoupler",))


def held(part: Part, **changes: float) -> Experiment:
    """A LED current, the collector held at a voltage; gives collector current and LED drop."""
    source = Element("VC", "V", ("c", "0"), Dc(Param("v_ce")))
    return Experiment(
        circuit(part, Dc(Param("i_led")), source, **changes),
        OperatingPoint(),
        ("v(an)", "i(vc)"),
        "conformance_optocoupler:point",
        ("v_led", "i_c"),
    )


def point(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {
        "v_led": abs(float(run.trace("v(an)")[-1])),
        "i_c": -float(run.trace("i(vc)")[-1]),
    }


def led_voltage(engine: Engine, part: Part) -> float:
    """Return the larger drop (V) of the diodes at the test current."""
    test = part.centre("I_F_test")
    currents = [test, -test] if part.arguments["ac"] else [test]
    rows = [{"i_led": current, "v_ce": 0.0} for current in currents]
    return float(run_rows(engine, held(part), rows)["v_led"].max())


def ratio(engine: Engine, part: Part, share: float = 1.0, **changes: float) -> float:
    """Return collector over LED current at `share` of the test current."""
    current = share * part.centre("I_F_ctr_test")
    row = {"i_led": current, "v_ce": part.centre("V_CE_ctr_test")}
    return run_row(engine, held(part, **changes), row)["i_c"] / abs(current)


def over_current(engine: Engine, part: Part) -> float:
    """Return the largest departure from the curve of the ratio over the LED current."""
    currents, wanted = (np.array(values) for values in part.column.curve("CTR_ratio"))
    rows = [{"i_led": i, "v_ce": part.centre("V_CE_ctr_test")} for i in currents.tolist()]
    found = run_rows(engine, held(part), rows)["i_c"] / currents / part.centre("CTR")
    return float(np.abs(found / wanted - 1).max())


def over_temperature(engine: Engine, part: Part) -> float:
    """Return the largest departure from the curve of the ratio over temperature.

    The ratio is scaled by the curve; the simulation's own temperature must not add to it.
    """
    temperatures, wanted = part.column.curve("CTR_T_ratio")
    base = part.centre("CTR")
    current, volts = part.centre("I_F_ctr_test"), part.centre("V_CE_ctr_test")
    departures = []
    for celsius, share in zip(temperatures, wanted, strict=True):
        row = {"i_led": current, "v_ce": volts, "ambient_c": celsius}
        found = run_row(engine, held(part, ctr=share * base), row)["i_c"] / current
        departures.append(abs(found / (share * base) - 1))
    return max(departures)


def symmetry(engine: Engine, part: Part) -> float:
    """Return the larger over the smaller ratio of the two directions."""
    pair = [ratio(engine, part, share) for share in (1.0, -1.0)]
    return max(pair) / min(pair)


def saturation(engine: Engine, part: Part) -> float:
    """Return V_CE (V) at the LED and collector currents of the figure."""
    load = Element("IC", "I", ("0", "c"), Dc(part.centre("I_C_sat_test")))
    experiment = Experiment(
        circuit(part, Dc(part.centre("I_F_sat_test")), load),
        OperatingPoint(),
        ("v(c)",),
        "conformance_optocoupler:collector",
        ("v_ce",),
    )
    return run_row(engine, experiment, {"unused": 0.0})["v_ce"]


def collector(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"v_ce": float(run.trace("v(c)")[-1])}


def dark_current(engine: Engine, part: Part) -> float:
    row = {"i_led": 0.0, "v_ce": part.centre("V_CE_dark_test")}
    return run_row(engine, held(part), row)["i_c"]


def edge(engine: Engine, part: Part, name: str) -> float:
    """Return the 10-90 % time (s) of the collector current, in the figure's load."""
    current, load = part.centre("I_C_time_test"), part.centre("R_L_time_test")
    span = 40 * part.arguments["t_r"]
    light = Pulse(0.0, Param("i_led"), 0.1 * span, 1e-8, 1e-8, span, 1.0)
    others = (
        Element("VS", "V", ("s", "0"), Dc(TIME_SUPPLY_V)),
        Element("RL", "R", ("s", "c"), load),
    )
    experiment = Experiment(
        circuit(part, light, *others),
        Transient(2 * span, span / 1000, reltol=1e-5),
        ("v(c)",),
        "conformance_optocoupler:edges",
        ("t_r", "t_f"),
    )
    row = {"i_led": led_for(engine, part, current), "drop": current * load}
    return run_row(engine, experiment, row)[name]


def led_for(engine: Engine, part: Part, current: float) -> float:
    """Return the LED current (A) that makes the collector current `current` (A)."""
    i_led = np.geomspace(1e-5, 50e-3, 60)
    rows = [{"i_led": i, "v_ce": 5.0} for i in i_led.tolist()]
    found = run_rows(engine, held(part), rows)["i_c"]
    return float(np.exp(np.interp(np.log(current), np.log(found), np.log(i_led))))


def edges(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the rise and fall of the load's voltage between 10 % and 90 % of its swing."""
    volts = TIME_SUPPLY_V - run.trace("v(c)")
    low, high = 0.1 * row["drop"], 0.9 * row["drop"]
    return {
        "t_r": edge_time(run.time, volts, low, high, True),
        "t_f": edge_time(run.time, volts, low, high, False),
    }


def barrier_capacitance(engine: Engine, part: Part) -> float:
    """Return the current (F) through the barrier over its slope: both LED ends on a ramp."""
    arguments = tuple(part.arguments.items())
    elements = (
        Element("VRAMP", "V", ("an", "0"), Pwl(((0.0, 0.0), (1e-6, 1000.0)))),
        Element("RKA", "R", ("an", "ka"), 1e-3),
        Element("XPART", "X", ("an", "ka", "c", "e"), model="optocoupler", arguments=arguments),
        Element("RC", "R", ("c", "e"), 1.0),
        Element("VE", "V", ("e", "0"), Dc(0.0)),
    )
    experiment = Experiment(
        Circuit(part.label, elements, libraries=("optocoupler",)),
        Transient(1e-6, 1e-8, reltol=1e-5),
        ("i(ve)",),
        "conformance_optocoupler:charging",
        ("farads",),
    )
    return run_row(engine, experiment, {"slope": 1e9})["farads"]


def charging(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    current = float(np.interp(0.8e-6, run.time, run.trace("i(ve)")))
    return {"farads": abs(current) / row["slope"]}
