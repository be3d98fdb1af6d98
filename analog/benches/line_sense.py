"""Line sense: what the RC filter makes of the transformer's voltage at the receiver's pin.

The receiver's thresholds are data here, not a simulated part: one run serves all makers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from analog.benches.base import Bench, Curve, Level, Mark, Measure, Plan, Plot, Scene
from analog.benches.line_coupler import COUPLER_OUTPUTS
from analog.benches.line_coupler_limits import coupler_limits, coupler_measures
from analog.benches.line_limits import (
    clamp_limits,
    edge_limit,
    level_limits,
    pump_limit,
    resistor_limits,
    transition_limits,
)
from analog.benches.line_network import LineNetwork, line_network, saves
from analog.benches.line_notes import line_notes
from analog.benches.line_receiver import Receiver
from analog.benches.line_receiving import receiver_of
from analog.benches.line_sense_measures import BASE_REVERSE, MEASURES, OUTPUTS
from analog.benches.line_surge import surge_measure, surge_scene
from analog.benches.lowest_mains import lowest_limits, lowest_mains, lowest_measure
from analog.benches.own_filter_measures import (
    OWN_MEASURES,
    OWN_OUTPUTS,
    own_limits,
    own_measures,
)
from analog.benches.trials import Trials
from analog.circuits.line_filter import filter_picture, line_filter, receiver_x
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.sense_fronts import front_libraries
from analog.circuits.sense_parts import FilterParts
from analog.circuits.space import Floats, Space
from analog.design import Design
from analog.verdicts import Limit

SENSED = {
    "bridge-leg": "sensed leg",
    "full-wave": "joined half-waves",
    "optocoupler": "winding",
    "optocoupler-ac": "winding",
}
"""What the point that the series resistor hangs on is called, by topology."""

CLAMP_A = 10e-3
"""Scale of a clamp current when no series resistor sets one (A)."""


@dataclass(frozen=True, slots=True)
class Derive:
    """Turns a scene's axes into rows of parameters."""

    network: LineNetwork
    receiver: Receiver

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.rows(values)
        rail = rows["v_rail"]
        return {
            **rows,
            **self.receiver.level_rows(rail),
            **self.receiver.input_rows(values, rows["ambient_c"]),
            "v_10": 0.1 * rail,
            "v_90": 0.9 * rail,
        }


def plan(design: Design) -> Plan:
    """Return the line-sense bench of `design`; ValueError without line_sense, mains, receiver."""
    network, receiver = line_network(design), receiver_of(design)
    scenes = _scenes(network, receiver)
    key, mains_v = network.winding.key, network.mains.voltage
    search = lowest_mains(scenes[0], design, receiver, key, mains_v)
    return Plan(
        "line_sense",
        "Line sense",
        (*_measures(network, receiver), lowest_measure(search)),
        scenes,
        _limits(network, receiver) | lowest_limits(search),
        line_notes(network, receiver),
        Trials(lowest=search),
    )


LINE_SENSE = Bench("line_sense", "Line sense", "line_sense", plan)


def _scenes(network: LineNetwork, receiver: Receiver) -> tuple[Scene, ...]:
    axes = (*network.axes(), *receiver.axes())
    circuit, derive = _circuit(network, receiver), Derive(network, receiver)
    base = () if receiver.card.kind != "npn" else (BASE_REVERSE,)
    settled = Scene(
        "line",
        "One settled mains cycle at the receiver's pin",
        _experiment(circuit, network, base),
        Space(axes),
        derive,
        (*_read(network.parts, MEASURES, OWN_MEASURES), *base),
        _plots(network.parts.topology),
    )
    if network.own is not None:
        return (settled,)
    return settled, surge_scene(network, circuit, axes, derive)


def _circuit(network: LineNetwork, receiver: Receiver) -> Circuit:
    elements, models = line_filter(network.parts)
    pin, own = receiver.pin(receiver_x(network.parts))
    libraries = front_libraries(network.parts)
    x = receiver_x(network.parts)
    drawn = (*filter_picture(network.parts), *receiver.picture(x))
    return Circuit("Line sense", (*elements, *pin), (*models, *own), libraries, drawn)


def _read(parts: FilterParts, usual: tuple[str, ...], by_own: tuple[str, ...]) -> tuple[str, ...]:
    """Return which of the reducer's names there are: the usual ones, or those of a sub-circuit."""
    if parts.own is not None:
        return by_own
    return usual if parts.coupler is None else (*usual, *COUPLER_OUTPUTS)


