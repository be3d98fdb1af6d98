"""The load must not come on by itself: what the LED gets while the logic is not alive yet.

Below its lowest supply the logic guarantees nothing, so its output is taken at the side that
lights the LED, through the real output, driver and LED resistor. The rail rises, stands and falls
as the supply lets it. The LED's current follows the rail without memory, so that its largest
value below the logic's lowest supply holds for every ramp: power-up, power-down, and each cut
and brown-out of the map of interruptions. Above that supply the reset holds the LED off, which
`input_at_valid_supply` and `missed_reset_window` judge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis
from analog.benches.base import Curve, Mark, Measure, Plot, Scene
from analog.benches.gate_drive import led_networks
from analog.benches.gate_drive_led import LedNetwork, driver_parts
from analog.benches.gate_drive_parts import merged, ratio_curve
from analog.benches.reset_rail import GAP_S, rise_rows, rise_stimulus
from analog.benches.reset_space import ResetNetwork
from analog.benches.reset_titles import LOWEST_SUPPLY
from analog.circuits.led_drive import led_side
from analog.circuits.record import GROUND, Circuit, Element, Experiment, Param, Pwl, Transient
from analog.circuits.space import Floats, Space
from analog.design import Design
from analog.verdicts import Limit

MEASURE = "led_current_before_reset"
OUTPUTS = (MEASURE, "t_led_peak", "time_unguarded")

STANDING_S = 1e-3
"""For how long the rail stands between its rise and its fall."""


@dataclass(frozen=True, slots=True)
class LedRows:
    """Rows of the LED's circuit on a rail that comes and goes at the nominal supply."""

    network: ResetNetwork
    led: LedNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows, runs_on = self.led.lit(values), self.network.runs_on
        rail, nominal = rows["rail"], self._nominal(values)
        valid = np.full(np.shape(rail), self.network.valid_supply_v)
        rise = runs_on.rise(nominal, rail, 0 * rail, 0.0).with_point_at(valid)
        down = rise.time[:, -1] + STANDING_S
        gone = down + runs_on.fall(nominal, rail).length
        return (
            rows
            | rise_rows(rise)
            | {
                "valid_supply": valid,
                "t_down": down,
                "t_lost": down + (gone - down) * (1 - valid / rail),
                "t_gone": gone,
                "t_stop": gone + GAP_S,
                "t_step": gone / 200.0,
            }
        )

    def _nominal(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the supply's values at their nominals, for the ambient of each row."""
        runs_on = self.network.runs_on
        axes = {axis.key: axis for axis in (*runs_on.cut_axes(), *runs_on.rise_axes())}
        space = Space((ambient_axis(self.network.environment), *axes.values()))
        found = space.decode(np.zeros((len(values[AMBIENT]), len(space.axes))))
        return found | {AMBIENT: values[AMBIENT]}


def led_scenes(network: ResetNetwork, design: Design) -> tuple[Scene, ...]:
    """Return one scene per LED and transistor that may be fitted; none without a gate drive."""
    if design.gate_drive is None:
        return ()
    kept: dict[object, LedNetwork] = {}
    for led in led_networks(design, design.gate_drive):
        first = merged((led.opto,), ("V_F",))[0].figure("V_F")
        key = (first.low, first.high, led.transistor and led.transistor.maker)
        kept.setdefault(key, led)
    many = len(kept) > 1
    return tuple(
        _scene(network, led, f"-{number}" if many else "")
        for number, led in enumerate(kept.values(), 1)
    )


def led_limit(design: Design) -> Limit | None:
    """Return the LED current (A) from which on an opto of the grade is certain to fire, hot.

    Makers give no least trigger current, so that nothing is promised below it either: the words
    say so.
    """
    drive, hot_c = design.gate_drive, design.environment.ambient_maximum
    if drive is None:
        return None
    optos = [led.opto for led in led_networks(design, drive)]
    opto = min(optos, key=lambda column: column.figure("I_FT").high)
    grade = opto.figure("I_FT")
    ratio = float(np.interp(hot_c, *ratio_curve(opto, "I_FT_ratio")))
    source = (
        f"trigger grade of the {drive.opto} ({grade.source}) × {ratio:.4g} at {hot_c:g} °C: from "
        "there on it is certain to fire. A part may fire at less, since makers give no least "
        "current; set a limit of your own where a flash of the load matters"
    )
    return Limit("trigger_grade", None, grade.high * ratio, source, grade.note("high"))


def led_measure(design: Design) -> tuple[Measure, ...]:
    """Return the measure in words; its scale is the LED's trigger current."""
    drive = design.gate_drive
    if drive is None:
        return ()
    scale = max(led.opto.figure("I_FT").high for led in led_networks(design, drive))
    return (
        Measure(
            MEASURE,
            "A",
            "LED current while the logic is not alive",
            "max",
            scale,
            "the largest while the rail is below the logic's lowest supply, on its way up or "
            "down or resting there, the logic's output being at whichever side lights the LED",
        ),
    )


def _scene(network: ResetNetwork, led: LedNetwork, suffix: str) -> Scene:
    experiment = Experiment(
        led_circuit(network, led),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "i(vled)"),
        "analog.benches.reset_measures:led_before_reset",
        OUTPUTS,
    )
    return Scene(
        f"led{suffix}",
        "The LED while the logic is not alive",
        experiment,
        led.space(),
        LedRows(network, led),
        (MEASURE,),
        (
            Plot(
                "LED current as the rail comes and goes, the logic's output unguarded",
                MEASURE,
                (Curve("i(vled)", "LED", "A"),),
                (),
                (Mark("largest below the logic's supply", "t_led_peak", "i(vled)"),),
            ),
            Plot(
                "Rail of the LED's driver",
                MEASURE,
                (Curve("v(vdd)", "rail", "V"),),
                (LOWEST_SUPPLY,),
            ),
        ),
    )


def led_circuit(network: ResetNetwork, led: LedNetwork) -> Circuit:
    """Return the LED's circuit on a rail that comes and goes, its logic always lighting it."""
    elements, models = led_side(driver_parts(led))
    rail = Pwl(
        (
            *rise_stimulus(network.runs_on).points,
            (Param("t_down"), Param("rail")),
            (Param("t_lost"), Param("valid_supply")),
            (Param("t_gone"), 0.0),
        )
    )
    # A PNP switch is on with the logic's output low: its input then follows the rail.
    gain = 1.0 if led.drive.driver == "pnp" else 0.0
    forced = Element("EIN", "E", ("vin", GROUND), gain, control=("vdd", GROUND))
    swapped = {
        "VRAIL": next(replace(one, value=rail) for one in elements if one.reference == "VRAIL"),
        "VIN": forced,
    }
    kept = tuple(swapped.get(one.reference, one) for one in elements)
    return Circuit("Reset: the LED while the logic is not alive", kept, models, ("opto_triac",))
