"""From the neutral circuit record to netlist text, by way of PySpice's Circuit.

The body of the text (sub-circuits, elements, models) is built once per experiment, with the
names of parameters in braces; a row of parameters writes the analysis behind it. A text for the
reader defines the names in ``.param`` lines; the engine, which takes longer over those than over
any others, gets the numbers written where they are used. Only finite numbers and names that were
checked reach the text: no text of a design file ever does.
"""

from __future__ import annotations

import logging
import math
import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from analog.circuits.record import (
    Analysis,
    Circuit,
    Dc,
    DcSweep,
    Experiment,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Sine,
    Stimulus,
    Transient,
)
from analog.circuits.record import Element as Part
from analog.engine.expressions import RESERVED, bracketed
from analog.engine.rules import RowRule, check_circuit, row_rules
from analog.engine.sources import (
    differs_by_row,
    number,
    resolve,
    row_text,
    stimulus_text,
    value_text,
)

AMBIENT = "ambient_c"
AMBIENT_DEFAULT_C = 25.0

# Device parameters are those of data sheets, given at 25 °C (ngspice's own reference is 27 °C).
_REFERENCE_C = 25.0

_BLANK = re.compile(r"\{([a-z][a-z0-9_]*)\}")
_SAVE = re.compile(r"([vi])\(([a-z][a-z0-9_.]*)\)")
_READING = re.compile(r"[A-Za-z0-9_ .,+\-()=]+")
_FILLED = re.compile(r"\{(?:(\d+\.?\d*(?:e[+-]?\d+)?)\*)?([a-z][a-z0-9_]*)\}")
_OUTPUT = re.compile(r"[a-z][a-z0-9_]{0,63}")


@dataclass(frozen=True, slots=True)
class Blanks:
    """A line with blanks: `pieces` of fixed text, and between them the parameters `names`."""

    pieces: tuple[str, ...]
    names: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> Blanks:
        """Return a text with its parameters in braces as one with blanks."""
        pieces = _BLANK.split(text)
        return cls(tuple(pieces[::2]), tuple(pieces[1::2]))

    def filled(self, row: Mapping[str, float]) -> str:
        """Return the line for a row; ValueError for a number that is none."""
        if len(self.names) == 1:
            return self.pieces[0] + number(row[self.names[0]]) + self.pieces[1]
        parts = [self.pieces[0]]
        for name, piece in zip(self.names, self.pieces[1:], strict=True):
            parts += (number(row[name]), piece)
        return "".join(parts)


@dataclass(frozen=True, slots=True)
class Deck:
    """An experiment made ready: the lines of its netlist and what a row must supply."""

    experiment: Experiment
    body: tuple[str, ...]
    sources: tuple[Part, ...]
    parameters: tuple[str, ...]
    rules: tuple[RowRule, ...]

    def head(self, row: Mapping[str, float], title: str) -> list[str]:
        """Return the title and the sources that are written anew for every row."""
        return [f"* {title}", *(self._source(part, row) for part in self.sources)]

    def tail(self, row: Mapping[str, float]) -> list[str]:
        """Return temperature, initial conditions and analysis of a row."""
        return [
            f".temp {number(ambient_c(row))}",
            *_analysis_lines(self.experiment.analysis, row),
            ".end",
        ]

    def _source(self, part: Part, row: Mapping[str, float]) -> str:
        text = row_text(part.value, row, self.experiment.analysis)
        return f"{part.reference} {' '.join(part.nodes)} {text}"

    def lines(self, row: Mapping[str, float], title: str) -> list[str]:
        """Return the whole netlist of a row, its parameters defined by ``.param`` lines."""
        first, *sources = self.head(row, title)
        values = [f".param {name}={number(row[name])}" for name in self.parameters]
        return [first, *values, *sources, *self.body, *self.tail(row)]

    def with_blanks(self) -> Iterator[str | Blanks]:
        """Yield the lines of the body, those that name parameters with blanks."""
        inside = False
        for line in self.body:
            # A sub-circuit's braces hold its own parameters, which ngspice works out.
            inside = line.lower().startswith(".subckt") or (inside and not _ends(line))
            blanks = Blanks((line,), ()) if inside else Blanks.of(line)
            yield blanks if blanks.names else line


def ambient_c(row: Mapping[str, float]) -> float:
    """Return the simulation temperature of a row."""
    return row.get(AMBIENT, AMBIENT_DEFAULT_C)


def prepare(experiment: Experiment) -> Deck:
    """Check an experiment and build the fixed part of its netlist.

    Raises ValueError for a circuit that cannot be meant (unknown model, node or parameter name).
    """
    libraries = library_texts(experiment.circuit)
    check_circuit(experiment.circuit, libraries)
    _check_names(experiment)
    names = sorted(experiment.circuit.parameters())
    for name in names:
        if name in RESERVED or name == AMBIENT:
            raise ValueError(f"parameter name {name!r} belongs to ngspice")
    sources = tuple(
        part
        for part in experiment.circuit.elements
        if differs_by_row(part.value, experiment.analysis)
    )
    return Deck(
        experiment=experiment,
        body=(
            *_body(experiment.circuit, libraries, sources),
            f".options {_options(experiment.analysis)}",
            f".save {' '.join(experiment.saves)}",
        ),
        sources=sources,
        parameters=tuple(names),
        rules=row_rules(experiment),
    )


