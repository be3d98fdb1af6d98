"""One worker as the main process sees it: starting it, its processor time, its end."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from analog.engine.outcome import Failure
from analog.engine.protocol import Hello, Setup

if TYPE_CHECKING:
    from analog.engine.pool import Job

# The interpreter starts isolated and takes over the import path before it imports anything of
# ours, so that the folder the user happens to be in cannot slip modules in.
_BOOT = (
    "import sys; from multiprocessing.connection import Connection as C; c = C(int(sys.argv[1])); "
    "sys.path[:] = c.recv(); from analog.engine.worker import main; main(c)"
)
_START_LIMIT_S = 60.0

# Signals that come from outside; a fault of its own shows as SIGSEGV, SIGABRT, SIGFPE, SIGBUS.
_KILLS = (-signal.SIGKILL, -signal.SIGTERM, -signal.SIGHUP, -signal.SIGINT)

# Variables that would change what ngspice reads or does.
_FOREIGN = ("SPICE_", "NGSPICE_")


@dataclass(slots=True, eq=False)
class Worker:
    """A running worker process, the job it is busy with and the runs it has done."""

    process: subprocess.Popen[bytes]
    connection: Connection
    known: set[int] = field(default_factory=set)
    job: Job | None = None
    runs: int = 0
    cpu_s: float = 0.0
    moved_at_s: float = 0.0

    def end(self) -> int:
        """Kill the process, wait for it and return its exit code (negative: the signal)."""
        if self.process.poll() is None:
            self.process.kill()
        self.connection.close()
        return self.process.wait()

    def reap(self) -> Failure:
        """Wait for a process that closed its pipe and say how it ended."""
        self.connection.close()
        try:
            code = self.process.wait(timeout=5)
        except subprocess.TimeoutExpired:
            code = self.end()
        if code == -signal.SIGPROF:
            return Failure("timed out", "the limit on processor time was reached", "")
        how = signal.Signals(-code).name if code < 0 else f"exit code {code}"
        reason = f"the worker process ended with {how}"
        return Failure("engine died", reason, "", killed=code in _KILLS)

    def stalled_s(self) -> float:
        """Return for how long the process has used no processor time.

        0 while it computes, and where the system does not tell.
        """
        now, used = time.monotonic(), _processor_time_s(self.process.pid)
        if used < 0 or used != self.cpu_s:
            self.cpu_s, self.moved_at_s = used, now
        return now - self.moved_at_s


def start_process(setup: Setup) -> Worker:
    """Start a worker; it answers with a `Hello` on its pipe.

    Raises OSError when the log cannot be written or no process can be started.
    """
    stream = setup.log.open("ab") if setup.log else subprocess.DEVNULL
    ours, theirs = socket.socketpair()
    try:
        process = subprocess.Popen(
            [sys.executable, "-I", "-W", "ignore", "-c", _BOOT, str(theirs.fileno())],
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            pass_fds=(theirs.fileno(),),
            env=_environment(setup.folder),
        )
    finally:
        theirs.close()
        if not isinstance(stream, int):
            stream.close()
    worker = Worker(process, Connection(ours.detach()))
    # A worker killed already is noticed when it is greeted.
    with suppress(BrokenPipeError, ConnectionResetError):
        worker.connection.send([path or str(Path.cwd()) for path in sys.path])
        worker.connection.send(setup)
    return worker


def greeting(worker: Worker) -> Hello | None:
    """Wait for a started worker's first word; None when it was killed from outside before."""
    try:
        if worker.connection.poll(_START_LIMIT_S):
            hello = worker.connection.recv()
            if isinstance(hello, Hello):
                return hello
        problem = "it did not answer in time"
    except (EOFError, ConnectionResetError):
        failure = worker.reap()
        if failure.killed:
            return None
        problem = failure.reason
    return Hello("", float("nan"), problem)


def end_all(workers: Sequence[Worker]) -> None:
    """Kill all at once, then wait: a long computation cannot delay the others' end."""
    for worker in workers:
        if worker.process.poll() is None:
            worker.process.kill()
    for worker in workers:
        worker.end()


def _environment(home: Path) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.upper().startswith(_FOREIGN)}
    # One thread each: the workers themselves share out the cores. And no start-up file of the
    # user's, which would make results depend on who runs them.
    return kept | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "HOME": str(home)}


def _processor_time_s(pid: int) -> float:
    """Return user and system time of a process; -1 where the system does not tell."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return -1.0
    fields = text.rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
