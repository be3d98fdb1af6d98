"""A user's own sub-circuit as the stage behind the filter: input at the pin, output ``out``.

``i(vpin)`` is the current into its input; the parts whose tolerance is stated take their values
from the row's ``stage_value_1`` ….
"""

from __future__ import annotations

from analog.circuits.own_subcircuit import own_box, own_elements
from analog.circuits.record import GROUND, Dc, Element, Model
from analog.design import OwnCircuit

WORD = "stage"
STAGE_KEY = "conditioner.subcircuit"

_NODES = {"in": "inside", "out": "out", "vdd": "vdd", "vss": GROUND}
_PLACES = {"in": (0.0, 5.0), "vss": (0.0, 4.0), "out": (5.0, 5.0), "vdd": (5.0, 6.0)}

WIDTH = 6.0
"""Grid columns that its box takes."""


def stage_parameters(own: OwnCircuit) -> dict[int, str]:
    """Return {a part's place: the row's parameter for its value}."""
    return {part.place: f"{WORD}_value_{k}" for k, part in enumerate(own.spreads, start=1)}


def own_input(own: OwnCircuit) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return the stage from node ``pin`` to node ``out``, and its models."""
    nodes = [_NODES[role] for role in own.roles]
    elements, models = own_elements(own.circuit, nodes, WORD, STAGE_KEY, stage_parameters(own))
    return (Element("VPIN", "V", ("pin", "inside"), Dc(0.0)), *elements), models


def input_picture(own: OwnCircuit, x: float) -> Element:
    """Return the box that the schematic shows, from grid column `x` on."""
    nodes = [_NODES[role] for role in own.roles]
    terminals = [(x + _PLACES[role][0], _PLACES[role][1]) for role in own.roles]
    return own_box(nodes, terminals, WORD, STAGE_KEY, (own.name, own.ports))