def netlist(experiment: Experiment, row: Mapping[str, float], title: str) -> str:
    """Return the circuit as it is simulated, with ``.meas`` lines for the readings.

    Runs as it is under ``ngspice -b`` and prints the readings; an experiment without any gets the
    largest and smallest level of each trace, since ngspice simulates nothing in batch mode
    unless something is asked for. No library is needed to make it. Raises ValueError as `prepare`
    does, and KeyError when `row` lacks a parameter.
    """
    return deck_text(prepare(experiment), row, title)


def deck_text(deck: Deck, row: Mapping[str, float], title: str) -> str:
    """Return the same for an experiment already prepared."""
    *lines, end = deck.lines(row, printable(title))
    return "\n".join([*lines, *_readings(deck.experiment, row), end]) + "\n"


def refined(experiment: Experiment, divisor: float = 10.0) -> Experiment:
    """Return the experiment with steps smaller by `divisor` and reltol 1e-6.

    For showing that a result does not hang on the numerical settings.
    """
    analysis = experiment.analysis
    if isinstance(analysis, Transient):
        return replace(
            experiment,
            analysis=replace(
                analysis,
                step_divisor=analysis.step_divisor * divisor,
                reltol=min(analysis.reltol, 1e-6),
            ),
        )
    if isinstance(analysis, DcSweep):
        finer = replace(analysis, step_divisor=analysis.step_divisor * divisor)
        return replace(experiment, analysis=finer)
    return replace(experiment, analysis=replace(analysis, reltol=min(analysis.reltol, 1e-8)))


def printable(title: str) -> str:
    """Return a title fit for a comment line: printable ASCII on one line, at most 200 long."""
    kept = (character if " " <= character <= "~" else " " for character in title)
    return " ".join("".join(kept).split())[:200]


def saved_vector(name: str) -> str:
    """Return ngspice's vector name for a save: ``v(pin)`` is pin, ``i(vin)`` is vin#branch."""
    match = _SAVE.fullmatch(name)
    if match is None:
        raise ValueError(f"save {name!r} is neither v(node) nor i(vsource)")
    kind, target = match.groups()
    return target if kind == "v" else f"{target}#branch"


def library_texts(circuit: Circuit) -> dict[str, str]:
    """Return {library name: text} of the libraries a circuit uses; MachineError when one lacks."""
    if not circuit.libraries:
        return {}
    from analog.cards import model_text

    return {name: model_text(name) for name in circuit.libraries}


def _check_names(experiment: Experiment) -> None:
    if not experiment.saves:
        raise ValueError("an experiment must save at least one trace")
    nodes = {node for part in experiment.circuit.elements for node in part.nodes}
    references = {part.reference.lower() for part in experiment.circuit.elements}
    for save in experiment.saves:
        vector = saved_vector(save)
        target = vector.removesuffix("#branch")
        # A dot means a node or source inside a sub-circuit, which only the engine can know.
        if "." not in target and target not in (references if save[0] == "i" else nodes):
            raise ValueError(f"{save} is saved, but the circuit has no {target}")
    analysis = experiment.analysis
    if isinstance(analysis, Transient):
        for node, _ in analysis.initial:
            if node not in nodes:
                raise ValueError(f"an initial level is given for {node!r}, which is no node")
    elif isinstance(analysis, DcSweep) and analysis.source.lower() not in references:
        raise ValueError(f"{analysis.source!r} is swept, but the circuit has no such source")


def _body(
    circuit: Circuit, libraries: Mapping[str, str], sources: tuple[Part, ...]
) -> tuple[str, ...]:
    """Build PySpice's Circuit, without `sources`, and return its lines without the title."""
    netlist_class = _pyspice_circuit()
    spice = netlist_class("edgeproof")
    spice.raw_spice = "\n".join(text.strip("\n") for text in libraries.values())
    for part in circuit.elements:
        if part not in sources:
            _add(spice, part)
    for model in circuit.models:
        spice.model(model.name, model.type, **{k: value_text(v) for k, v in model.arguments})
    title, *lines = str(spice).splitlines()
    if not title.startswith(".title"):
        raise ValueError("PySpice's netlist does not start with its title")
    # Comments would be read again with every row.
    return tuple(line for line in lines if line.strip() and not line.lstrip().startswith("*"))


def _ends(line: str) -> bool:
    return line.lower().startswith(".ends")


def _pyspice_circuit() -> Any:
    # Some of its docstrings hold invalid escapes, which newer Pythons warn about at compilation.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from PySpice.Spice.Netlist import Circuit as SpiceCircuit
    # It complains about nodes named like Python words ("in"), which do no harm here.
    logger = logging.getLogger("PySpice")
    if not logger.handlers:
        logger.addHandler(logging.NullHandler())
    return SpiceCircuit


