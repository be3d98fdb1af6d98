"""The workers together: sharing out rows, watching, replacing those that died.

The main process only waits on pipes. A worker that crashes, or is ended by its own timer for
processor time, takes nothing with it: its rows go to a fresh worker one by one, so that the row
at fault is found, retried once alone, and the others get their data. How rows are shared out
never changes a value, since every row is loaded anew.
"""

from __future__ import annotations

import shutil
import tempfile
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from multiprocessing.connection import wait
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import Experiment
from analog.engine.known_circuit import TOLERANCE
from analog.engine.library import Library
from analog.engine.outcome import Failure, Floats
from analog.engine.process import Worker, end_all, greeting, start_process
from analog.engine.protocol import Answer, Refusal, Setup, Task
from analog.errors import MachineError, RunError

Indices = NDArray[np.int64]

# A busy worker whose processor time stands still this long is stuck in a wait, not in a sum.
_STALL_S = 30.0
_POLL_S = 1.0

# Kills from outside that a task is run again after; the next one counts as its own fault.
_STRIKES = 20

# Wall time a task should take: long enough to hide the pipe, short enough for even sharing.
_TASK_S = 0.2
_LARGEST_TASK = 256

# Runs after which a worker gives way to a fresh one: ngspice 44.2 keeps 63 B of every circuit it
# loads, so that no worker grows by more than 1 MB.
_MOST_RUNS = 15_000


@dataclass(slots=True)
class Job:
    """Indices of rows for one task.

    `alone` marks a row whose task has cost a worker already; `struck` counts the times a worker
    was killed over it from outside.
    """

    indices: Indices
    alone: bool = False
    struck: int = 0


@dataclass(frozen=True, slots=True)
class Batch:
    """One call's work: the experiment, the rows (n, p) and whether traces are wanted."""

    experiment: Experiment
    names: tuple[str, ...]
    rows: Floats
    traces: bool = False


Event = tuple[Indices, Answer | Failure]


