"""The messages between the main process and a worker. Plain records, no simulator needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analog.engine.outcome import Failure, Floats, Run


@dataclass(frozen=True, slots=True)
class Setup:
    """What a worker is told at its start; `limit_s` is processor time per sample."""

    library: Path
    folder: Path
    log: Path | None
    limit_s: float


@dataclass(frozen=True, slots=True)
class Hello:
    """A worker's answer to its set-up: the version it found and how the known circuit came out.

    `error_share` is NaN when the known circuit did not run; `problem` tells why there is no
    session at all.
    """

    version: str
    error_share: float
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """Rows to simulate, shape (k, p), of the experiment sent before under `key`."""

    key: int
    names: tuple[str, ...]
    rows: Floats
    traces: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """Values of the first rows of a task, shape (j, m); j < k when the session gave up.

    `failures` is by row within the task, without netlists. `engine_s` is the processor time
    spent inside ngspice's run command, `busy_s` all that was spent on the task. After an answer
    with `ended` the worker is gone.
    """

    values: Floats
    failures: Mapping[int, Failure]
    engine_s: float
    busy_s: float
    run: Run | None = None
    ended: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """The experiment or its measuring code is at fault, not a sample."""

    kind: str
    reason: str
