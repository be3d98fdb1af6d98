"""The Schmitt stage and what its output drives: simulated as a part, or read by its data.

Parameters of a row, the arguments of models/schmitt.lib: ``v_rail``, ``v_p``, ``v_n`` (V at the
row's rail), ``i_ol``, ``i_oh`` (A), ``v_ol``, ``v_oh`` (V from ground and from the rail),
``t_pd``, ``t_tr`` (s), ``c_in`` (F), ``r_in`` (Ω); of the load ``c_load`` (F) and ``r_load_in``
(Ω), through which the clocked part's input current flows against either level of the output.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.circuits.record import GROUND, Element, Param, Symbol
from analog.circuits.space import Floats

ARGUMENTS = ("v_p", "v_n", "i_ol", "v_ol", "i_oh", "v_oh", "t_pd", "t_tr", "c_in", "r_in")

# Arguments of models/schmitt.lib that no card gives, at the values it sets.
_REFERENCE_F, _OUTPUT_F, _THRESHOLD_V = 50e-12, 5e-12, 1.0

# The integral of dx over the right side of the part's state equation, from rest to half-way.
_STATE_CONSTANTS = 2.27

# Of the stage's own delay, what the model fits to simulated edges (see models/schmitt.lib).
_DRIVE_SHARE, _INPUT_SHARE, _GATE_SHARE = 0.6, 0.7, 0.85

_AIRY_ZERO = 2.338107


def schmitt_stage(
    library: str, part: str, clocked: str, x: float, shape: str = "schmitt"
) -> tuple[Element, ...]:
    """Return the stage from node ``pin`` to node ``out``, with its load, from grid column x on.

    `shape` is how the part is drawn (see `analog.circuits.record.Symbol`).
    """
    return (_part(library, part, "pin", x, shape), *stage_load(clocked, x))


def stage_load(clocked: str, x: float) -> tuple[Element, ...]:
    """Return what hangs on node ``out``: wiring, and the current of the clocked inputs."""
    return (
        _wiring(clocked, x),
        # Input current works against either level: from the rail and to ground alike.
        Element("RHIGH", "R", ("vdd", "out"), Param("r_load_in")),
        Element("RLOW", "R", ("out", GROUND), Param("r_load_in")),
    )


def pictured_stage(
    library: str, part: str, clocked: str, x: float, shape: str = "schmitt"
) -> tuple[Element, ...]:
    """Return the same for a picture only, its input the gate behind the pin's own resistor."""
    return (_part(library, part, "gate", x, shape), _wiring(clocked, x))


def _part(library: str, part: str, source: str, x: float, shape: str) -> Element:
    arguments = tuple((name, Param(name)) for name in ARGUMENTS)
    return Element(
        "XSCHMITT",
        "X",
        (source, "out", "vdd", GROUND),
        model=library,
        arguments=(("vnom", Param("v_rail")), *arguments),
        key="conditioner.part",
        symbol=Symbol(shape, ((x, 5), (x + 2, 5), (x + 1, 6), (x + 1, 4)), part),
    )


def _wiring(clocked: str, x: float) -> Element:
    return Element(
        "CLOAD",
        "C",
        ("out", GROUND),
        Param("c_load"),
        key="conditioner.load_capacitance",
        symbol=Symbol("capacitor", ((x + 4, 5), (x + 4, 2)), f"wiring and {clocked}"),
    )


def state_constant_s(row: Mapping[str, Floats]) -> Floats:
    """Return the time constant (s) of the state equation in models/schmitt.lib, as it sets it.

    Delay less what the output pair, its gates and the input take of it.
    """
    over_v = row["v_rail"] - _THRESHOLD_V
    per_siemens = (
        (2 * np.maximum(0.9 * row["v_rail"] - over_v, 0) / over_v
         + np.log((2 * over_v - 0.1 * row["v_rail"]) / (0.1 * row["v_rail"])))
        * (_REFERENCE_F + _OUTPUT_F) / over_v
    )  # fmt: skip
    pair_s = per_siemens * sum(
        (over_v * row[drop] - row[drop] ** 2 / 2) / row[current] / 2
        for drop, current in (("v_ol", "i_ol"), ("v_oh", "i_oh"))
    )
    inside_s = row["r_in"] * row["c_in"]
    delay_s, transition_s = row["t_pd"], row["t_tr"]
    free_s = np.maximum(0.1 * delay_s, delay_s - _DRIVE_SHARE * pair_s - _INPUT_SHARE * inside_s)
    wanted_s = 0.8 * np.sqrt(np.maximum(transition_s**2 - pair_s**2, 0))
    gate_s = np.maximum(0.5e-9, np.minimum(wanted_s, 0.8 * free_s))
    return np.asarray(np.maximum(0.1 * delay_s, free_s - _GATE_SHARE * gate_s) / _STATE_CONSTANTS)


def switching_delay_s(slew: float, hysteresis_v: float, constant_s: float, delay_s: float) -> float:
    """Return how long after a slow input passed its threshold the output passes half the rail.

    At the threshold the state equation tau·dx/dt = √3·y² + k·r·t (y from the fold, k = 2/(3√3),
    r = 2·slew/V_H) lingers: y becomes infinite at 2.338·(3·tau²·V_H/(4·slew))^(1/3), 2.338 being
    the first zero of the Airy function (closed form). The rest of the delay is as for a step.
    `slew` in V/s.
    """
    lingering_s = _AIRY_ZERO * (0.75 * constant_s**2 * hysteresis_v / slew) ** (1 / 3)
    return float(lingering_s + delay_s - _STATE_CONSTANTS * constant_s)
