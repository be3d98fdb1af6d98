"""The measures of the supply bench in words, their limits, and what the report must add."""

from __future__ import annotations

from analog.benches.base import Measure
from analog.benches.supply_space import LOSS_FACTOR, SupplyNetwork
from analog.cards import Column, Figure, technology
from analog.verdicts import Limit

Limits = dict[str, tuple[Limit, ...]]


def measures(network: SupplyNetwork) -> tuple[Measure, ...]:
    """Return the measures of this supply; those of a regulator only with one."""
    rail, rated_a = network.supply.rail.nominal, network.rating_va / network.voltage_v
    regulator = [
        Measure(
            "regulator_headroom",
            "V",
            "lowest regulator input over what it needs",
            "min",
            rail,
            "lowest voltage on the reservoir in a settled cycle, less the output and the most "
            "the regulator drops",
        ),
        Measure(
            "regulator_input_maximum",
            "V",
            "highest regulator input",
            "max",
            rail,
            "the reservoir without a load",
        ),
        Measure(
            "regulator_dissipation",
            "W",
            "regulator dissipation",
            "max",
            rail * network.supply.load_current.high or 1.0,
            "mean of input less output times the load, and input times the quiescent current",
        ),
    ]
    return (*(regulator if network.columns else []), *_common(rail, rated_a))


def _common(rail: float, rated_a: float) -> tuple[Measure, ...]:
    return (
        Measure("reservoir_voltage", "V", "highest voltage on the reservoir", "max", rail),
        Measure(
            "ripple", "V", "ripple on the reservoir", "max", rail, "peak to peak, settled cycle"
        ),
        Measure("rail_minimum", "V", "lowest rail in a settled cycle", "min", rail),
        Measure("rail_maximum", "V", "highest rail without a load", "max", rail),
        Measure(
            "hold_up_time",
            "s",
            "rail held after the mains is gone",
            "min",
            0.1,
            "from the worst moment, just before a charging pulse, to the rail leaving its "
            "stated range",
        ),
        Measure("reservoir_ripple_current", "A", "ripple current of the reservoir", "max", rated_a),
        Measure(
            "transformer_secondary_current", "A", "rms current of the secondary", "max", rated_a
        ),
        Measure(
            "rail_ramp_time",
            "s",
            "rail up after the mains comes on",
            "both",
            0.1,
            "from the mains coming on, at any phase and with everything empty, to the rail's last "
            "rise into its stated range",
        ),
    )


def limits(network: SupplyNetwork) -> Limits:
    """Return the limits by measure; a measure without one is stated and not judged."""
    supply, rated_a = network.supply, network.rating_va / network.voltage_v
    cycle_s = 1 / (network.mains.frequency * (1 - network.mains.frequency_tolerance))
    stated = f"supply.rail as the design states it, {supply.rail.text}"
    found: Limits = {
        "reservoir_voltage": (_reservoir(network),),
        "rail_minimum": (Limit("stated_rail", supply.rail.low, None, stated),),
        "rail_maximum": (Limit("stated_rail", None, supply.rail.high, stated),),
        "hold_up_time": (
            Limit(
                "one_cycle",
                cycle_s,
                None,
                "IEC 61000-4-11:2004 table 1: voltage dip to 0 % for one cycle, classes 2 and 3",
            ),
        ),
        "transformer_secondary_current": (
            Limit(
                "rated_current",
                None,
                rated_a,
                f"supply.transformer_rating: {network.rating_va:g} VA at {network.voltage_v:g} V",
            ),
        ),
    }
    return found | (_regulator(network) if network.columns else {})


def notes(network: SupplyNetwork) -> tuple[str, ...]:
    """Return what a reader of the results must know about their reach."""
    said = [
        "The transformer is its open-circuit voltage and its resistance, both from rating and "
        "regulation; saturation of its core and heating of its copper are not modelled.",
        "Load currents are constant while there is a rail.",
        "No limit is set on the reservoir's ripple current unless the design does: its rating "
        "is not in the card.",
    ]
    if network.supply.reservoir_esr is None:
        said.append(
            f"The reservoir's series resistance, {network.usual_esr_ohm:.3g} Ω, follows from a "
            f"loss factor of {LOSS_FACTOR:g} at 120 Hz (from memory) and is taken from a third "
            "to three times that."
        )
    if network.parts.rectifier == "full-wave":
        said.append("Rated voltage and rating are those of each half of the winding.")
    if not network.columns:
        said.append("Without a regulator the rail is the reservoir itself.")
    return tuple(said)


def _reservoir(network: SupplyNetwork) -> Limit:
    rating, make = network.reservoir.rating, technology(network.reservoir.technology)
    if rating is not None:
        return Limit("rated_voltage", None, rating, "rated voltage in supply.reservoir")
    source = f"usual rated voltage of {make.title}: {make.rating_source}"
    note = make.rating_source
    words = f"no rating stated; {note.kind}, {note.confidence} confidence"
    return Limit("rated_voltage", None, make.rating_default, source, words)


def _regulator(network: SupplyNetwork) -> Limits:
    part, columns = network.parts.regulator, network.columns
    drop = max((_figure(c, "V_dropout_worst", "V_dropout") for c in columns), key=lambda f: f.high)
    found: Limits = {
        "regulator_headroom": (
            Limit(
                "dropout",
                0.0,
                None,
                f"{part}, output and largest dropout: {drop.source}",
                drop.note("high"),
            ),
        )
    }
    tops = [c.figure("V_IN_max") for c in columns if c.has("V_IN_max")]
    if tops:
        top = min(tops, key=lambda f: f.high)
        source = f"{part} input: {top.source}"
        limit = Limit("absolute_maximum", None, top.high, source, top.note("high"))
        found["regulator_input_maximum"] = (limit,)
    heat = _heat(network)
    return found | ({"regulator_dissipation": heat} if heat else {})


def _heat(network: SupplyNetwork) -> tuple[Limit, ...]:
    """Return the largest dissipation in free air when hot, and the absolute one if any."""
    part, column = network.parts.regulator, network.columns[0]
    ambient_c, found = network.design.environment.ambient_maximum, []
    if column.has("T_j_max") and column.has("R_th_ja"):
        top, resistance = column.figure("T_j_max"), column.figure("R_th_ja")
        most_w = max(top.high - ambient_c, 0.0) / resistance.centre
        source = (
            f"{part} in free air at {ambient_c:g} °C: (T_j − T_a)/R_th, "
            f"{top.high:g} °C and {resistance.centre:g} K/W: {resistance.source}"
        )
        doubt = top.note("high") and f"T_j {top.note('high')}"
        note = "; ".join(filter(None, ("no heatsink assumed", doubt)))
        found.append(Limit("free_air", None, most_w, source, note))
    if column.has("P_max"):
        most = column.figure("P_max")
        source = f"{part} dissipation: {most.source}"
        found.append(Limit("absolute_maximum", None, most.high, source, most.note("high")))
    return tuple(found)


def _figure(column: Column, *names: str) -> Figure:
    return column.figure(next(name for name in names if column.has(name)))
