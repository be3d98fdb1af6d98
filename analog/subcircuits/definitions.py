"""From cards to definitions: ``.subckt``, ``.ends``, ``.param``, ``.model`` and what they hold."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from analog.subcircuits.cursor import Cursor
from analog.subcircuits.devices import MODEL_PARAMETERS, SAME
from analog.subcircuits.elements import read_element, read_keywords
from analog.subcircuits.expressions import probed, read_formula
from analog.subcircuits.functions import FUNCTIONS, REFUSED_NAMES
from analog.subcircuits.limits import MOST_PARAMETERS, MOST_PARTS, MOST_PORTS
from analog.subcircuits.lines import Card
from analog.subcircuits.problems import START, FaultError, Faults, shown
from analog.subcircuits.statements import Definition, Formulas, ModelStatement, Statement

_GROUNDS = ("0", "gnd")
_OWN_NAMES = frozenset({*FUNCTIONS, *REFUSED_NAMES, "pi", "e", "temper", "v", "i", "params"})


@dataclass(slots=True)
class File:
    """All definitions of a file, and what stands outside them."""

    outside: Definition = field(default_factory=lambda: Definition("", START))
    definitions: dict[str, Definition] = field(default_factory=dict)


def read_file(cards: Iterable[Card], faults: Faults) -> File:
    """Return what the cards define; everything that may not stand there goes to `faults`."""
    reader = _Reader(File(), faults)
    for card in cards:
        with faults.gathered():
            reader.read(card)
    reader.finish()
    return reader.file


@dataclass(slots=True)
class _Reader:
    file: File
    faults: Faults
    current: Definition | None = None

    def read(self, card: Card) -> None:
        """Take one card into the definition it stands in."""
        if not card.head.startswith("."):
            self._element(card)
        elif card.head == ".subckt":
            self._begin(card)
        elif card.head == ".ends":
            self._end(card)
        elif card.head == ".param":
            self._parameters(card)
        elif card.head == ".model":
            self._model(card)
        else:
            rule = f"'{shown(card.head)}' is not allowed"
            raise FaultError(card.place, rule, "Allowed: .subckt, .ends, .param, .model")

    def finish(self) -> None:
        """Note a sub-circuit that was not ended, and a file without any."""
        if self.current is not None:
            rule = f"the sub-circuit '{self.current.name}' is not ended"
            self.faults.add(self.current.place, rule, "End it with .ends")
        if not self.file.definitions and not self.faults.found:
            self.faults.add(START, "the file holds no sub-circuit", "Write .subckt name ports …")

    def _element(self, card: Card) -> None:
        if self.current is None:
            rule = f"'{shown(card.head)}' stands outside a sub-circuit"
            remedy = "Put it between .subckt and .ends; the file has no title line"
            raise FaultError(card.place, rule, remedy)
        statement = read_element(card)
        if statement.name in self.current.statements:
            rule = f"there are two elements called '{statement.name}'"
            raise FaultError(card.place, rule, "Rename one; upper and lower case are the same")
        if len(self.current.statements) >= MOST_PARTS:
            rule = f"the sub-circuit has over {MOST_PARTS} elements"
            raise FaultError(card.place, rule, "Simplify it")
        self.current.statements[statement.name] = statement
        _check_ground(statement, self.current)

    def _begin(self, card: Card) -> None:
        cursor = _behind_head(card)
        definition = Definition(cursor.node("the sub-circuit's name").text, card.place)
        if self.current is not None:
            rule = f"a sub-circuit begins inside '{self.current.name}'"
            raise FaultError(card.place, rule, "Put them beside each other; end each with .ends")
        self.current = definition
        if definition.name in self.file.definitions:
            rule = f"there are two sub-circuits called '{definition.name}'"
            raise FaultError(card.place, rule, "Rename one")
        self.file.definitions[definition.name] = definition
        definition.ports = _ports(cursor)
        definition.arguments = read_keywords(cursor, None, "")
        cursor.finish()
        _check_parameters(definition.arguments)

    def _end(self, card: Card) -> None:
        definition, self.current = self.current, None
        if definition is None:
            raise FaultError(card.place, "'.ends' ends nothing", "Drop it")
        cursor = _behind_head(card)
        if cursor.peek() is not None:
            token = cursor.node("the sub-circuit's name")
            if token.text != definition.name:
                rule = f"'{token.text}' is not the sub-circuit that ends here"
                raise FaultError(token.place, rule, f"Write .ends {definition.name}")
        cursor.finish()

    def _parameters(self, card: Card) -> None:
        scope = self.current or self.file.outside
        cursor = _behind_head(card)
        if not cursor.at_keyword():
            raise FaultError(cursor.place, "'.param' is not followed by name = value", "Mend it")
        found: Formulas = {}
        while cursor.at_keyword():
            token = cursor.name("a parameter's name")
            cursor.advance()
            if token.text in found or token.text in {**scope.parameters, **scope.arguments}:
                rule = f"the parameter '{token.text}' is given twice"
                raise FaultError(token.place, rule, "Drop one")
            found[token.text] = (read_formula(cursor), token.place)
        cursor.finish()
        _check_parameters(found)
        if len(scope.parameters) + len(found) > MOST_PARAMETERS:
            raise FaultError(
                card.place, f"there are over {MOST_PARAMETERS} parameters", "Drop some"
            )
        scope.parameters.update(found)

    def _model(self, card: Card) -> None:
        scope = self.current or self.file.outside
        cursor = _behind_head(card)
        name = cursor.node("the model's name").text
        token = cursor.name("a model's type")
        if token.text not in MODEL_PARAMETERS:
            rule = f"'{shown(token.text)}' is no built-in device's model type"
            known = ", ".join(MODEL_PARAMETERS)
            raise FaultError(token.place, rule, f"Allowed: {known}")
        bracket = cursor.take("(")
        where = f"in a model of type {token.text}"
        known_names = MODEL_PARAMETERS[token.text] | frozenset(SAME)
        arguments = read_keywords(cursor, known_names, where)
        if bracket:
            cursor.expect(")", "'(' is not closed")
        cursor.finish()
        if name in scope.models:
            raise FaultError(card.place, f"there are two models called '{name}'", "Rename one")
        if len(scope.models) >= MOST_PARTS:
            raise FaultError(card.place, f"there are over {MOST_PARTS} models", "Drop some")
        plain = _with_first_names(arguments, token.text)
        scope.models[name] = ModelStatement(name, card.place, token.text, plain)


def _check_ground(statement: Statement, definition: Definition) -> None:
    """Refuse the simulator's ground, which is the same node everywhere, unless it is a port."""
    controls = statement.controls if statement.kind in "eg" else ()
    for token in (*statement.nodes, *controls, *probed(statement.formula)):
        if token.text in _GROUNDS and token.text not in definition.ports:
            rule = f"'{token.text}' is no port of '{definition.name}'"
            raise FaultError(token.place, rule, "Give ground a port of its own and connect that")


