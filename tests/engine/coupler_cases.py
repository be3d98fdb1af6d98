"""Circuits with gates and optocouplers in them; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

from analog.cards import find_card
from analog.circuits.disturbances import BURST_GENERATOR, burst
from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Model,
    Param,
    Pwl,
    Sine,
    Stimulus,
    Transient,
)
from analog.engine import Run
from analog.measures import crossings, first_crossing

GATE = (
    "vnom",
    "f_th",
    "gain",
    "i_ol",
    "v_ol",
    "i_oh",
    "v_oh",
    "t_plh",
    "t_phl",
    "t_tr",
    "c_in",
    "r_in",
    "vto",
)
COUPLER = (
    "v_f",
    "i_f",
    "c_d",
    "ac",
    "ctr",
    "i_ctr",
    "i_lo",
    "i_hi",
    "v_sat",
    "i_csat",
    "i_fsat",
    "i_ceo",
    "t_r",
    "r_l",
    "h_fe",
    "c_cb",
    "c_iso",
)


def gate(rail: Stimulus, source: tuple[Element, ...]) -> Circuit:
    """A gate on `rail` with 50 pF at its output; `source` drives the node ``pin``."""
    elements = (
        Element("VRAIL", "V", ("vdd", "0"), rail),
        *source,
        Element("XPART", "X", ("pin", "out", "vdd", "0"), model="gate", arguments=_named(GATE)),
        Element("CL", "C", ("out", "0"), 50e-12),
    )
    return Circuit("gate", elements, libraries=("gate",))


def noisy_ramp() -> Experiment:
    """The input rises over the rail in ``stop`` with a sine on it."""
    source = (
        Element("VRAMP", "V", ("ramp", "0"), Pwl(((0.0, 0.0), (Param("stop"), Param("vnom"))))),
        Element("VNOISE", "V", ("pin", "ramp"), Sine(Param("noise"), Param("noise_hz"))),
    )
    return Experiment(
        gate(Dc(Param("vnom")), source),
        Transient(Param("stop"), Param("step"), method="gear", reltol=1e-4),
        ("v(pin)", "v(out)"),
        "coupler_cases:fallen",
        ("edges", "duration"),
    )


def fallen(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Count crossings of half the rail; give the time from 90 % to 10 % of the output."""
    out, rail = run.trace("v(out)"), row["vnom"]
    start = first_crossing(run.time, out, 0.9 * rail, False)
    end = first_crossing(run.time, out, 0.1 * rail, False)
    return {
        "edges": float(crossings(run.time, out, 0.5 * rail).size),
        "duration": end - start,
    }


def rising_supply() -> Experiment:
    """The rail rises from 0 in 50 ms, the input held at a share of it by a divider."""
    rise = Pwl(((0.0, 0.0), (50e-3, Param("vnom"))))
    source = (
        Element("RUP", "R", ("vdd", "pin"), Param("r_up")),
        Element("RDOWN", "R", ("pin", "0"), Param("r_down")),
    )
    return Experiment(
        gate(rise, source),
        Transient(50e-3, 1e-4, reltol=1e-4),
        ("v(vdd)", "v(out)"),
        "coupler_cases:following",
        ("low", "high"),
    )


def following(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Give the least and the greatest share of the rail at the output, above 2 V of rail."""
    above = run.trace("v(vdd)") > 2.0
    share = run.trace("v(out)")[above] / run.trace("v(vdd)")[above]
    return {"low": float(share.min()), "high": float(share.max())}


def filtered() -> Experiment:
    """Two mains cycles with noise and a burst through RC and clamps into the gate."""
    diode = Model("clamp", "D", tuple(find_card("1N4148").columns[0].spice.items()))
    source = (
        Element("VMAINS", "V", ("clean", "0"), Sine(Param("peak"), Param("mains_hz"), 90.0)),
        Element("VNOISE", "V", ("noisy", "clean"), Sine(Param("noise"), Param("noise_hz"))),
        Element("VBURST", "V", ("spark", "0"), burst(Param("height"), Param("burst_start"))),
        Element("RBURST", "R", ("spark", "stray"), BURST_GENERATOR.resistance_ohm),
        Element("CSTRAY", "C", ("stray", "pin"), Param("c_stray")),
        Element("RFILTER", "R", ("noisy", "pin"), Param("r_filter")),
        Element("CFILTER", "C", ("pin", "0"), Param("c_filter")),
        Element("D1", "D", ("pin", "vdd"), model="clamp"),
        Element("D2", "D", ("0", "pin"), model="clamp"),
    )
    bare = gate(Dc(Param("vnom")), source)
    return Experiment(
        Circuit("sensed mains", bare.elements, (diode,), bare.libraries),
        Transient(Param("stop"), 50e-6, reltol=1e-4, trtol=3.0),
        ("v(out)",),
        "coupler_cases:switched",
        ("edges", "lowest", "highest"),
    )


def switched(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    out = run.trace("v(out)")
    rail = row["vnom"] if "vnom" in row else row["v_rail"]
    return {
        "edges": float(crossings(run.time, out, rail / 2).size),
        "lowest": float(out.min()),
        "highest": float(out.max() - rail),
    }


def sensed_through_coupler() -> Experiment:
    """Mains through a resistor into the LED, a burst across the barrier, a load to the rail.

    A diode the other way round protects the LED of a DC-input part; ``r_guard`` takes it away.
    """
    diode = Model("guard", "D", tuple(find_card("1N4148").columns[0].spice.items()))
    elements = (
        Element("VRAIL", "V", ("vdd", "0"), Dc(Param("v_rail"))),
        Element("VBURST", "V", ("spark", "0"), burst(Param("height"), Param("burst_start"))),
        Element("RBURST", "R", ("spark", "ka"), BURST_GENERATOR.resistance_ohm),
        Element("VMAINS", "V", ("live", "ka"), Sine(Param("peak"), Param("mains_hz"), 90.0)),
        Element("RLED", "R", ("live", "an"), Param("r_led")),
        Element("DGUARD", "D", ("ka", "mid"), model="guard"),
        Element("RGUARD", "R", ("mid", "an"), Param("r_guard")),
        Element(
            "XPART",
            "X",
            ("an", "ka", "out", "0"),
            model="optocoupler",
            arguments=_named(COUPLER),
        ),
        Element("RLOAD", "R", ("vdd", "out"), Param("r_load")),
        Element("CLOAD", "C", ("out", "0"), Param("c_load")),
    )
    return Experiment(
        Circuit("sensed mains", elements, (diode,), ("optocoupler",)),
        Transient(Param("stop"), 50e-6, reltol=1e-4, trtol=3.0),
        ("v(out)",),
        "coupler_cases:switched",
        ("edges", "lowest", "highest"),
    )


def _named(names: tuple[str, ...]) -> tuple[tuple[str, Param], ...]:
    return tuple((name, Param(name)) for name in names)
