"""The Schmitt stage and what its output drives, as elements of a circuit.

Parameters of a row, the arguments of models/schmitt.lib: ``v_rail``, ``v_p``, ``v_n`` (V at the
row's rail), ``i_ol``, ``i_oh`` (A), ``v_ol``, ``v_oh`` (V from ground and from the rail),
``t_pd``, ``t_tr`` (s), ``c_in`` (F), ``r_in`` (Ω); of the load ``c_load`` (F) and ``r_load_in``
(Ω), through which the clocked part's input current flows against either level of the output.
"""

from __future__ import annotations

from analog.circuits.record import GROUND, Element, Param, Symbol

ARGUMENTS = ("v_p", "v_n", "i_ol", "v_ol", "i_oh", "v_oh", "t_pd", "t_tr", "c_in", "r_in")


def schmitt_stage(library: str, part: str, clocked: str, x: float) -> tuple[Element, ...]:
    """Return the stage from node ``pin`` to node ``out``, with its load, from grid column x on."""
    arguments = tuple((name, Param(name)) for name in ARGUMENTS)
    return (
        Element(
            "XSCHMITT",
            "X",
            ("pin", "out", "vdd", GROUND),
            model=library,
            arguments=(("vnom", Param("v_rail")), *arguments),
            key="conditioner.part",
            symbol=Symbol("schmitt", ((x, 5), (x + 2, 5), (x + 1, 6), (x + 1, 4)), part),
        ),
        Element(
            "CLOAD",
            "C",
            ("out", GROUND),
            Param("c_load"),
            key="conditioner.load_capacitance",
            symbol=Symbol("capacitor", ((x + 4, 5), (x + 4, 2)), f"wiring and {clocked}"),
        ),
        # Input current works against either level: from the rail and to ground alike.
        Element("RHIGH", "R", ("vdd", "out"), Param("r_load_in")),
        Element("RLOW", "R", ("out", GROUND), Param("r_load_in")),
    )