def _behind_head(card: Card) -> Cursor:
    cursor = Cursor(card.tokens(), card.place)
    token = cursor.advance()
    if token.text != card.head:
        rule = f"'{shown(card.head)}' is not followed by a blank"
        raise FaultError(card.place, rule, "Put a blank there")
    return cursor


def _ports(cursor: Cursor) -> tuple[str, ...]:
    ports: list[str] = []
    while cursor.peek() is not None and not cursor.at_keyword():
        following = cursor.peek(1)
        token = cursor.node("a port's name")
        if token.text == "params" and following is not None and following.text == ":":
            cursor.advance()
            break
        if token.text in ports:
            raise FaultError(token.place, f"there are two ports '{token.text}'", "Rename one")
        ports.append(token.text)
    if not 1 <= len(ports) <= MOST_PORTS:
        rule = f"the sub-circuit has {len(ports)} ports"
        raise FaultError(cursor.place, rule, f"Name 1 to {MOST_PORTS} ports behind its name")
    return tuple(ports)


def _check_parameters(found: Formulas) -> None:
    for name, (_, place) in found.items():
        if name in _OWN_NAMES:
            rule = f"'{name}' has a meaning of its own in expressions"
            raise FaultError(place, rule, "Choose another name")


def _with_first_names(arguments: Formulas, kind: str) -> Formulas:
    """Return a model's parameters under their first names; two of one parameter are a fault."""
    plain: Formulas = {}
    for name, (formula, place) in arguments.items():
        first = SAME.get(name, name) if SAME.get(name) in MODEL_PARAMETERS[kind] else name
        if first not in MODEL_PARAMETERS[kind]:
            rule = f"'{name}' is not allowed in a model of type {kind}"
            raise FaultError(place, rule, "Drop it")
        if first in plain:
            raise FaultError(place, f"'{name}' and another name give {first} twice", "Drop one")
        plain[first] = (formula, place)
    return plain
