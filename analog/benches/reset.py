"""The power-up reset: how long it holds, whether it releases, what its diodes and button bear.

The rail is that of the supply when the design describes one, else a straight ramp of the stated
rise and fall time (`analog/benches/reset_rail.py`).
"""

from __future__ import annotations

from typing import NamedTuple

from analog.benches.base import Bench, Curve, Level, Mark, Plan, Plot, Scene
from analog.benches.reset_button import HASTY_PRESS, button_scenes, press_measure
from analog.benches.reset_interruption import (
    brown_out_scene,
    interruption_measures,
    interruption_scene,
)
from analog.benches.reset_led import MEASURE, led_limit, led_measure, led_scenes
from analog.benches.reset_levels import ReceiverLevels
from analog.benches.reset_limits import Driven, Limits, driven_part, limits, notes
from analog.benches.reset_rail import StatedRail, SuppliedRail, rise_stimulus
from analog.benches.reset_release import release_limits, release_measures, release_scene
from analog.benches.reset_space import ResetNetwork
from analog.benches.reset_titles import measures
from analog.benches.supply import described, supply_of
from analog.cards import find_card
from analog.circuits.record import Dc, Experiment, OperatingPoint, Param, Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.design import Design

_REDUCERS = "analog.benches.reset_measures"


class _Current(NamedTuple):
    """A discharge current: its measure, its ammeter, the time of its peak, its words."""

    measure: str
    save: str
    moment: str
    label: str
    mark: str


_CURRENTS = (
    _Current(
        "pin_discharge_current",
        "i(vpin)",
        "t_pin_peak",
        "into the pin's own diode",
        "peak in the pin",
    ),
    _Current(
        "discharge_current",
        "i(vdis)",
        "t_diode_peak",
        "through the discharge diode",
        "peak in the diode",
    ),
)

_POWER_UP_OUTPUTS = (
    "t_valid",
    "input_at_valid_supply",
    "t_earliest",
    "t_latest",
    "hold_time",
    "release_time",
)

# The thresholds are those at the full rail, so releases are looked for behind the ramp. One that
# comes earlier, at a threshold of its own moment, finds the pin above already: a failed reading.
_POWER_UP_READINGS = (
    ("t_valid", "tran when v(vdd)={valid_supply} rise=last"),
    ("input_at_valid_supply", "tran find v(pin) when v(vdd)={valid_supply} rise=last"),
    ("t_earliest", "tran when v(pin)={threshold_low} td={t_rise} rise=1"),
    ("t_latest", "tran when v(pin)={threshold_high} td={t_rise} rise=1"),
    (
        "hold_time",
        "tran trig v(vdd) val={valid_supply} rise=last "
        "targ v(pin) val={threshold_low} td={t_rise} rise=1",
    ),
    ("release_time", "tran when v(pin)={threshold_high} td={t_rise} rise=1"),
)


_LOOSER = {"reltol": 1e-4, "abstol": 1e-10, "vntol": 1e-6}
"""With transistors in it the operating point is not found at tolerances of a millionth."""


def plan(design: Design) -> Plan:
    """Return the reset bench of `design`, whose reset, supply and environment are present."""
    driven = driven_part(design)
    network = _network(design, driven)
    parts = _parts(network)
    scenes = [_power_up(network), _settled(network), _power_down(network)]
    scenes += button_scenes(network, parts)
    scenes += [interruption_scene(network, parts), brown_out_scene(network, parts)]
    scenes += [*release_scene(network, parts), *led_scenes(network, design)]
    shown = frozenset(measure for scene in scenes for measure in scene.measures)
    return Plan(
        "reset",
        "Power-up reset",
        (
            *measures(network, shown),
            *press_measure(network),
            *interruption_measures(network),
            *release_measures(network),
            *led_measure(design),
        ),
        tuple(scenes),
        _limits(network, driven, design),
        notes(network, driven),
    )


def _limits(network: ResetNetwork, driven: Driven, design: Design) -> Limits:
    found = limits(network, driven) | release_limits(network)
    fires = led_limit(design)
    if fires is not None:
        found[MEASURE] = (fires,)
    if network.reset.button:
        found["button_press_time"] = (HASTY_PRESS,)
    return found


RESET = Bench("reset", "Power-up reset", "reset", plan)