def _bends(parts: FilterParts) -> bool:
    """Tell whether the steps need the tightest control; it costs a quarter more.

    A filter does not, nothing in it snaps. But a Zener diode bends the trace just where 90 % of
    the rail may lie, an optocoupler's edges last microseconds, and what a user's own circuit does
    is unknown.
    """
    return parts.clamp == "zener" or parts.coupler is not None or parts.own is not None


def _experiment(circuit: Circuit, network: LineNetwork, more: tuple[str, ...]) -> Experiment:
    parts = network.parts
    analysis = Transient(
        Param("t_stop"),
        Param("t_step"),
        Param("t_record"),
        reltol=1e-5,
        trtol=1.0 if _bends(parts) else 3.0,
        use_initial=True,
    )
    return Experiment(
        circuit,
        network.started(analysis),
        (*saves(parts), "i(vpin)", "i(vrail)"),
        _OWN_REDUCER if parts.own is not None else _REDUCER,
        (*_read(parts, OUTPUTS, OWN_OUTPUTS), *more),
        _READINGS,
    )


_REDUCER = "analog.benches.line_sense_measures:line_sense"
_OWN_REDUCER = "analog.benches.own_filter_measures:line_sense_own"

_READINGS = (
    ("pin_peak", "tran max v(pin) from={t_quarter} to={t_end}"),
    ("pin_trough", "tran min v(pin) from={t_quarter} to={t_end}"),
    (
        "rise_time",
        "tran trig v(pin) val={v_10} td={t_quarter} rise=1 "
        "targ v(pin) val={v_90} td={t_quarter} rise=1",
    ),
    (
        "fall_time",
        "tran trig v(pin) val={v_90} td={t_start} fall=1 "
        "targ v(pin) val={v_10} td={t_start} fall=1",
    ),
    ("t_high", "tran when v(pin)={v_high} td={t_quarter} rise=1"),
    ("t_low", "tran when v(pin)={v_low} td={t_start} fall=1"),
)


def _plots(topology: str) -> tuple[Plot, ...]:
    sensed = SENSED.get(topology, "sensed winding")
    pin = Curve("v(pin)", "receiver pin", "V")
    thresholds = (
        Level("certainly high", "v_high", "V"),
        Level("certainly low", "v_low", "V"),
    )
    marks = (Mark("high", "t_high", "v(pin)"), Mark("low", "t_low", "v(pin)"))
    extremes = (Mark("crest", "t_peak", "v(pin)"), Mark("trough", "t_trough", "v(pin)"))
    return (
        Plot(
            "Sensed voltage and receiver pin",
            "high_level_margin",
            (Curve("v(sense)", sensed, "V"), pin),
            (*thresholds, Level("rail", "v_rail", "V")),
            (*marks, *extremes),
        ),
        Plot(
            "Receiver pin where its low level is worst",
            "low_level_margin",
            (pin,),
            thresholds,
            (*marks, *extremes),
        ),
        Plot(
            "Rising edge at the receiver pin",
            "rise_time",
            (pin,),
            (Level("10 % of the rail", "v_10", "V"), Level("90 % of the rail", "v_90", "V")),
            (Mark("10 %", "t_rise_10", "v(pin)"), Mark("90 %", "t_rise_90", "v(pin)")),
            ("t_rise_10", "t_rise_90"),
        ),
    )


def _measures(network: LineNetwork, receiver: Receiver) -> tuple[Measure, ...]:
    upper, lower = ("V_P max", "V_N min") if receiver.schmitt else receiver.names
    return (
        *_level_measures(network, upper, lower),
        *_time_measures(network, upper, lower),
        *_stress_measures(network),
        *_coupler_measures(network),
        *_base_measures(network, receiver),
        Measure(
            "edges_per_cycle",
            "1",
            "rising edges per mains cycle",
            "both",
            1.0,
            "at the receiver's guaranteed thresholds, the maker and pair farthest from one",
        ),
    )


def _level_measures(network: LineNetwork, upper: str, lower: str) -> tuple[Measure, ...]:
    rail_v = network.design.supply.rail.nominal
    return (
        Measure(
            "high_level_margin",
            "V",
            "crest at the pin over the highest threshold",
            "min",
            rail_v,
            f"peak at the receiver pin − {upper}, the worst maker's",
        ),
        Measure(
            "low_level_margin",
            "V",
            "trough at the pin under the lowest threshold",
            "min",
            rail_v,
            f"{lower} − trough at the receiver pin, the worst maker's",
        ),
    )


