"""Setting a loaded circuit to a row of parameters, instead of loading it anew for every row.

Reading a netlist costs ngspice several times what commands for the values do. Circuits whose
parameters all have such a command are loaded once per worker; the others (sub-circuits and models
with parameters, start voltages of nodes) are loaded for every row. Which of both it is depends on
the experiment alone, and a run starts from nothing either way, so that no result depends on what
the worker ran before.

An expression's parameter becomes a node of its own that a hidden source holds at its value.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from analog.circuits.record import (
    Circuit,
    Dc,
    DcSweep,
    Element,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Sine,
    Transient,
    Value,
)
from analog.engine.build import Blanks, Deck, ambient_c, sweep_range, transient_numbers
from analog.engine.sources import number, row_text

_KNOB = "_knob_"

# ngspice leaves out, in silence, what stands beyond about 1 000 characters of a list of numbers;
# a number takes 25 at most.
_MOST_POINTS = 10


@dataclass(frozen=True, slots=True)
class Alterations:
    """How a loaded circuit takes on a row: commands with blanks, and sources written anew."""

    deck: Deck
    commands: tuple[Blanks, ...]

    def base(self, row: Mapping[str, float]) -> Iterator[str]:
        """Yield the lines to load once; the values of `row` only make it a valid circuit."""
        yield from self.deck.head(row, "edgeproof")
        expressions = {part.reference.lower() for part in _expressions(self.deck)}
        for line in self.deck.with_blanks():
            if isinstance(line, str):
                yield line
            elif line.pieces[0].partition(" ")[0].lower() in expressions:
                yield _with_nodes(line)
            else:
                yield line.filled(row)
        yield from (f"V{_knob(name)} {_knob(name)} 0 0" for name in _knobs(self.deck))
        yield ".end"

    def settings(self, row: Mapping[str, float]) -> list[str]:
        """Return the commands that set a row; ValueError when one cannot be written."""
        analysis = self.deck.experiment.analysis
        found = [command.filled(row) for command in self.commands]
        for part in self.deck.sources:
            text = row_text(part.value, row, analysis)
            levels = text.removeprefix("PWL(").removesuffix(")")
            found.append(f"alter @{part.reference.lower()}[pwl]=[ {levels} ]")
        found.append(f"option temp={number(ambient_c(row))}")
        return found

    def analysis(self, row: Mapping[str, float]) -> str:
        """Return the command that runs a row."""
        analysis = self.deck.experiment.analysis
        if isinstance(analysis, OperatingPoint):
            return "op"
        if isinstance(analysis, DcSweep):
            numbers = " ".join(map(number, sweep_range(analysis, row)))
            return f"dc {analysis.source.lower()} {numbers}"
        return f"tran {transient_numbers(analysis, row)}"


def alterations(deck: Deck) -> Alterations | None:
    """Return how to alter the deck's circuit; None when it must be loaded for every row."""
    experiment = deck.experiment
    analysis, circuit = experiment.analysis, experiment.circuit
    # A start voltage is read with the netlist only: the command that runs a row would lose it.
    if isinstance(analysis, Transient) and analysis.initial:
        return None
    if any(_has_parameters(values) for values in _fixed(circuit)):
        return None
    # Pulse trains are written out, as many points as the row needs.
    if any(not isinstance(part.value, Pwl) for part in deck.sources):
        return None
    # What an altered inductance does to a coupling is not documented.
    if any(part.kind == "K" for part in circuit.elements):
        return None
    if any(_points(part) > _MOST_POINTS for part in circuit.elements):
        return None
    commands = [Blanks.of(text) for text in _commands(deck)]
    return Alterations(deck, tuple(commands))


def _fixed(circuit: Circuit) -> Iterator[Iterable[tuple[str, Value]]]:
    """Yield the values no command can change once the circuit is loaded."""
    yield from (model.arguments for model in circuit.models)
    yield from (part.arguments for part in circuit.elements)


def _points(part: Element) -> int:
    """Return how many points a piecewise linear source may be given, its first level included."""
    return len(part.value.points) + 1 if isinstance(part.value, Pwl) else 0


def _has_parameters(values: Iterable[tuple[str, Value]]) -> bool:
    return any(isinstance(value, Param) for _, value in values)


def _commands(deck: Deck) -> Iterator[str]:
    anew = set(deck.sources)
    for part in deck.experiment.circuit.elements:
        if part not in anew and part.kind != "B":
            yield from _commands_for(part)
    yield from (f"alter v{_knob(name)}={{{name}}}" for name in _knobs(deck))


def _commands_for(part: Element) -> Iterator[str]:
    """Yield the commands for those values of an element that are parameters."""
    name, value = part.reference.lower(), part.value
    if isinstance(value, Param):
        target = f"@{name}[gain]" if part.kind in "EFGH" else name
        yield f"alter {target}={{{value.name}}}"
    elif isinstance(value, Dc) and isinstance(value.level, Param):
        yield f"alter {name}={{{value.level.name}}}"
    elif isinstance(value, Sine) and _moving(value):
        wave = (value.offset, value.amplitude, value.frequency_hz, 0.0, 0.0, value.phase_deg)
        yield f"alter @{name}[sin]=[ {_words(wave)} ]"
    elif isinstance(value, Pulse) and _moving(value):
        wave = tuple(getattr(value, field) for field in value.__slots__)
        yield f"alter @{name}[pulse]=[ {_words(wave)} ]"
    elif isinstance(value, Pwl) and any(
        isinstance(v, Param) for pair in value.points for v in pair
    ):
        yield f"alter @{name}[pwl]=[ {_words(v for pair in value.points for v in pair)} ]"
    if isinstance(part.initial, Param):
        yield f"alter @{name}[ic]={{{part.initial.name}}}"


def _moving(wave: Sine | Pulse) -> bool:
    return any(isinstance(getattr(wave, field), Param) for field in wave.__slots__)


def _words(values: Iterable[Value]) -> str:
    return " ".join(f"{{{v.name}}}" if isinstance(v, Param) else number(v) for v in values)


def _expressions(deck: Deck) -> list[Element]:
    return [part for part in deck.experiment.circuit.elements if part.kind == "B"]


def _knobs(deck: Deck) -> list[str]:
    names = {name for part in _expressions(deck) for name in Blanks.of(str(part.value)).names}
    return sorted(names)


def _knob(name: str) -> str:
    """Return the name of a parameter's source and node; no node of ours begins like that."""
    return _KNOB + name


def _with_nodes(line: Blanks) -> str:
    """Return an expression with the voltages of the parameters' nodes in its blanks."""
    parts = [line.pieces[0]]
    for name, piece in zip(line.names, line.pieces[1:], strict=True):
        parts += (f"v({_knob(name)})", piece)
    return "".join(parts)
