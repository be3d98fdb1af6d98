"""What a circuit and a row of parameters must satisfy before ngspice sees them.

Each rule stands for something ngspice accepts in silence and answers wrongly: a resistor of 0 Ω
becomes 1 mΩ, a pulse without rise time takes the print step, an unknown sub-circuit argument is
ignored, a model that does not exist is noticed only when it runs.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from analog.circuits.record import (
    GROUND,
    Circuit,
    DcSweep,
    Element,
    Experiment,
    Param,
    Pulse,
    Pwl,
    Transient,
    Value,
)
from analog.engine.expressions import check_expression, uses_time

_ARGUMENT = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,30}")
_LIBRARY_FORBIDDEN = re.compile(
    r"^\s*\.(control|endc|inc|include|lib|csparam|exec)\b|\bshell\b", re.IGNORECASE | re.MULTILINE
)
_PINS = {"R": 2, "C": 2, "L": 2, "K": 0, "D": 2, "Q": 3, "M": 4, "J": 3, "V": 2, "I": 2, "B": 2}
_PINS |= {"E": 2, "F": 2, "G": 2, "H": 2, "S": 2}
_MODEL_TYPES = {"D": ("D",), "Q": ("NPN", "PNP"), "M": ("NMOS", "PMOS")}
_MODEL_TYPES |= {"J": ("NJF", "PJF"), "S": ("SW",)}


@dataclass(frozen=True, slots=True)
class RowRule:
    """A parameter that must exceed 0 (`strict`) or not fall below it, and what it is for."""

    name: str
    strict: bool
    subject: str

    def broken_by(self, value: float) -> str:
        """Return what is wrong with `value`, empty when nothing is."""
        if value > 0 or (value == 0 and not self.strict):
            return ""
        bound = "above 0" if self.strict else "0 or more"
        return f"{self.subject} ({self.name}) is {value!r} and must be {bound}"


@dataclass(frozen=True, slots=True)
class Subcircuit:
    """The head of a library sub-circuit: pins in order and the arguments it takes."""

    name: str
    pins: tuple[str, ...]
    arguments: frozenset[str]


def row_rules(experiment: Experiment) -> tuple[RowRule, ...]:
    """Return the rules for parameters, after checking the constants; ValueError if one breaks."""
    rules: dict[RowRule, None] = {}
    for value, strict, subject in _bounded(experiment):
        if isinstance(value, Param):
            rules[RowRule(value.name, strict, subject)] = None
        elif problem := RowRule("constant", strict, subject).broken_by(float(value)):
            raise ValueError(problem)
    return tuple(rules)


def row_problem(rules: Iterable[RowRule], row: Mapping[str, float]) -> str:
    """Return what forbids simulating this row, empty when nothing does."""
    for name, value in row.items():
        if not math.isfinite(value):
            return f"parameter {name} is {value!r}"
    for rule in rules:
        if problem := rule.broken_by(row[rule.name]):
            return problem
    return ""


def check_circuit(circuit: Circuit, libraries: Mapping[str, str]) -> None:
    """Raise ValueError for a circuit ngspice would misread or refuse."""
    for name, text in libraries.items():
        if _LIBRARY_FORBIDDEN.search(text):
            raise ValueError(f"library {name} holds a command")
    subcircuits = {sub.name: sub for text in libraries.values() for sub in _subcircuits(text)}
    types = {model.name: model.type for model in circuit.models}
    for model in circuit.models:
        _check_names(model.name, (key for key, _ in model.arguments))
    nodes = {GROUND, *(node for part in circuit.elements for node in part.nodes)}
    sources = {part.reference.lower() for part in circuit.elements if part.kind in "VEHL"}
    breakpoints = any(isinstance(part.value, Pulse | Pwl) for part in circuit.elements)
    for part in circuit.elements:
        _check_names(part.reference, (key for key, _ in part.arguments))
        _check_pins(part, subcircuits)
        _check_model(part, types)
        _check_control(part, nodes, sources)
        if part.kind == "K":
            _check_coupling(part, circuit)
        if part.kind == "B":
            _check_behaviour(part, nodes, sources, breakpoints)


def _bounded(experiment: Experiment) -> Iterator[tuple[Value, bool, str]]:
    """Yield (value, must exceed 0, subject) for everything that has a lower end."""
    for part in experiment.circuit.elements:
        if part.kind in "RCL" and isinstance(part.value, Param | float | int):
            yield part.value, part.kind in "RL", f"{part.reference}'s value"
        elif isinstance(part.value, Pulse):
            yield part.value.delay_s, False, f"{part.reference}'s delay_s"
            for name in ("rise_s", "fall_s", "width_s", "period_s"):
                yield getattr(part.value, name), True, f"{part.reference}'s {name}"
        elif isinstance(part.value, Pwl):
            yield part.value.delay_s, False, f"{part.reference}'s delay_s"
            _check_rising(part.reference, part.value)
    analysis = experiment.analysis
    if isinstance(analysis, Transient):
        yield analysis.stop_s, True, "the stop time"
        yield analysis.step_s, True, "the largest step"
        yield analysis.record_from_s, False, "the start of recording"
    elif isinstance(analysis, DcSweep):
        yield analysis.step, True, "the sweep's step"


def _check_rising(reference: str, wave: Pwl) -> None:
    times = [time for time, _ in wave.points if not isinstance(time, Param)]
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise ValueError(f"{reference}'s points are not in rising order of time")


def _check_names(subject: str, names: Iterable[str]) -> None:
    for name in (subject, *names):
        if not _ARGUMENT.fullmatch(name):
            raise ValueError(f"{subject}: {name!r} is no name ngspice could be given")


def _check_pins(part: Element, subcircuits: Mapping[str, Subcircuit]) -> None:
    if part.kind == "X":
        sub = subcircuits.get(part.model.lower())
        if sub is None:
            raise ValueError(f"{part.reference}: no library has a sub-circuit {part.model!r}")
        expected = len(sub.pins)
        unknown = {key.lower() for key, _ in part.arguments} - sub.arguments
        if unknown:
            raise ValueError(
                f"{part.reference}: {part.model} takes no {', '.join(sorted(unknown))}"
            )
    else:
        # A bipolar transistor may have its substrate for a fourth.
        expected = 4 if part.kind == "Q" and len(part.nodes) == 4 else _PINS[part.kind]
    if len(part.nodes) != expected:
        raise ValueError(f"{part.reference} has {len(part.nodes)} nodes instead of {expected}")


def _check_model(part: Element, types: Mapping[str, str]) -> None:
    wanted = _MODEL_TYPES.get(part.kind)
    if wanted and types.get(part.model) not in wanted:
        raise ValueError(
            f"{part.reference}: the circuit has no {'/'.join(wanted)} model {part.model!r}"
        )


def _check_control(part: Element, nodes: set[str], sources: set[str]) -> None:
    if part.kind in "EGS" and not (len(part.control) == 2 and set(part.control) <= nodes):
        raise ValueError(f"{part.reference} must be controlled by two nodes of the circuit")
    if part.kind in "FH" and not (len(part.control) == 1 and part.control[0].lower() in sources):
        raise ValueError(f"{part.reference} must be controlled by a voltage source of the circuit")


def _check_coupling(part: Element, circuit: Circuit) -> None:
    inductors = {one.reference for one in circuit.elements if one.kind == "L"}
    pair = set(part.control)
    if len(part.control) != 2 or len(pair) != 2 or not pair <= inductors:
        raise ValueError(f"{part.reference} must couple two inductors of the circuit")
    if not isinstance(part.value, float | int) or not 0 < part.value <= 1:
        raise ValueError(f"{part.reference}'s coupling must lie above 0 and up to 1")


def _check_behaviour(part: Element, nodes: set[str], sources: set[str], breakpoints: bool) -> None:
    text = str(part.value).lower()
    try:
        check_expression(text, nodes, sources)
    except ValueError as problem:
        raise ValueError(f"{part.reference}: {problem}") from problem
    if uses_time(text) and not breakpoints:
        raise ValueError(
            f"{part.reference} depends on time, for which ngspice sets no breakpoints and may step "
            "over whole pulses: add an unconnected Pulse or Pwl source with the same timing"
        )


def _subcircuits(text: str) -> Iterator[Subcircuit]:
    joined = re.sub(r"\n\+", " ", text.lower())
    for match in re.finditer(r"^\s*\.subckt\s+(.+)$", joined, re.MULTILINE):
        head = re.sub(r"\s*=\s*", "=", match.group(1).partition(";")[0])
        words = head.replace("params:", " ").split()
        pins = tuple(word for word in words[1:] if "=" not in word)
        arguments = frozenset(word.partition("=")[0] for word in words if "=" in word)
        yield Subcircuit(words[0], pins, arguments)
