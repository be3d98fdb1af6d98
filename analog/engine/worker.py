"""The worker process: holds one libngspice, takes rows of parameters, answers with values.

Started as a fresh interpreter, never by fork. It sits in a temporary folder of its own with an
empty ``.spiceinit``, because ngspice executes the one it finds in the current folder when it is
loaded. A limit on its processor time per sample is set with a timer whose default action ends
the process: the engine cannot be interrupted in any other way while it computes.
"""

from __future__ import annotations

import gc
import math
import os
import resource
import shutil
import signal
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from analog.engine.known_circuit import KNOWN_CIRCUIT, KNOWN_ROW, charging
from analog.engine.outcome import Failure, Floats, Run
from analog.engine.protocol import Answer, Hello, Refusal, Setup, Task
from analog.engine.ready import Ready, Written, make_ready, own, simulate, write
from analog.engine.reducers import ReducerError, reduce_run
from analog.engine.session import DeadSessionError, NoDataError, Session

# Rows that are written, run and measured together: each of these runs faster when repeated.
_BLOCK = 32


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
    # Rows leave no cycles behind: what is there now need not be looked through again and again.
    gc.collect()
    gc.freeze()
    gc.disable()
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
        gc.collect(0)
        if session.dead:
            return


def _known_answer(session: Session) -> float:
    """Return the known circuit's largest error as a share of its level, NaN when it did not run."""
    ready = make_ready(KNOWN_CIRCUIT)
    if isinstance(ready, Refusal):
        return math.nan
    run = _run(session, ready, write(ready, KNOWN_ROW))
    return math.nan if isinstance(run, Failure) else charging(run, KNOWN_ROW)["error_share"]


def _logger(path: Path | None) -> Callable[[str], None]:
    """Return a function appending one line to the log, or doing nothing without one."""
    if path is None:
        return lambda _line: None
    # Line by line in append mode, so that several workers can share the file.
    stream = path.open("a", encoding="utf-8", errors="replace", buffering=1)
    return lambda line: print(line, file=stream)


def _answer(session: Session, ready: Ready, task: Task, setup: Setup) -> Answer | Refusal:
    counted = _Counted(np.full((len(task.rows), len(ready.deck.experiment.outputs)), np.nan))
    started, engine_s = time.process_time(), session.run_s
    for start in range(0, len(task.rows), _BLOCK):
        block = task.rows[start : start + _BLOCK].tolist()
        try:
            _run_block(session, ready, task, block, setup.limit_s, counted)
        except ReducerError as problem:
            return Refusal("measuring code failed", str(problem))
        if session.dead:
            break
    busy_s = time.process_time() - started
    return Answer(
        counted.values[: counted.done],
        counted.failures,
        session.run_s - engine_s,
        busy_s,
        counted.kept,
        ended=session.dead,
    )


@dataclass(slots=True)
class _Counted:
    """What a task has come to so far."""

    values: Floats
    failures: dict[int, Failure] = field(default_factory=dict)
    kept: Run | None = None
    done: int = 0


def _run_block(
    session: Session,
    ready: Ready,
    task: Task,
    block: list[list[float]],
    limit_s: float,
    counted: _Counted,
) -> None:
    """Write, run and measure the next rows of a task; stops behind one that ended the session."""
    rows = [write(ready, dict(zip(task.names, numbers, strict=True))) for numbers in block]
    runs: list[tuple[int, Run]] = []
    start = counted.done
    for index, written in enumerate(rows):
        with _Limited(limit_s):
            found = _run(session, ready, written)
        counted.done = start + index + 1
        if isinstance(found, Failure):
            counted.failures[start + index] = found
        else:
            runs.append((index, found))
        if session.dead:
            break
    outputs = ready.deck.experiment.outputs
    for index, run in runs:
        row = rows[index].row
        with _Limited(limit_s):
            counted.values[start + index] = reduce_run(ready.reducer, run, row, outputs)
            counted.kept = ready.shown(run, row) if task.traces else None


def _run(session: Session, ready: Ready, written: Written) -> Run | Failure:
    """Run one row and return its traces, ngspice holding no data any more."""
    try:
        run = own(simulate(session, ready, written))
        session.discard()
    except NoDataError as problem:
        # Nothing of a failed run may stay: neither data nor the circuit in whatever state.
        session.discard()
        session.remove_circuit()
        return problem.failure()
    except DeadSessionError as problem:
        return Failure("bad circuit", str(problem), "")
    return run


class _Limited:
    """Limits the processor time of a block of code by a timer that ends the process."""

    def __init__(self, limit_s: float) -> None:
        self._limit_s = limit_s

    def __enter__(self) -> None:
        signal.setitimer(signal.ITIMER_PROF, self._limit_s)

    def __exit__(self, *_: object) -> None:
        signal.setitimer(signal.ITIMER_PROF, 0)
