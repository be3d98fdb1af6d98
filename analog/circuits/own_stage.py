"""A user's own sub-circuit in place of the line-sense filter, from the sensed point to the pin.

Its ports lie on ``tap`` (line, the sensed point), ``pin``, circuit ground, ``vdd`` (rail) and the
winding's other end; the parts whose tolerance is stated take their values from the row's
``own_value_1`` ….
"""

from __future__ import annotations

from analog.circuits.own_subcircuit import own_box, own_elements
from analog.circuits.record import GROUND, Element, Model
from analog.design import OwnCircuit

WORD = "own"
KEY = "line_sense.subcircuit"

_NODES = {"line": "tap", "pin": "pin", "ground": GROUND, "rail": "vdd"}
_PLACES = {"line": (0.0, 5.0), "other": (0.0, 4.0), "ground": (0.0, 3.0)}
_PLACES |= {"pin": (5.0, 5.0), "rail": (5.0, 6.0)}


def own_parameters(own: OwnCircuit) -> dict[int, str]:
    """Return {a part's place: the row's parameter for its value}."""
    return {part.place: f"{WORD}_value_{k}" for k, part in enumerate(own.spreads, start=1)}


def own_stage(own: OwnCircuit, other: str) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return the sub-circuit's elements and models; `other` is the winding's other end."""
    return own_elements(own.circuit, _nodes(own, other), WORD, KEY, own_parameters(own))


def own_picture(own: OwnCircuit, other: str, x: float) -> Element:
    """Return the box that the schematic shows, from grid column `x` on."""
    places = [_PLACES[role] for role in own.roles]
    terminals = [(x + across, up) for across, up in places]
    return own_box(_nodes(own, other), terminals, WORD, KEY, (own.name, own.ports))


def _nodes(own: OwnCircuit, other: str) -> list[str]:
    return [_NODES.get(role, other) for role in own.roles]