def _network(design: Design, driven: Driven) -> ResetNetwork:
    reset = design.reset
    if reset is None:
        raise ValueError("the reset bench needs the section reset")
    columns = find_card(reset.receiver).chosen(reset.maker)
    levels = ReceiverLevels(columns, reset.topology == "rc-high")
    valid_v = driven.supply_minimum_v if reset.valid_supply is None else reset.valid_supply
    rail = SuppliedRail(supply_of(design)) if described(design) else StatedRail(design.supply)
    return ResetNetwork(reset, design.supply, design.environment, levels, valid_v, rail)


def network_of(design: Design) -> ResetNetwork:
    """Return the reset of `design`, its values and its rail; ValueError without a reset."""
    return _network(design, driven_part(design))


def reset_parts(design: Design) -> ResetParts:
    """Return which parts the reset of `design` has; ValueError without a reset."""
    return _parts(network_of(design))


def _parts(network: ResetNetwork) -> ResetParts:
    reset = network.reset
    return ResetParts(
        None if reset.discharge_diode is None else _spice(reset.discharge_diode),
        pin_resistor=reset.pin_resistor is not None,
        button=reset.button,
        button_resistor=reset.button_resistor is not None,
        polarised="electrolytic" in reset.capacitor.technology,
        receiver=reset.receiver,
        topology=reset.topology,
        capacitor_resistor=reset.capacitor_resistor is not None,
        zener=_spice(reset.zener),
        transistor=_spice(reset.transistor),
        active=reset.detector or reset.transistor or "",
    )


def _spice(part: str | None) -> tuple[tuple[str, float], ...]:
    return () if part is None else tuple(find_card(part).columns[0].spice.items())


def _power_up(network: ResetNetwork) -> Scene:
    rail = rise_stimulus(network.runs_on)
    experiment = Experiment(
        reset_network("Reset: the rail comes up", _parts(network), rail),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=1.0),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:power_up",
        _POWER_UP_OUTPUTS,
        _POWER_UP_READINGS[:2] if network.levels.high else _POWER_UP_READINGS,
    )
    return Scene(
        "power-up",
        "The rail comes up",
        experiment,
        network.space(*network.runs_on.rise_axes(), leaking=True),
        network.power_up,
        ("input_at_valid_supply", "hold_time", "release_time"),
        (_charging_plot(),),
    )


def _charging_plot() -> Plot:
    return Plot(
        "Rail and reset pin while the rail comes up",
        "hold_time",
        (Curve("v(vdd)", "rail", "V"), Curve("v(pin)", "reset pin", "V")),
        (
            Level("earliest threshold", "pin_earliest", "V"),
            Level("latest threshold", "pin_latest", "V"),
            Level("valid supply", "valid_supply", "V"),
        ),
        (
            Mark("supply valid", "t_valid", "v(vdd)"),
            Mark("earliest release", "t_earliest", "v(pin)"),
            Mark("latest release", "t_latest", "v(pin)"),
        ),
    )


def _settled(network: ResetNetwork) -> Scene:
    experiment = Experiment(
        reset_network("Reset: settled", _parts(network), Dc(Param("rail"))),
        OperatingPoint(**_LOOSER) if network.reset.transistor else OperatingPoint(),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:settled",
        ("final_level", "release_level_margin"),
    )
    return Scene(
        "settled",
        "The rail has been up for long",
        experiment,
        network.space(leaking=True),
        network.settled,
        ("release_level_margin",),
    )


def _power_down(network: ResetNetwork) -> Scene:
    rail = Pwl(
        (
            (0.0, Param("rail")),
            (Param("t_hold"), Param("rail")),
            (Param("t_down"), 0.0),
        )
    )
    has_diode, gated = network.reset.discharge_diode is not None, bool(network.reset.transistor)
    currents = _CURRENTS if has_diode else _CURRENTS[:1]
    saves = tuple(current.save for current in currents)
    names = tuple(current.measure for current in currents)
    experiment = Experiment(
        reset_network("Reset: the rail goes down", _parts(network), rail),
        # A tolerance of 1e-4 of a volt would be 0.4 % of a diode's current.
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4 if gated else 1e-6),
        ("v(vdd)", "v(pin)", *saves),
        f"{_REDUCERS}:power_down",
        (*names, *(current.moment for current in currents)),
        tuple((current.measure, f"tran max {current.save}") for current in currents),
    )
    return Scene(
        "power-down",
        "The rail goes down",
        experiment,
        network.space(*network.runs_on.cut_axes(), leaking=False),
        network.power_down,
        names,
        (
            Plot(
                "Discharge while the rail goes down",
                names[-1],
                tuple(Curve(current.save, current.label, "A") for current in currents),
                (),
                tuple(Mark(c.mark, c.moment, c.save) for c in currents),
            ),
        ),
    )
