"""An experiment made ready in a worker: how its rows get into ngspice, and what reads them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analog.circuits.record import Experiment
from analog.engine.alteration import Alterations, alterations
from analog.engine.build import Blanks, Deck, prepare
from analog.engine.outcome import Run
from analog.engine.protocol import Refusal
from analog.engine.reducers import Reducer, ReducerError, Shown, find_reducer, find_shown, same_run
from analog.engine.rules import row_problem
from analog.engine.session import NoDataError, Session, c_line
from analog.errors import EdgeproofError


@dataclass(slots=True)
class Ready:
    """An experiment's deck and its reducer.

    Either `alterations` set the values of a circuit that stays loaded, or the netlist is written
    anew for every row, its fixed lines already in C. `current` are the settings it stands at.
    """

    deck: Deck
    reducer: Reducer
    shown: Shown = same_run
    alterations: Alterations | None = None
    body: list[Any] = field(init=False)
    current: list[bytes] = field(default_factory=list)

    def __post_init__(self) -> None:
        lines = self.deck.with_blanks()
        self.body = [line if isinstance(line, Blanks) else c_line(line) for line in lines]

    def lines(self, row: Mapping[str, float]) -> list[Any]:
        """Return the netlist of a row as C strings; ValueError when it cannot be written."""
        head = [c_line(line) for line in self.deck.head(row, "edgeproof")]
        tail = [c_line(line) for line in self.deck.tail(row)]
        return [*head, *(_in_c(line, row) for line in self.body), *tail]


@dataclass(frozen=True, slots=True)
class Written:
    """A row written for ngspice: lines to load or settings to make, and the command that runs it.

    `problem` tells why it cannot be.
    """

    row: Mapping[str, float]
    parts: list[Any] = field(default_factory=list)
    command: str = "run"
    problem: str = ""


def make_ready(experiment: Experiment) -> Ready | Refusal:
    """Return an experiment made ready for its rows, or what is wrong with it."""
    try:
        deck = prepare(experiment)
        reducer, shown = find_reducer(experiment.reducer), find_shown(experiment.shown)
        return Ready(deck, reducer, shown, alterations(deck))
    except (ValueError, KeyError, TypeError, NameError, EdgeproofError) as problem:
        # PySpice's own complaints are NameErrors.
        return Refusal("bad circuit", str(problem))
    except ReducerError as problem:
        return Refusal("measuring code failed", str(problem))


def write(ready: Ready, row: Mapping[str, float]) -> Written:
    """Write a row for ngspice."""
    if problem := row_problem(ready.deck.rules, row):
        return Written(row, problem=problem)
    try:
        if ready.alterations is None:
            return Written(row, ready.lines(row))
        settings = [text.encode("ascii") for text in ready.alterations.settings(row)]
        return Written(row, settings, ready.alterations.analysis(row))
    except ValueError as error:
        return Written(row, problem=str(error))


def simulate(session: Session, ready: Ready, written: Written) -> Run:
    """Run a row; the run's arrays hold until the session discards its data.

    Raises NoDataError, or DeadSessionError when ngspice must not be called any more.
    """
    if written.problem:
        raise NoDataError("bad circuit", written.problem)
    if ready.alterations is None:
        session.load(written.parts)
    else:
        _alter(session, ready, ready.alterations, written)
    experiment = ready.deck.experiment
    return session.simulate(experiment.analysis, experiment.saves, written.row, written.command)


def own(run: Run) -> Run:
    """Return the run with arrays of its own, to outlive the session's data."""
    traces = {name: np.array(trace) for name, trace in run.traces.items()}
    sweep = None if run.sweep is None else np.array(run.sweep)
    return Run(np.array(run.time), traces, sweep, run.values)


def _alter(session: Session, ready: Ready, altered: Alterations, written: Written) -> None:
    if session.loaded is not ready:
        session.load([c_line(line) for line in altered.base(written.row)], ready)
        ready.current = []
    # Most rows share some values; the commands stand in the same order in every row.
    known, ready.current = ready.current or [b""] * len(written.parts), written.parts
    session.alter([new for new, old in zip(written.parts, known, strict=True) if new != old])


def _in_c(line: Any, row: Mapping[str, float]) -> Any:
    return c_line(line.filled(row)) if isinstance(line, Blanks) else line
