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
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from analog.circuits.record import Experiment
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
class _Ready:
    """An experiment's deck with its fixed lines already in C, and its reducer."""

    deck: Deck
    reducer: Reducer
    shown: Shown = same_run
    body: list[Any] = field(init=False)

    def __post_init__(self) -> None:
        lines = self.deck.with_blanks()
        self.body = [line if isinstance(line, Blanks) else c_line(line) for line in lines]

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
    ready: dict[int, _Ready | Refusal] = {}
    while True:
        message = connection.recv()
        if isinstance(message, tuple):
            key, experiment = message
            ready[key] = _make_ready(experiment)
            continue
        known = ready[message.key]
        answer = known if isinstance(known, Refusal) else _answer(session, known, message, setup)
        connection.send(answer)
        if session.dead:
            return


def _known_answer(session: Session) -> float:
    """Return the known circuit's largest error as a share of its level, NaN when it did not run."""
    ready = _Ready(prepare(KNOWN_CIRCUIT), charging)
    try:
        run = _simulate(session, ready, KNOWN_ROW)
    except (NoDataError, DeadSessionError):
        return math.nan
    return charging(run, KNOWN_ROW)["error_share"]


def _logger(path: Path | None) -> Callable[[str], None]:
    """Return a function appending one line to the log, or doing nothing without one."""
    if path is None:
        return lambda _line: None
    # Line by line in append mode, so that several workers can share the file.
    stream = path.open("a", encoding="utf-8", errors="replace", buffering=1)
    return lambda line: print(line, file=stream)


def _make_ready(experiment: Experiment) -> _Ready | Refusal:
    try:
        return _Ready(
            prepare(experiment), find_reducer(experiment.reducer), find_shown(experiment.shown)
        )
    except (ValueError, KeyError, TypeError, NameError, EdgeproofError) as problem:
        # PySpice's own complaints are NameErrors.
        return Refusal("bad circuit", str(problem))
    except ReducerError as problem:
        return Refusal("measuring code failed", str(problem))


def _answer(session: Session, ready: _Ready, task: Task, setup: Setup) -> Answer | Refusal:
    experiment = ready.deck.experiment
    values = np.full((len(task.rows), len(experiment.outputs)), np.nan)
    failures: dict[int, Failure] = {}
    kept: Run | None = None
    started, engine_s, done = time.process_time(), session.run_s, 0
    for index, numbers in enumerate(task.rows.tolist()):
        row = dict(zip(task.names, numbers, strict=True))
        signal.setitimer(signal.ITIMER_PROF, setup.limit_s)
        try:
            run = _simulate(session, ready, row)
            values[index] = reduce_run(ready.reducer, run, row, experiment.outputs)
            kept = ready.shown(run, row) if task.traces else None
        except NoDataError as problem:
            failures[index] = problem.failure()
        except DeadSessionError as problem:
            failures[index] = Failure("bad circuit", str(problem), "")
        except ReducerError as problem:
            return Refusal("measuring code failed", str(problem))
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        done = index + 1
        if session.dead:
            break
    busy_s = time.process_time() - started
    engine_s = session.run_s - engine_s
    return Answer(values[:done], failures, engine_s, busy_s, kept, ended=session.dead)


def _simulate(session: Session, ready: _Ready, row: Mapping[str, float]) -> Run:
    """Load, run, read and unload one row."""
    if problem := row_problem(ready.deck.rules, row):
        raise NoDataError("bad circuit", problem)
    experiment = ready.deck.experiment
    try:
        lines = ready.lines(row)
    except ValueError as error:
        raise NoDataError("bad circuit", str(error)) from error
    try:
        session.load(lines)
        return session.simulate(experiment.analysis, experiment.saves, row)
    finally:
        if not session.dead:
            session.unload()
