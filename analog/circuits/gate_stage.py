"""A plain gate as the stage behind the filter, and what its output drives.

Parameters of a row, the arguments of models/gate.lib: ``v_rail``, ``f_th`` (threshold as a share
of the rail), ``gain``, ``i_ol``, ``i_oh`` (A), ``v_ol``, ``v_oh`` (V from ground and from the
rail), ``t_plh``, ``t_phl``, ``t_tr`` (s), ``c_in`` (F), ``r_in`` (Ω); of the load ``c_load`` (F)
and ``r_load_in`` (Ω), as in `analog.circuits.schmitt_stage`.
"""

from __future__ import annotations

from analog.circuits.record import GROUND, Element, Param, Symbol
from analog.circuits.schmitt_stage import stage_load

LIBRARY = "gate"
ARGUMENTS = (
    "f_th", "gain", "i_ol", "v_ol", "i_oh", "v_oh", "t_plh", "t_phl", "t_tr", "c_in", "r_in", "vto",
)  # fmt: skip


def gate_stage(part: str, clocked: str, x: float) -> tuple[Element, ...]:
    """Return the gate from node ``pin`` to node ``out``, with its load, from grid column x on."""
    arguments = tuple((name, Param(name)) for name in ARGUMENTS)
    gate = Element(
        "XGATE",
        "X",
        ("pin", "out", "vdd", GROUND),
        model=LIBRARY,
        arguments=(("vnom", Param("v_rail")), *arguments),
        key="conditioner.part",
        symbol=Symbol("inverter", ((x, 5), (x + 2, 5), (x + 1, 6), (x + 1, 4)), part),
    )
    return (gate, *stage_load(clocked, x))
