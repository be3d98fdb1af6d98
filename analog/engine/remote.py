"""The same work through dask.distributed, on machines that have Edgeproof and ngspice.

What runs on the other side is the local pool with one worker process, so that crashes, endless
runs and time limits are met there as they are here. Stores stay with the caller. The connection
is as safe as the network: dask's plain TCP is unauthenticated and executes what it is sent.
"""

from __future__ import annotations

import atexit
import threading
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray

from analog.engine.identity import code_identity
from analog.engine.library import used_library
from analog.engine.outcome import Failure
from analog.engine.pool import Batch, Event, Pool
from analog.errors import EdgeproofError, MachineError

Indices = NDArray[np.int64]

# Rows of a task: large enough to hide the network, small enough to lose little with a machine.
_TASK_ROWS = 32
_CONNECT_S = 10.0
_LIVES = 3


class RemotePool:
    """Workers behind a dask scheduler; takes the place of a local `Pool`."""

    def __init__(self, address: str, limit_s: float) -> None:
        self._address = address
        self._limit_s = limit_s
        self._client: Any = None
        self.version = ""

    def ready(self, wanted: int = 1) -> None:
        """Connect and learn the engine's version; MachineError when that cannot be.

        `wanted` is of no interest: how many workers there are is the scheduler's business.
        """
        if self._client is not None or not wanted:
            return
        self._client = _connect(self._address)
        hello = self._client.submit(greet, self._limit_s, pure=False)
        try:
            code, self.version = hello.result(timeout=60)
        except (TimeoutError, OSError) as problem:
            raise MachineError(
                f"No worker of the scheduler {self._address} answers",
                "Start one with: dask worker ADDRESS",
            ) from problem
        _require_same(code)

    def process(self, batch: Batch) -> Iterator[Event]:
        """Yield what `Pool.process` yields; RunError when the experiment itself is at fault."""
        if not len(batch.rows):
            return
        self.ready()
        from distributed import as_completed

        pending = as_completed(loop=self._client.loop)
        open_tasks: dict[Any, Indices] = {}

        def send(parts: Iterable[Indices]) -> None:
            for part in parts:
                future = self._submit(batch, part)
                open_tasks[future] = part
                pending.add(future)

        try:
            send(_parts(len(batch.rows)))
            for future in pending:
                part = open_tasks.pop(future)
                if _lost(future) and part.size > 1:
                    # One of its rows may be at fault: each is sent alone.
                    send(part[k : k + 1] for k in range(part.size))
                else:
                    yield from self._events(future, part)
        finally:
            self._client.cancel(list(open_tasks), force=True)

    def close(self) -> None:
        """Leave the scheduler; its workers stay."""
        if self._client is not None:
            self._client.close()
            self._client = None

    def _submit(self, batch: Batch, part: Indices) -> Any:
        rows = Batch(batch.experiment, batch.names, batch.rows[part], batch.traces)
        return self._client.submit(
            work, rows, code_identity(), self.version, self._limit_s, key=f"edgeproof-{uuid4().hex}"
        )

    def _events(self, future: Any, part: Indices) -> Iterator[Event]:
        if _lost(future):
            reason = f"{_LIVES} machines or more were lost over it"
            yield part, Failure("engine died", reason, "", killed=True)
            return
        for local, answer in future.result():
            yield part[local], answer


def greet(limit_s: float) -> tuple[str, str]:
    """Return code identity and ngspice version of the machine this runs on."""
    pool = _pool_here(threading.get_ident(), limit_s)
    pool.ready()
    return code_identity(), pool.version


def work(batch: Batch, code: str, version: str, limit_s: float) -> list[Event]:
    """Run a batch on the machine this runs on; MachineError unless it is made like the caller's."""
    pool = _pool_here(threading.get_ident(), limit_s)
    pool.ready()
    _require_same(code)
    if pool.version != version:
        raise MachineError(
            f"A worker has ngspice {pool.version}, another {version}",
            "Give all workers the same version, or results would depend on who computes them",
        )
    return list(pool.process(batch))


@lru_cache(maxsize=64)
def _pool_here(_thread: int, limit_s: float) -> Pool:
    """Return this thread's own pool of one worker process, ended with this process."""
    pool = Pool(used_library(), 1, None, limit_s)
    atexit.register(pool.close)
    return pool


def _require_same(code: str) -> None:
    if code != code_identity():
        raise MachineError(
            "A worker has another version of Edgeproof",
            "Install the same version on every machine",
        )


def _parts(count: int) -> list[Indices]:
    rows = np.arange(count, dtype=np.int64)
    return [rows[start : start + _TASK_ROWS] for start in range(0, count, _TASK_ROWS)]


def _lost(future: Any) -> bool:
    """Tell whether the scheduler gave a task up after its workers died, again and again."""
    from distributed.scheduler import KilledWorker

    if future.status in ("cancelled", "lost"):
        raise MachineError(
            "The scheduler has gone away or dropped the work",
            "What was done is in the store; start the scheduler and run the same command again",
        )
    if future.status != "error":
        return False
    problem = future.exception()
    if isinstance(problem, KilledWorker):
        return True
    if isinstance(problem, EdgeproofError):
        raise problem
    raise MachineError(
        f"A worker could not do its task ({type(problem).__name__})",
        "See the worker's own messages; all machines need the same Python packages",
    ) from problem


def _connect(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as problem:
        raise MachineError(
            "dask.distributed is not installed", "Install the extra: pip install 'edgeproof[dask]'"
        ) from problem
    try:
        return Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as problem:
        raise MachineError(
            f"No scheduler answers at {address}",
            "Start one with: dask scheduler --host 127.0.0.1, and name the address it prints",
        ) from problem
