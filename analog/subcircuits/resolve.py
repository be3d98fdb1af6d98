"""From definitions to the flat record: X elements spelled out, names gone, values worked out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, cast

from analog.subcircuits.definitions import File
from analog.subcircuits.devices import TYPES
from analog.subcircuits.expressions import Applied, Constant, Formula, Name, probed
from analog.subcircuits.lines import Token
from analog.subcircuits.problems import FaultError, Faults, shown
from analog.subcircuits.record import (
    Behaviour,
    Current,
    DeviceModel,
    DeviceType,
    Expression,
    Number,
    Operation,
    Part,
    PartKind,
    Subcircuit,
    Temperature,
    Voltage,
    Wave,
)
from analog.subcircuits.scope import Scope, constant
from analog.subcircuits.statements import Definition, Formulas, ModelStatement, Statement
from analog.subcircuits.values import check_argument, check_single, wave_of

Node = tuple[int, str]
"""A node of the flat circuit: which use of a sub-circuit it belongs to, and its name there."""


@dataclass(frozen=True, slots=True, eq=False)
class Use:
    """One use of a definition: `number` tells it from others, `ports` are the outer nodes."""

    number: int
    definition: Definition
    scope: Scope
    ports: dict[str, Node]

    def node(self, token: Token) -> Node:
        """Return the flat node behind a name."""
        return self.ports.get(token.text, (self.number, token.text))


@dataclass(slots=True)
class Resolver:
    """Spells out one definition of a file."""

    file: File
    faults: Faults
    outer: Scope
    uses: int = 0
    spelled: list[tuple[Statement, Use]] = field(default_factory=list)
    places: dict[tuple[int, str], int] = field(default_factory=dict)
    """(use, element's name): its place among the parts."""
    nodes: dict[Node, int] = field(default_factory=dict)
    models: dict[DeviceModel, int] = field(default_factory=dict)

    def flat(self, definition: Definition) -> Subcircuit:
        """Return the record of a definition used with its default values."""
        top = self._use(definition, {}, {port: (0, port) for port in definition.ports})
        self._spell(top)
        # A coupling comes behind its inductors.
        self.spelled.sort(key=lambda entry: entry[0].kind == "k")
        for index, (statement, use) in enumerate(self.spelled):
            self.places[use.number, statement.name] = index
        for port in definition.ports:
            self._number(top.ports[port])
        self._check_attached(top)
        parts = []
        for statement, use in self.spelled:
            with self.faults.gathered():
                parts.append(self._part(statement, use))
        return Subcircuit(len(definition.ports), tuple(parts), tuple(self.models))

    def _use(self, definition: Definition, values: dict[str, float], ports: dict[str, Node]) -> Use:
        formulas = {**definition.arguments, **definition.parameters}
        self.uses += 1
        return Use(self.uses - 1, definition, Scope(formulas, self.outer, values), ports)

    def _spell(self, use: Use) -> None:
        """Append a use's elements, those of its X elements in their place."""
        for statement in use.definition.statements.values():
            if statement.kind != "x":
                self.spelled.append((statement, use))
                continue
            with self.faults.gathered():
                self._spell(self._inner(statement, use))

    def _inner(self, statement: Statement, use: Use) -> Use:
        name = statement.model.text if statement.model is not None else ""
        definition = self.file.definitions[name]
        if len(statement.nodes) != len(definition.ports):
            rule = f"'{name}' has {len(definition.ports)} ports, not {len(statement.nodes)}"
            raise FaultError(statement.place, rule, "Give one node for each port")
        values = {}
        for key, (formula, place) in statement.keywords.items():
            if key not in definition.arguments:
                rule = f"'{name}' takes no '{key}'"
                raise FaultError(place, rule, "Define it behind the ports of .subckt")
            values[key] = use.scope.value(formula)
        nodes = (use.node(token) for token in statement.nodes)
        return self._use(definition, values, dict(zip(definition.ports, nodes, strict=True)))

    def _check_attached(self, top: Use) -> None:
        """Note nodes that are asked for but lead nowhere: a misspelt one is a new node."""
        attached = set(top.ports.values())
        for statement, use in self.spelled:
            attached.update(use.node(token) for token in statement.nodes)
        for statement, use in self.spelled:
            asked = [*probed(statement.formula)]
            if statement.kind in "eg":
                asked += statement.controls
            for token in asked:
                with self.faults.gathered():
                    _check_known(token, use.node(token) in attached)

    def _number(self, node: Node) -> int:
        return self.nodes.setdefault(node, len(self.nodes))

    def _part(self, statement: Statement, use: Use) -> Part:
        nodes = tuple(self._number(use.node(token)) for token in statement.nodes)
        return Part(
            cast(PartKind, statement.kind.upper()),
            nodes,
            self._value(statement, use),
            self._controls(statement, use),
            self._model(statement, use),
            _arguments(statement.keywords, use.scope),
        )

    def _value(self, statement: Statement, use: Use) -> float | Wave | Behaviour | None:
        if statement.formula is not None:
            quantity = cast(Literal["v", "i"], statement.quantity)
            return Behaviour(quantity, self._expression(statement.formula, use))
        numbers = [use.scope.value(formula) for formula in statement.numbers]
        if statement.kind in "vi":
            return wave_of(statement.shape, numbers, statement.place)
        if not numbers:
            return None
        check_single(statement.kind, numbers[0], statement.place)
        return numbers[0]

    def _controls(self, statement: Statement, use: Use) -> tuple[int, ...]:
        if statement.kind in "eg":
            return tuple(self._number(use.node(token)) for token in statement.controls)
        wanted = "l" if statement.kind == "k" else "v"
        found = tuple(self._element(token, wanted, use) for token in statement.controls)
        if statement.kind == "k" and found[0] == found[1]:
            raise FaultError(statement.place, "an inductor couples to itself", "Name two inductors")
        return found

    def _element(self, token: Token, wanted: str, use: Use) -> int:
        statement = use.definition.statements.get(token.text)
        if statement is None or statement.kind != wanted:
            noun = "an inductor" if wanted == "l" else "a voltage source"
            rule = f"'{shown(token.text)}' is not {noun} of this sub-circuit"
            raise FaultError(token.place, rule, f"Name {noun} that stands beside it")
        return self.places[use.number, token.text]

    def _model(self, statement: Statement, use: Use) -> int | None:
        if statement.model is None:
            return None
        name, place = statement.model.text, statement.model.place
        found, scope = use.definition.models.get(name), use.scope
        if found is None:
            found, scope = self.file.outside.models.get(name), self.outer
        if found is None:
            rule = f"the file has no model '{shown(name)}'"
            raise FaultError(place, rule, "Write a .model of a built-in type")
        if found.type not in TYPES[statement.kind]:
            rule = f"'{shown(name)}' is a model of type {found.type}"
            wanted = " or ".join(TYPES[statement.kind])
            raise FaultError(place, rule, f"Use a model of type {wanted}")
        return self.models.setdefault(_device(found, scope), len(self.models))

    def _expression(self, formula: Formula, use: Use) -> Expression:
        """Return an expression without names, its constant parts worked out."""
        if isinstance(formula, Constant):
            return Number(formula.value)
        if isinstance(formula, Name):
            if formula.text == "temper":
                return Temperature()
            return Number(use.scope.value(formula))
        if not isinstance(formula, Applied):
            if formula.kind == "i":
                return Current(self._element(formula.names[0], "v", use))
            return Voltage(tuple(self._number(use.node(token)) for token in formula.names))
        operands = tuple(self._expression(one, use) for one in formula.operands)
        numbers = tuple(one.value for one in operands if isinstance(one, Number))
        if len(numbers) == len(operands):
            return Number(constant(formula.sign, numbers, formula.place))
        return Operation(formula.sign, operands)


def _check_known(token: Token, known: bool) -> None:
    if not known:
        rule = f"nothing is connected to the node '{shown(token.text)}'"
        raise FaultError(token.place, rule, "Mend its name, or connect it")


def _device(model: ModelStatement, scope: Scope) -> DeviceModel:
    arguments = _arguments(model.arguments, scope)
    return DeviceModel(cast(DeviceType, model.type.upper()), arguments)


def _arguments(formulas: Formulas, scope: Scope) -> tuple[tuple[str, float], ...]:
    found = []
    for name, (formula, place) in formulas.items():
        value = scope.value(formula)
        check_argument(name, value, place)
        found.append((name, value))
    return tuple(found)
