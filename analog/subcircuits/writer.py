"""The record written out as a sub-circuit: our names, plain numbers, nothing else.

Ports are ``p1``, ``p2`` …, inner nodes ``n1``, ``n2`` …, parts ``R1``, ``R2`` … by kind, models
``m1`` …. What is written reads back as the same record.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from analog.subcircuits.record import (
    Behaviour,
    Current,
    Expression,
    Number,
    Operation,
    Part,
    Subcircuit,
    Temperature,
    Voltage,
    Wave,
)

NAME = "block"


def write_subcircuit(circuit: Subcircuit, name: str = NAME) -> str:
    """Return the text of a sub-circuit called `name`; ValueError unless that is letters only."""
    if not (name.isascii() and name.isalpha() and name.islower()):
        raise ValueError(f"{name!r} is no name for a sub-circuit")
    nodes = [node_name(circuit, node) for node in range(_node_count(circuit))]
    tallies = circuit.tallies()
    names = [f"{part.kind}{k}" for part, k in zip(circuit.parts, tallies, strict=True)]
    parts = [_part_line(part, names[i], nodes, names) for i, part in enumerate(circuit.parts)]
    models = [
        f".model m{k} {model.type} ({_pairs(model.arguments)})"
        for k, model in enumerate(circuit.models, start=1)
    ]
    head = f".subckt {name} {' '.join(nodes[: circuit.ports])}"
    return "\n".join([head, *parts, *models, f".ends {name}", ""])


def node_name(circuit: Subcircuit, node: int) -> str:
    """Return our name of a node."""
    return f"p{node + 1}" if node < circuit.ports else f"n{node + 1 - circuit.ports}"


def expression_text(
    expression: Expression, node: Callable[[int], str], source: Callable[[int], str]
) -> str:
    """Return an expression in brackets throughout; `node` and `source` give names."""

    def text(one: Expression) -> str:
        if isinstance(one, Number):
            return repr(one.value) if one.value >= 0 else f"({one.value!r})"
        if isinstance(one, Temperature):
            return "temper"
        if isinstance(one, Voltage):
            return f"v({','.join(map(node, one.nodes))})"
        if isinstance(one, Current):
            return f"i({source(one.part)})"
        return _operation(one, [text(operand) for operand in one.operands])

    return text(expression)


def _operation(one: Operation, operands: Sequence[str]) -> str:
    if one.sign == "?":
        return f"({operands[0]}?{operands[1]}:{operands[2]})"
    if one.sign.isalpha() or one.sign[-1].isdigit():
        return f"{one.sign}({','.join(operands)})"
    if len(operands) == 1:
        return f"({one.sign}{operands[0]})"
    return f"({operands[0]}{one.sign}{operands[1]})"


def _part_line(part: Part, name: str, nodes: Sequence[str], names: Sequence[str]) -> str:
    words = [name, *(nodes[node] for node in part.nodes)]
    if part.kind in "EG":
        words += (nodes[node] for node in part.controls)
    else:
        words += (names[index] for index in part.controls)
    if part.model is not None:
        words.append(f"m{part.model + 1}")
    if isinstance(part.value, Wave):
        words.append(_wave(part.value))
    elif isinstance(part.value, Behaviour):
        body = expression_text(part.value.expression, lambda n: nodes[n], lambda i: names[i])
        words.append(f"{part.value.quantity}={body}")
    elif part.value is not None:
        words.append(repr(part.value))
    if part.arguments:
        words.append(_pairs(part.arguments))
    return " ".join(words)


def _wave(wave: Wave) -> str:
    numbers = list(map(repr, wave.numbers))
    if wave.shape == "dc":
        return f"DC {numbers[0]}"
    if wave.shape == "sin":
        numbers[3:3] = ["0.0", "0.0"]
    return f"{wave.shape.upper()}({' '.join(numbers)})"


def _pairs(arguments: Sequence[tuple[str, float]]) -> str:
    return " ".join(f"{name}={value!r}" for name, value in arguments)


def _node_count(circuit: Subcircuit) -> int:
    """Return how many nodes there are, ports that nothing is connected to included."""
    seen = [circuit.ports - 1]
    for part in circuit.parts:
        seen += part.nodes
        if part.kind in "EG":
            seen += part.controls
        if isinstance(part.value, Behaviour):
            seen += probed_nodes(part.value.expression)
    return max(seen) + 1


def probed_nodes(expression: Expression) -> list[int]:
    """Return the nodes an expression asks for."""
    if isinstance(expression, Voltage):
        return list(expression.nodes)
    if isinstance(expression, Operation):
        return [node for operand in expression.operands for node in probed_nodes(operand)]
    return []
