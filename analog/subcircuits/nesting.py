"""Which sub-circuits use which, how deeply, and how many elements that makes: before any of it
is spelled out, so that ten lines cannot become a million."""

from __future__ import annotations

from dataclasses import dataclass, field

from analog.subcircuits.definitions import File
from analog.subcircuits.limits import DEEPEST_NESTING, MOST_DEFINITIONS, MOST_PARTS
from analog.subcircuits.problems import FaultError, Faults, shown
from analog.subcircuits.statements import Definition, Statement


def check_nesting(file: File, faults: Faults) -> None:
    """Note unknown and recursive sub-circuits, and those that are too deep or too large."""
    if len(file.definitions) > MOST_DEFINITIONS:
        last = list(file.definitions.values())[MOST_DEFINITIONS]
        rule = f"the file has over {MOST_DEFINITIONS} sub-circuits"
        faults.add(last.place, rule, "Drop those that are not used")
        return
    known = len(faults.found)
    for definition in file.definitions.values():
        _check_names(definition, file, faults)
        _check_hidden(definition, file, faults)
    if len(faults.found) > known:
        return
    weights = _Weights(file)
    for definition in file.definitions.values():
        with faults.gathered():
            weights.weigh(definition, ())


@dataclass(slots=True)
class _Weights:
    file: File
    known: dict[str, tuple[int, int]] = field(default_factory=dict)
    """By name: elements, and levels of sub-circuits."""

    def weigh(self, definition: Definition, path: tuple[str, ...]) -> tuple[int, int]:
        """Return elements and levels of a definition used along `path`."""
        if definition.name in self.known:
            return self.known[definition.name]
        count, levels = 0, 1
        for statement in definition.statements.values():
            if statement.kind != "x":
                count += 1
                continue
            inner = self._inner(statement, (*path, definition.name))
            count, levels = count + inner[0], max(levels, 1 + inner[1])
            if levels > DEEPEST_NESTING:
                rule = f"sub-circuits are nested over {DEEPEST_NESTING} deep"
                raise FaultError(statement.place, rule, "Write some of them out")
        if count > MOST_PARTS:
            rule = f"'{definition.name}' comes to {count} elements, over {MOST_PARTS}"
            raise FaultError(definition.place, rule, "Simplify it")
        self.known[definition.name] = count, levels
        return count, levels

    def _inner(self, statement: Statement, path: tuple[str, ...]) -> tuple[int, int]:
        name = statement.model.text if statement.model is not None else ""
        if name in path:
            rule = f"the sub-circuit '{name}' holds itself"
            raise FaultError(statement.place, rule, "Break the circle")
        if len(path) > DEEPEST_NESTING:
            rule = f"sub-circuits are nested over {DEEPEST_NESTING} deep"
            raise FaultError(statement.place, rule, "Write some of them out")
        return self.weigh(self.file.definitions[name], path)


def _check_names(definition: Definition, file: File, faults: Faults) -> None:
    for statement in definition.statements.values():
        token = statement.model
        if statement.kind == "x" and token is not None and token.text not in file.definitions:
            rule = f"the file has no sub-circuit '{shown(token.text)}'"
            faults.add(token.place, rule, "Define it in the same file")


def _check_hidden(definition: Definition, file: File, faults: Faults) -> None:
    """Note parameters that hide one of the file: simulators differ in which of both counts."""
    for name, (_, place) in {**definition.arguments, **definition.parameters}.items():
        if name in file.outside.parameters:
            rule = f"the parameter '{name}' hides that of the file"
            faults.add(place, rule, "Rename one of them")