class Pool:
    """Up to `jobs` workers, started when first needed; `limit_s` is processor time per sample."""

    def __init__(self, library: Library, jobs: int, log: Path | None, limit_s: float) -> None:
        self._library = library
        self._jobs = jobs
        self._log = log
        self._limit_s = limit_s
        self._workers: list[Worker] = []
        self._folder: Path | None = None
        self._numbers = count(1)
        self._keys: dict[Experiment, int] = {}
        self._row_s: dict[int, float] = {}
        self.version = ""

    def ready(self, wanted: int = 1) -> None:
        """Have `wanted` workers, no more than allowed; MachineError when there cannot be any."""
        for _ in range(_STRIKES):
            missing = min(wanted, self._jobs) - len(self._workers)
            if missing <= 0:
                return
            self._start(missing)
        if not self._workers and wanted:
            raise MachineError(
                "Every engine process is killed as soon as it starts",
                "Look for a lack of memory or a guard that kills processes, or use --jobs 1",
            )

    def process(self, batch: Batch) -> Iterator[Event]:
        """Yield (row indices, answer) or (row index, failure) until every row has had its turn.

        Raises RunError when the experiment or its measuring code is at fault.
        """
        queue: deque[Job] = deque()
        fresh = deque([np.arange(len(batch.rows), dtype=np.int64)])
        self.ready(len(batch.rows))
        try:
            while True:
                self._hand_out(batch, queue, fresh)
                if not any(worker.job for worker in self._workers):
                    return
                yield from self._collect(batch, queue)
        finally:
            # An interrupted batch leaves workers whose late answers would be taken for new ones.
            self._drop([worker for worker in self._workers if worker.job])

    def close(self) -> None:
        """End all workers at once and remove their folders."""
        self._drop(list(self._workers))
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None

    def _start(self, number: int) -> None:
        """Start workers side by side and take in those that can work."""
        started: list[Worker] = []
        try:
            for _ in range(number):
                started.append(start_process(self._setup()))
            for worker in started:
                self._welcome(worker)
        except OSError as problem:
            raise MachineError(
                f"An engine process cannot be started ({problem.strerror or problem})",
                "Free some space and memory, and see that TMPDIR and the log can be written",
            ) from problem
        finally:
            end_all([worker for worker in started if worker not in self._workers])

    def _setup(self) -> Setup:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="edgeproof-"))
        folder = self._folder / f"worker-{next(self._numbers)}"
        return Setup(self._library.path, folder, self._log, self._limit_s)

    def _welcome(self, worker: Worker) -> None:
        hello = greeting(worker)
        if hello is None:
            return
        if hello.problem:
            raise MachineError(
                f"The ngspice library {self._library.path.name} cannot be used: {hello.problem}",
                "Run `edgeproof doctor`, which tries every library it finds",
            )
        if not hello.error_share <= TOLERANCE:
            raise MachineError(
                f"ngspice {hello.version} gets a circuit of known answer wrong "
                f"(error {hello.error_share:.2g} of the level)",
                "Run `edgeproof doctor` and use another version of ngspice",
            )
        self.version = hello.version
        self._workers.append(worker)

    def _hand_out(self, batch: Batch, queue: deque[Job], fresh: deque[Indices]) -> None:
        """Give every idle worker a task, rows to be tried alone first."""
        busy = sum(1 for worker in self._workers if worker.job)
        self.ready(busy + len(queue) + sum(part.size for part in fresh))
        for worker in self._workers:
            if worker.job is None:
                job = queue.popleft() if queue else self._next_job(batch, fresh)
                if job is None:
                    return
                self._send(worker, batch, job)

    def _next_job(self, batch: Batch, fresh: deque[Indices]) -> Job | None:
        if not fresh:
            return None
        rows = fresh.popleft()
        fair = -(-rows.size // self._jobs)
        timely = int(_TASK_S / self._row_s.get(self._key(batch), _TASK_S))
        size = max(1, min(timely, _LARGEST_TASK, fair))
        if rows.size > size:
            fresh.appendleft(rows[size:])
        return Job(rows[:size])

    def _send(self, worker: Worker, batch: Batch, job: Job) -> None:
        worker.job = job
        worker.cpu_s = -2.0  # forces a fresh reading
        try:
            key = self._key(batch)
            if key not in worker.known:
                worker.connection.send((key, batch.experiment))
                worker.known.add(key)
            rows = batch.rows[job.indices]
            worker.connection.send(Task(key, batch.names, rows, batch.traces))
        except (BrokenPipeError, ConnectionResetError):
            pass  # it died while idle; its closed pipe is noticed when answers are collected

    def _collect(self, batch: Batch, queue: deque[Job]) -> Iterator[Event]:
        busy = {worker.connection: worker for worker in self._workers if worker.job}
        heard = wait(list(busy), timeout=_POLL_S)
        for connection in heard:
            worker = busy[connection]  # type: ignore[index]
            job, worker.job = worker.job, None
            if job is None:
                continue
            try:
                answer = worker.connection.recv()
            except (EOFError, ConnectionResetError):
                self._workers.remove(worker)
                yield from _after_death(worker.reap(), job, queue)
                continue
            yield self._accept(worker, batch, job, answer, queue)
        if not heard:
            yield from self._end_stalled(queue)

    def _accept(
        self, worker: Worker, batch: Batch, job: Job, answer: Answer | Refusal, queue: deque[Job]
    ) -> Event:
        if isinstance(answer, Refusal):
            raise RunError(answer.kind, answer.reason)
        done = len(answer.values)
        if done < job.indices.size:
            queue.append(Job(job.indices[done:], job.alone, job.struck))
        worker.runs += done
        if answer.ended or worker.runs >= _MOST_RUNS:
            self._drop([worker])
        self._row_s[self._key(batch)] = max(answer.busy_s / max(done, 1), 1e-6)
        return job.indices[:done], answer

    def _end_stalled(self, queue: deque[Job]) -> Iterator[Event]:
        for worker in [worker for worker in self._workers if worker.job]:
            if worker.stalled_s() > _STALL_S and worker.job is not None:
                job, worker.job = worker.job, None
                self._drop([worker])
                failure = Failure(
                    "timed out", "the engine waited for something that never came", ""
                )
                yield from _after_death(failure, job, queue)

    def _key(self, batch: Batch) -> int:
        """Return the number workers know the experiment by; equal experiments share one."""
        return self._keys.setdefault(batch.experiment, len(self._keys))

    def _drop(self, workers: list[Worker]) -> None:
        self._workers = [worker for worker in self._workers if worker not in workers]
        end_all(workers)


def _after_death(failure: Failure, job: Job, queue: deque[Job]) -> Iterator[Event]:
    """Queue the rows of a lost task one by one; a row that was alone already has failed.

    A kill from outside says nothing against the rows: they are run again as if it
    had not happened, unless it goes on happening, as when memory runs out.
    """
    if failure.killed and job.struck < _STRIKES:
        queue.append(Job(job.indices, job.alone, job.struck + 1))
    elif job.alone:
        yield job.indices, failure
    else:
        queue.extend(Job(job.indices[i : i + 1], alone=True) for i in range(job.indices.size))
