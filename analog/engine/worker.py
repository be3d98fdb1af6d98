"""The worker process: holds one libngspice, takes rows of parameters, answers with values.

Started as a fresh interpreter, never by fork. It sits in a temporary folder of its own with an
empty ``.spiceinit``, because ngspice executes the one it finds in the current folder when it is
loaded. A limit on its processor time per sample is set with a timer whose default action ends
the process: the engine cannot be interrupted in any other way while it computes.
"""

from __future__ import annotations

import math
import os
import resource
import shutil
import signal
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from analog.circuits.record import Experiment
from analog.engine.alteration import Alterations, alterations
from analog.engine.build import Blanks, Deck, prepare
from analog.engine.known_circuit import KNOWN_CIRCUIT, KNOWN_ROW, charging
from analog.engine.outcome import Failure, Run
from analog.engine.protocol import Answer, Hello, Refusal, Setup, Task
from analog.engine.reducers import (
    Reducer,
    ReducerError,
    Shown,
    find_reducer,
    find_shown,
    reduce_run,
    same_run,
)
from analog.engine.rules import row_problem
from analog.engine.session import DeadSessionError, NoDataError, Session, c_line
from analog.errors import EdgeproofError


@dataclass(slots=True)
class Ready:
    """An experiment's deck, how rows get into it, and its reducer.

    Either `alterations` set the values of a circuit that stays loaded, or the netlist is written
    anew for every row, its fixed lines already in C.
    """

    deck: Deck
    reducer: Reducer
    shown: Shown = same_run
    alterations: Alterations | None = None
    body: list[Any] = field(init=False)
    current: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        lines = self.deck.with_blanks()
        self.body = [line if isinstance(line, Blanks) else c_line(line) for line in lines]

    def enter(self, session: Session, row: Mapping[str, float]) -> str:
        """Have the row's circuit loaded and return the command that runs it.

        ValueError when the row cannot be written.
        """
        if self.alterations is None:
            session.load(self.lines(row))
            return "run"
        if session.loaded is not self:
            session.load([c_line(line) for line in self.alterations.base(row)], self)
            self.current = []
        settings = self.alterations.settings(row)
        # Most rows share some values; the commands stand in the same order in every row.
        known = self.current or [""] * len(settings)
        self.current = settings
        session.alter([new for new, old in zip(settings, known, strict=True) if new != old])
        return self.alterations.analysis(row)

    def lines(self, row: Mapping[str, float]) -> list[Any]:
        """Return the netlist of a row as C strings; ValueError when it cannot be written."""
        head = [c_line(line) for line in self.deck.head(row, "edgeproof")]
        tail = [c_line(line) for line in self.deck.tail(row)]
        return [*head, *(_in_c(line, row) for line in self.body), *tail]


def _in_c(line: Any, row: Mapping[str, float]) -> Any:
    return c_line(line.filled(row)) if isinstance(line, Blanks) else line


def main(connection: Connection) -> None:
    """Serve one connection until it closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    setup: Setup = connection.recv()
    _enter(setup.folder)
    try:
        _serve(connection, setup)
    except (EOFError, BrokenPipeError, ConnectionResetError):
        pass  # the main process is gone
    finally:
        os.chdir("/")
        shutil.rmtree(setup.folder, ignore_errors=True)
        # The main process, if killed, could not remove the folder around the workers' own.
        with suppress(OSError):
            setup.folder.parent.rmdir()


def _enter(folder: Path) -> None:
    """Change into the worker's own folder, with the empty start-up file in place."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    (folder / ".spiceinit").touch()
    os.chdir(folder)


def _serve(connection: Connection, setup: Setup) -> None:
    try:
        session = Session(setup.library, _logger(setup.log))
    except (OSError, NameError) as problem:  # PySpice reports a failed start as a NameError
        # Without the path: it may hold the user's name.
        told = str(problem).replace(str(setup.library), setup.library.name)
        connection.send(Hello("", math.nan, told))
        return
    connection.send(Hello(session.version, _known_answer(session)))
    ready: dict[int, Ready | Refusal] = {}
    while True:
        message = connection.recv()
        if isinstance(message, tuple):
            key, experiment = message
            ready[key] = make_ready(experiment)
            continue
        known = ready[message.key]
        answer = known if isinstance(known, Refusal) else _answer(session, known, message, setup)
        connection.send(answer)
        if session.dead:
            return


def _known_answer(session: Session) -> float:
    """Return the known circuit's largest error as a share of its level, NaN when it did not run."""
    ready = Ready(prepare(KNOWN_CIRCUIT), charging)
    try:
        error = charging(simulate(session, ready, KNOWN_ROW), KNOWN_ROW)["error_share"]
        session.discard()
    except (NoDataError, DeadSessionError):
        return math.nan
    return error


def _logger(path: Path | None) -> Callable[[str], None]:
    """Return a function appending one line to the log, or doing nothing without one."""
    if path is None:
        return lambda _line: None
    # Line by line in append mode, so that several workers can share the file.
    stream = path.open("a", encoding="utf-8", errors="replace", buffering=1)
    return lambda line: print(line, file=stream)


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


def _answer(session: Session, ready: Ready, task: Task, setup: Setup) -> Answer | Refusal:
    experiment = ready.deck.experiment
    values = np.full((len(task.rows), len(experiment.outputs)), np.nan)
    failures: dict[int, Failure] = {}
    kept: Run | None = None
    started, engine_s, done = time.process_time(), session.run_s, 0
    for index, numbers in enumerate(task.rows.tolist()):
        row = dict(zip(task.names, numbers, strict=True))
        signal.setitimer(signal.ITIMER_PROF, setup.limit_s)
        try:
            run = simulate(session, ready, row)
            values[index] = reduce_run(ready.reducer, run, row, experiment.outputs)
            kept = _own(ready.shown(run, row)) if task.traces else None
            session.discard()
        except NoDataError as problem:
            failures[index] = problem.failure()
            _clear(session)
        except DeadSessionError as problem:
            failures[index] = Failure("bad circuit", str(problem), "")
        except ReducerError as problem:
            _clear(session)
            return Refusal("measuring code failed", str(problem))
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        done = index + 1
        if session.dead:
            break
    busy_s = time.process_time() - started
    engine_s = session.run_s - engine_s
    return Answer(values[:done], failures, engine_s, busy_s, kept, ended=session.dead)


def simulate(session: Session, ready: Ready, row: Mapping[str, float]) -> Run:
    """Run one row; the run's arrays hold until the session discards its data."""
    if problem := row_problem(ready.deck.rules, row):
        raise NoDataError("bad circuit", problem)
    experiment = ready.deck.experiment
    try:
        command = ready.enter(session, row)
    except ValueError as error:
        raise NoDataError("bad circuit", str(error)) from error
    return session.simulate(experiment.analysis, experiment.saves, row, command)


def _own(run: Run) -> Run:
    """Return the run with arrays of its own, to outlive the session's data."""
    traces = {name: np.array(trace) for name, trace in run.traces.items()}
    sweep = None if run.sweep is None else np.array(run.sweep)
    return replace(run, time=np.array(run.time), traces=traces, sweep=sweep)


def _clear(session: Session) -> None:
    """Leave nothing of a failed run behind: neither data nor the circuit in whatever state."""
    if not session.dead:
        session.discard()
        session.remove_circuit()
