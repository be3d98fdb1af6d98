"""The push-button across the capacitor: what its contact bears, and how long to press it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.axes import part_axis
from analog.benches.base import Curve, Mark, Measure, Plot, Scene
from analog.benches.reset_levels import each
from analog.benches.reset_space import ResetNetwork
from analog.benches.reset_titles import SURE_RESET
from analog.circuits.record import Dc, Experiment, Param, Pwl, Transient
from analog.circuits.reset_network import ResetParts, press_at, reset_network
from analog.circuits.reset_parts import CONTACT_OHM
from analog.circuits.space import Axis, Floats
from analog.verdicts import Limit

_REDUCERS = "analog.benches.reset_measures"

BOUNCES = 5
BOUNCE_S = 1e-3
"""A contact bounces for 5 ms, half of the time open (from memory: makers of tactile switches
state 5 ms to 10 ms at most)."""

HASTY_S = 0.05

HASTY_PRESS = Limit(
    "hasty_press", None, HASTY_S, "common practice, no source: a hasty finger presses for 50 ms"
)


@dataclass(frozen=True, slots=True)
class PressRows:
    """Rows of a button that bounces when it is pressed and then stays closed."""

    network: ResetNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.common(values)
        closed = CONTACT_OHM + rows.get("r_button", np.zeros(1))
        stop = (BOUNCES + 1) * BOUNCE_S + 12 * closed * rows["c_reset"]
        asserting = each(rows["rail"], self.network.levels.asserting_v)
        return rows | {
            "v_assert_full": asserting,
            "pin_assert": self.network.levels.at_pin(rows["rail"], asserting),
            "t_first": 0 * stop + BOUNCE_S,
            "t_stop": stop,
            "t_step": stop / 800.0,
        }


def button_scenes(network: ResetNetwork, parts: ResetParts) -> tuple[Scene, ...]:
    """Return the closing contact and the press, none without a button."""
    if not parts.button:
        return ()
    bare = replace(parts, strays=False)
    return _contact(network, bare), _press(network, bare)


def press_measure(network: ResetNetwork) -> tuple[Measure, ...]:
    """Return the press in words, where there is a button."""
    if not network.reset.button:
        return ()
    return (
        Measure(
            "button_press_time",
            "s",
            "shortest press that certainly resets",
            "max",
            HASTY_S,
            f"from the first touch to the pin certainly asserting for good, the contact bouncing "
            f"for {1e3 * BOUNCES * BOUNCE_S:g} ms",
        ),
    )


def _own_axis(network: ResetNetwork) -> tuple[Axis, ...]:
    resistor = network.reset.button_resistor
    return () if resistor is None else (part_axis(resistor),)


def _contact(network: ResetNetwork, parts: ResetParts) -> Scene:
    press = press_at(Param("t_press"), Param("t_edge"), Param("t_held"), Param("t_again"))
    experiment = Experiment(
        reset_network("Reset: the button", parts, Dc(Param("rail")), press),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4),
        ("v(pin)", "i(vbutton)"),
        f"{_REDUCERS}:button",
        ("button_current", "t_button_peak"),
        (("button_current", "tran max i(vbutton)"),),
    )
    return Scene(
        "button",
        "The reset button is pressed",
        experiment,
        network.space(*_own_axis(network), leaking=False),
        network.button,
        ("button_current",),
    )


def _press(network: ResetNetwork, parts: ResetParts) -> Scene:
    experiment = Experiment(
        reset_network("Reset: a press of the button", parts, Dc(Param("rail")), bouncing()),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:press",
        ("button_press_time", "t_pressed"),
    )
    return Scene(
        "press",
        "A press of the bouncing button",
        experiment,
        network.space(*_own_axis(network), leaking=False),
        PressRows(network),
        ("button_press_time",),
        (
            Plot(
                "Reset pin while the button is pressed",
                "button_press_time",
                (Curve("v(pin)", "reset pin", "V"),),
                (SURE_RESET,),
                (Mark("certain for good", "t_pressed", "v(pin)"),),
            ),
        ),
    )


def bouncing() -> Pwl:
    """Return the hand (1 = closed): from `BOUNCE_S` on it touches and lets go, then stays."""
    edge, points = 1e-5, [(0.0, 0.0)]
    for number in range(1, BOUNCES + 1):
        start, half = number * BOUNCE_S, BOUNCE_S / 2
        points += [(start, 0.0), (start + edge, 1.0)]
        points += [(start + half, 1.0), (start + half + edge, 0.0)]
    end = (BOUNCES + 1) * BOUNCE_S
    return Pwl((*points, (end, 0.0), (end + edge, 1.0)))
