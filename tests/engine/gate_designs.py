"""Gate-drive designs made in code, and rows of their scenes, for the bench's tests."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from analog.benches.base import Plan, Scene
from analog.benches.gate_drive import plan
from analog.design import Design
from analog.design.record import Environment, GateDrive, Load, Mains, Supply
from analog.engine import Engine

US = {"voltage": 120.0, "frequency": 60.0}
EUROPE = {"voltage": 230.0, "frequency": 50.0}

DRIVE: dict[str, Any] = {
    "driver": "npn",
    "driver_part": "2N3904",
    "base_resistor": "22k 5% carbon-film 0.25W",
    "source": "4013",
    "led_resistor": "680R 5% carbon-film 0.25W",
    "opto": "MOC3023",
    "opto_maker": "Fairchild",
    "gate_resistor": "220R 5% carbon-film 0.5W",
    "triac": "BTA06-SW",
}

MAT = {"kind": "resistive", "power": "45 W 10%"}
FAN = {"kind": "inductive", "power": "18 W 10%", "power_factor": 0.6}


def design(
    mains: Mapping[str, float] = US,
    load: Mapping[str, Any] = MAT,
    rail: str = "9 V 5%",
    ambient: tuple[float, float, float] = (0.0, 25.0, 50.0),
    **drive: Any,
) -> Design:
    """Return a design with a gate drive only; `drive` changes keys of `DRIVE`."""
    cold, usual, hot = ambient
    return Design(
        name="gate-test",
        mains=Mains(**mains),
        environment=Environment(
            ambient_minimum=cold, ambient_typical=usual, ambient_maximum=hot
        ),
        supply=Supply(rail=rail),
        gate_drive=GateDrive(**(DRIVE | drive)),
        load=Load(**load),
    )  # fmt: skip


def scene(made: Plan, identifier: str) -> Scene:
    return next(each for each in made.scenes if each.identifier == identifier)


def firing(made: Design) -> Scene:
    return scene(plan(made), "firing")


def rows(of: Scene, points: np.ndarray) -> tuple[tuple[str, ...], np.ndarray]:
    """Return parameter names and rows at coordinates (n, axes)."""
    parameters = of.derive(of.space.decode(points))
    return tuple(parameters), np.column_stack(list(parameters.values()))


def row(of: Scene, **at: float) -> dict[str, float]:
    """Return the nominal row; `at` sets coordinates by the last word of their key."""
    point = np.zeros((1, len(of.space.axes)))
    for name, coordinate in at.items():
        index = [key.rsplit(".", 1)[-1] for key in of.space.keys].index(name)
        point[0, index] = coordinate
    names, table = rows(of, point)
    return dict(zip(names, table[0].tolist(), strict=True))


def values(engine: Engine, of: Scene, at: dict[str, float]) -> dict[str, float]:
    """Return the outputs of one row by name; AssertionError when it gave no data."""
    outcome = engine.run(of.experiment, tuple(at), np.array([list(at.values())]))
    assert not outcome.failures, outcome.failures[0].reason
    return dict(zip(outcome.outputs, outcome.values[0].tolist(), strict=True))


def led_current_by_hand(at: dict[str, float], current: float, saturation: float) -> float:
    """Return (rail − V_F − V_CE)/R with the LED's voltage at `current`: 2·26 mV per e-fold and
    2 Ω from its test point."""
    forward = at["v_f"] + 2 * 0.0257 * math.log(current / at["i_f_test"])
    forward += 2.0 * (current - at["i_f_test"])
    return (at["rail"] - forward - saturation) / at["r_led"]