def _time_measures(network: LineNetwork, upper: str, lower: str) -> tuple[Measure, ...]:
    cycle_s = 1 / network.mains.frequency
    slew = 2 * math.pi * network.mains.frequency * network.design.supply.rail.nominal
    return (
        Measure("rise_time", "s", "rise at the pin", "max", cycle_s, "10-90 % of the rail"),
        Measure("fall_time", "s", "fall at the pin", "max", cycle_s, "90-10 % of the rail"),
        Measure(
            "threshold_transit_time",
            "s",
            "time between the thresholds",
            "max",
            cycle_s,
            f"between {lower} and {upper}, the slower direction and maker",
        ),
        Measure(
            "slew_at_threshold",
            "V/s",
            "slew at the thresholds",
            "min",
            slew,
            f"|dv/dt| at {upper} rising and {lower} falling, the smaller",
        ),
        *_delay_measures(network, upper),
    )


def _delay_measures(network: LineNetwork, upper: str) -> tuple[Measure, ...]:
    cycle_s = 1 / network.mains.frequency
    return (
        Measure(
            "crossing_delay",
            "s",
            "delay of the rising edge",
            "max",
            cycle_s,
            f"from the positive-going zero of the mains to {upper} at the pin, "
            f"sensed end {network.sense.polarity}",
        ),
        Measure(
            "crossing_delay_earliest",
            "s",
            "delay of the rising edge, earliest",
            "min",
            cycle_s,
            "the same to the lowest threshold that any maker's part may have: between both lies "
            "the phase of the edge over tolerance and temperature",
        ),
    )


def _coupler_measures(network: LineNetwork) -> tuple[Measure, ...]:
    if network.coupler is None:
        return ()
    return coupler_measures(network.coupler, math.sqrt(2) * network.winding.voltage_v)


def _base_measures(network: LineNetwork, receiver: Receiver) -> tuple[Measure, ...]:
    if receiver.card.kind != "npn":
        return ()
    crest_v = math.sqrt(2) * network.winding.voltage_v
    words = "the pin's deepest trough: no current flows through the base resistor then"
    return (Measure(BASE_REVERSE, "V", "reverse voltage at the base", "max", crest_v, words),)


def _stress_measures(network: LineNetwork) -> tuple[Measure, ...]:
    series, winding_v = network.sense.series_resistor, network.winding.voltage_v
    crest_a = CLAMP_A if series is None else math.sqrt(2) * winding_v / series.nominal
    into_pin = "largest current into the receiver's terminal, either way"
    into_rail = "mean over a cycle of what the clamps push into VDD"
    clamped = (
        Measure("input_clamp_current", "A", "peak into the input's own protection", "max",
                crest_a, into_pin),
        Measure("rail_pump_current", "A", "current pushed into the rail", "max",
                crest_a, into_rail),
    )  # fmt: skip
    if series is None:
        return (*clamped, *own_measures(network.design.supply.rail.nominal))
    return (
        *clamped,
        Measure(
            "series_resistor_power",
            "W",
            "power in the series resistor",
            "max",
            winding_v**2 / series.nominal,
            "mean over a cycle",
        ),
        Measure(
            "series_resistor_voltage",
            "V",
            "voltage across the series resistor",
            "max",
            winding_v,
            "rms over a cycle",
        ),
        surge_measure(network),
    )


def _limits(network: LineNetwork, receiver: Receiver) -> dict[str, tuple[Limit, ...]]:
    design = network.design
    rail = design.supply.rail
    limits = {
        **level_limits(receiver, rail),
        "input_clamp_current": clamp_limits(receiver),
        "rail_pump_current": (pump_limit(design.supply.load_current),),
        "edges_per_cycle": (edge_limit(network.front.edges),),
    }
    series = network.sense.series_resistor
    if series is not None:
        limits |= resistor_limits(series, design.environment.ambient_maximum)
    if network.own is not None:
        limits |= own_limits(rail)
    if network.coupler is not None:
        limits |= coupler_limits(network.coupler)
    if receiver.card.kind == "npn":
        reverse = receiver.columns[0].figure("V_EBO_max")
        source, maker = str(reverse.source), receiver.columns[0].maker
        limits[BASE_REVERSE] = (Limit("absolute_maximum", None, reverse.high, source, maker),)
    if not receiver.schmitt:
        edges = transition_limits(receiver.card, receiver.columns, rail)
        limits |= {"rise_time": edges, "fall_time": edges}
    return {measure: found for measure, found in limits.items() if found}
