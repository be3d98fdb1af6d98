"""A user's sub-circuit as elements of a bench's circuit, in names of ours.

Its parts are called ``Rown1``, ``Qown2`` …, its inner nodes ``own1`` …, its models ``own_m1`` …
(for the word ``own``); none of them is drawn, the sub-circuit is drawn as one box.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import cast

from analog.circuits.record import (
    Dc,
    Element,
    Kind,
    Model,
    Param,
    Pulse,
    Pwl,
    Sine,
    Stimulus,
    Symbol,
    Value,
)
from analog.subcircuits import Behaviour, Part, Subcircuit, Wave, expression_text

NodeName = Callable[[int], str]


def own_elements(
    circuit: Subcircuit,
    ports: Sequence[str],
    word: str,
    key: str,
    parameters: Mapping[int, str],
) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
    """Return the sub-circuit's elements and models.

    `ports` are the nodes of the bench that its ports lie on, `word` what all its names begin
    with, `key` the design key it comes from; `parameters` names the row's parameter that takes
    the place of a part's value, by the part's place. ValueError for the wrong number of ports.
    """
    if len(ports) != circuit.ports:
        raise ValueError(f"the sub-circuit has {circuit.ports} ports, not {len(ports)}")
    names = [f"{p.kind}{word}{k}" for p, k in zip(circuit.parts, circuit.tallies(), strict=True)]

    def node(number: int) -> str:
        return ports[number] if number < len(ports) else f"{word}{number + 1 - len(ports)}"

    elements = tuple(
        Element(
            names[place],
            cast(Kind, part.kind),
            tuple(map(node, part.nodes)),
            Param(parameters[place]) if place in parameters else _value(part, node, names),
            model="" if part.model is None else f"{word}_m{part.model + 1}",
            arguments=part.arguments,
            control=_controls(part, node, names),
            key=key,
        )
        for place, part in enumerate(circuit.parts)
    )
    models = tuple(
        Model(f"{word}_m{k}", model.type, model.arguments)
        for k, model in enumerate(circuit.models, start=1)
    )
    return elements, models


def own_box(
    nodes: Sequence[str],
    terminals: Sequence[tuple[float, float]],
    word: str,
    key: str,
    names: tuple[str, Sequence[str]],
) -> Element:
    """Return the box that stands for the sub-circuit in a picture, one terminal per port.

    `names` are the sub-circuit's and its ports', as its user calls them.
    """
    symbol = Symbol("box", tuple(terminals), names[0], tuple(names[1]))
    return Element(f"X{word}", "X", tuple(nodes), key=key, symbol=symbol)


def _controls(part: Part, node: NodeName, names: Sequence[str]) -> tuple[str, ...]:
    if part.kind in "EG":
        return tuple(map(node, part.controls))
    return tuple(names[place] for place in part.controls)


def _value(part: Part, node: NodeName, names: Sequence[str]) -> Value | Stimulus | str | None:
    if isinstance(part.value, Wave):
        return _stimulus(part.value)
    if isinstance(part.value, Behaviour):
        body = expression_text(part.value.expression, node, lambda place: names[place].lower())
        return f"{part.value.quantity} = {body}"
    return part.value


def _stimulus(wave: Wave) -> Stimulus:
    numbers = wave.numbers
    if wave.shape == "dc":
        return Dc(numbers[0])
    if wave.shape == "sin":
        offset, amplitude, frequency, phase = numbers
        return Sine(amplitude, frequency, phase, offset)
    if wave.shape == "pulse":
        return Pulse(*numbers)
    return Pwl(tuple(zip(numbers[::2], numbers[1::2], strict=True)))
