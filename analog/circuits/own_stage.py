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
_PLACES = {"line": (0.0, 5.0), "pin": (4.0, 5.0), "ground": (2.0, 2.0), "rail": (2.0, 8.0)}
_OTHER_PLACE = (0.0, 4.0)


def own_parameters(own: OwnCircuit) -> dict[int, str]:
    """Return {a part's place: the row's parameter for its value}."""
    return {part.place: f"{WORD}_value_{k}" for k, part in enumerate(own.spreads, start=1)}


def own_stage(own: OwnCircuit, other: str) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return the sub-circuit's elements and models; `other` is the winding's other end."""
    return own_elements(own.circuit, _nodes(own, other), WORD, KEY, own_parameters(own))


def own_picture(own: OwnCircuit, other: str, x: float) -> Element:
    """Return the box that the schematic shows, from grid column `x` on."""
    places = [_PLACES.get(role, _OTHER_PLACE) for role in own.roles]
    terminals = [(x + across, up) for across, up in places]
    ports = ", ".join(
        port if port == role else f"{port} ({role})"
        for port, role in zip(own.ports, own.roles, strict=True)
    )
    return own_box(_nodes(own, other), terminals, WORD, KEY, f"{own.name}: {ports}")


def _nodes(own: OwnCircuit, other: str) -> list[str]:
    return [_NODES.get(role, other) for role in own.roles]