def _add(spice: Any, part: Part) -> None:
    name, nodes = part.reference[1:], part.nodes
    extra = " ".join(f"{key}={value_text(value)}" for key, value in part.arguments)
    if part.kind in "RCL":
        start = {} if part.initial is None else {"initial_condition": value_text(part.initial)}
        getattr(spice, part.kind)(name, *nodes, _plain(part), raw_spice=extra, **start)
    elif part.kind in "VI":
        getattr(spice, part.kind)(name, *nodes, stimulus_text(_wave(part)))
    elif part.kind == "B":
        head, _, body = str(part.value).lower().partition("=")
        form = "voltage_expression" if head.strip() == "v" else "current_expression"
        spice.B(name, *nodes, **{form: bracketed(body.strip())})
    elif part.kind in "EG":
        add = spice.VCVS if part.kind == "E" else spice.VCCS
        add(name, *nodes, *part.control, _plain(part))
    elif part.kind in "FH":
        getattr(spice, part.kind)(name, *nodes, part.control[0], _plain(part))
    elif part.kind == "K":
        spice.K(name, *part.control, _plain(part))
    elif part.kind == "X":
        spice.X(
            name, part.model, *nodes, **{key: value_text(value) for key, value in part.arguments}
        )
    elif part.kind == "S":
        spice.S(name, *nodes, *part.control, model=part.model)
    else:
        getattr(spice, part.kind)(name, *nodes, model=part.model, raw_spice=extra)


def _plain(part: Part) -> str:
    if not isinstance(part.value, Param | float | int):
        raise ValueError(f"{part.reference} needs a number, not {part.value!r}")
    return value_text(part.value)


def _wave(part: Part) -> Stimulus:
    if not isinstance(part.value, Dc | Sine | Pulse | Pwl):
        raise ValueError(f"{part.reference} needs a stimulus, not {part.value!r}")
    return part.value


def _options(analysis: Analysis) -> str:
    common = (
        f"noacct noinit tnom={number(_REFERENCE_C)} reltol={number(analysis.reltol)} "
        f"abstol={number(analysis.abstol)} vntol={number(analysis.vntol)}"
    )
    if not isinstance(analysis, Transient):
        return common
    return f"{common} method={analysis.method} trtol={number(analysis.trtol)}"


def _analysis_lines(analysis: Analysis, row: Mapping[str, float]) -> list[str]:
    if isinstance(analysis, OperatingPoint):
        return [".op"]
    if isinstance(analysis, DcSweep):
        start, stop, step = sweep_range(analysis, row)
        return [f".dc {analysis.source} {number(start)} {number(stop)} {number(step)}"]
    lines = [f".ic v({node})={number(resolve(value, row))}" for node, value in analysis.initial]
    return [*lines, f".tran {transient_numbers(analysis, row)}"]


def transient_numbers(analysis: Transient, row: Mapping[str, float]) -> str:
    """Return what stands behind ``.tran``: print step, stop, start of the record, largest step."""
    largest = number(resolve(analysis.step_s, row) / analysis.step_divisor)
    end = number(resolve(analysis.stop_s, row))
    begin = number(resolve(analysis.record_from_s, row))
    # The fourth number is the largest step; left out, ngspice would take a fiftieth of the span.
    return f"{largest} {end} {begin} {largest}" + (" uic" if analysis.use_initial else "")


def sweep_range(analysis: DcSweep, row: Mapping[str, float]) -> tuple[float, float, float]:
    """Return start, stop and signed step of a DC sweep."""
    start, stop = resolve(analysis.start, row), resolve(analysis.stop, row)
    step = abs(resolve(analysis.step, row)) / analysis.step_divisor
    return start, stop, math.copysign(step, stop - start)


def _readings(experiment: Experiment, row: Mapping[str, float]) -> list[str]:
    """Return the ``.meas`` lines, or for an operating point, which has none, a ``.print``."""
    if isinstance(experiment.analysis, OperatingPoint):
        return [f".print op {' '.join(experiment.saves)}"]
    kind = "tran" if isinstance(experiment.analysis, Transient) else "dc"
    readings = experiment.readings or tuple(_default_readings(experiment.saves))
    return [_reading(kind, *reading, row) for reading in readings]


def _default_readings(saves: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for save in saves:
        plain = re.sub(r"[^a-z0-9]+", "_", save).strip("_")
        yield f"largest_{plain}", f"max {save}"
        yield f"smallest_{plain}", f"min {save}"


def _reading(kind: str, name: str, text: str, row: Mapping[str, float]) -> str:
    """Return one ``.meas`` line, ``{parameter}`` or ``{0.5*parameter}`` as the row's numbers.

    ngspice takes no arithmetic there: the measure would be left out with a mere remark.
    """
    body = text.strip().removeprefix(f"{kind} ")
    filled = _FILLED.sub(lambda m: number(float(m.group(1) or 1) * row[m.group(2)]), body)
    if not _OUTPUT.fullmatch(name) or not _READING.fullmatch(filled):
        raise ValueError(f"reading {name!r}: {text!r} is no plain measurement")
    return f".meas {kind} {name} {filled}"
