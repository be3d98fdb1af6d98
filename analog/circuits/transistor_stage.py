"""A transistor as the stage behind the filter: base resistor, NPN, collector resistor.

    pin ── R5 ── base,  emitter on ground,  collector ── out,  R6 from there to the rail

Parameters of a row: ``r_base``, ``r_collector`` (Ω), ``h_fe`` (gain of the part at 25 °C and the
stage's current), ``i_sat`` (A, its saturation current at 25 °C, which sets its base-emitter
voltage).
``i(vpin)`` is the current into the base resistor.
"""

from __future__ import annotations

from collections.abc import Mapping

from analog.circuits.record import GROUND, Dc, Element, Model, Param, Symbol, Value

MODEL = "qstage"

_KEPT = (
    "NF", "XTB", "XTI", "EG", "BR", "CJC", "VJC", "MJC", "CJE", "VJE", "MJE", "TF", "TR",
    "RB", "RC",
)  # fmt: skip


def transistor_model(spice: Mapping[str, float]) -> Model:
    """Return the model of a stage's transistor: the card's parameters, its gain from the row.

    What makes the gain fall towards small and large currents is left out: the row's is that at
    the stage's own current.
    """
    kept: tuple[tuple[str, Value], ...] = tuple(
        (name, spice[name]) for name in _KEPT if name in spice
    )
    return Model(MODEL, "NPN", (*kept, ("IS", Param("i_sat")), ("BF", Param("h_fe"))))


def transistor_input(part: str, x: float) -> tuple[Element, ...]:
    """Return the stage from node ``pin`` to node ``out``, from grid column x on."""
    return (
        Element("VPIN", "V", ("pin", "inside"), Dc(0.0)),
        Element(
            "R5",
            "R",
            ("inside", "base"),
            Param("r_base"),
            key="conditioner.base_resistor",
            symbol=Symbol("resistor", ((x, 5), (x + 3, 5))),
        ),
        Element(
            "Q1",
            "Q",
            ("out", "base", GROUND),
            model=MODEL,
            key="conditioner.part",
            symbol=Symbol("npn", ((x + 6, 6), (x + 5, 5), (x + 6, 4)), part),
        ),
        Element(
            "R6",
            "R",
            ("vdd", "out"),
            Param("r_collector"),
            key="conditioner.collector_resistor",
            symbol=Symbol("resistor", ((x + 6, 10), (x + 6, 7))),
        ),
    )
