"""The engine as the rest of the program sees it: rows of parameters in, rows of values out."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analog.circuits.record import Experiment, Transient
from analog.engine.build import deck_text, netlist, prepare
from analog.engine.identity import experiment_identity
from analog.engine.ledger import Indices, Ledger
from analog.engine.library import Library, used_library
from analog.engine.outcome import Failure, FailureKind, Floats, Outcomes, Run
from analog.engine.pool import Batch, Pool
from analog.engine.store import Store, open_store, row_keys
from analog.errors import MachineError, RunError

if TYPE_CHECKING:
    from analog.engine.remote import RemotePool

Progress = Callable[[int, int], None]

# ngspice versions this project is tested with.
TESTED_VERSIONS = ("39", "44")

SECOND_WAY = "gear, a quarter of the step"

_DEFAULT_LIMIT_S = 60.0
_MENDABLE: tuple[FailureKind, ...] = ("did not converge", "timed out", "engine died", "truncated")


class Engine:
    """ngspice behind a pool of worker processes; made by `open_engine`, closed by it."""

    name = "ngspice"

    def __init__(
        self, pool: Pool | RemotePool, library: Library | None, store: Store | None = None
    ) -> None:
        self._pool = pool
        self._store = store
        self._runs = 0
        self._library = library

    @property
    def library(self) -> Library:
        """The library in use here; MachineError when the work is done on other machines."""
        if self._library is None:
            raise MachineError("ngspice runs on other machines", "Open the engine without dask")
        return self._library

    @property
    def version(self) -> str:
        """The version the library in use states, such as ``39``; starts a worker to ask it."""
        if not self._pool.version:
            self._pool.ready()
        return self._pool.version

    @property
    def note(self) -> str:
        """What to say about this version: empty for a tested one."""
        if self.version.split(".")[0].rstrip("+") in TESTED_VERSIONS:
            return ""
        return (
            f"ngspice {self.version} is not among the tested versions "
            f"({', '.join(TESTED_VERSIONS)}); a circuit of known answer came out right"
        )

    def run(
        self,
        experiment: Experiment,
        names: tuple[str, ...],
        rows: Floats,
        progress: Progress | None = None,
    ) -> Outcomes:
        """Simulate every row, shape (n, p) in the order of `names`, and return the values.

        `progress` is called with (rows done, rows in all). A row that fails is tried again: alone
        after a crash or timeout, then (for a transient) by the Gear method at a quarter of the
        step; `Outcomes.retried` tells which needed that. Raises RunError when the experiment or
        its measuring code is wrong, ValueError when `rows` does not suit `names`.
        """
        table = _table(experiment, names, rows)
        ledger = self._ledger(experiment, names, table)
        sendable = _finite_rows(table, names, ledger)
        missing = ledger.recall(sendable)
        report = _counter(progress, len(table), len(table) - missing.size)
        try:
            self._pass(Batch(experiment, names, table), missing, ledger, report=report)
            self._second_way(Batch(experiment, names, table), ledger)
            ledger.close()
        finally:
            self._runs += ledger.runs
        failures = _with_netlists(ledger.failures, Batch(experiment, names, table))
        return Outcomes(
            outputs=experiment.outputs,
            values=ledger.values,
            failures=failures,
            retried=ledger.retried,
            runs=ledger.runs,
            stored=ledger.stored,
            engine_s=ledger.engine_s,
            busy_s=ledger.busy_s,
        )

    def traces(self, experiment: Experiment, names: tuple[str, ...], row: Floats) -> Run:
        """Simulate one row and return its traces and values; RunError when there is no data."""
        table = _table(experiment, names, np.atleast_2d(row))
        if len(table) != 1:
            raise ValueError("traces are for one row")
        ledger = Ledger(np.full((1, len(experiment.outputs)), np.nan))
        sendable = _finite_rows(table, names, ledger)
        batch = Batch(experiment, names, table, traces=True)
        self._pass(batch, sendable, ledger)
        self._second_way(batch, ledger)
        if ledger.run is None or ledger.failures:
            failure = _with_netlists(ledger.failures, batch)[0]
            raise RunError(failure.kind, failure.reason, failure.netlist)
        values = dict(zip(experiment.outputs, ledger.values[0].tolist(), strict=True))
        return replace(ledger.run, values=values)

    def netlist(
        self, experiment: Experiment, names: tuple[str, ...], row: Floats, title: str
    ) -> str:
        """Return the netlist of one row as it is simulated; runs under ``ngspice -b``."""
        table = _table(experiment, names, np.atleast_2d(row))
        return netlist(experiment, dict(zip(names, table[0].tolist(), strict=True)), title)

    def what_is_done(self) -> str:
        """Return what an interruption leaves behind and how to go on."""
        done = f"{self._runs} simulations were done"
        if self._store is None:
            return f"{done} and are lost; with --store FILE the next run can be interrupted"
        return f"{done} and are kept; the same command goes on from there"

    def _ledger(self, experiment: Experiment, names: tuple[str, ...], table: Floats) -> Ledger:
        values = np.full((len(table), len(experiment.outputs)), np.nan)
        if self._store is None:
            return Ledger(values)
        context = experiment_identity(experiment, self.version)
        return Ledger(values, self._store, row_keys(context, names, table))

    def _second_way(self, batch: Batch, ledger: Ledger) -> None:
        first = {i: f for i, f in ledger.failures.items() if _mendable(f)}
        other = second_way(batch.experiment)
        if other is None or not first:
            return
        again = np.array(sorted(first), dtype=np.int64)
        self._pass(replace(batch, experiment=other), again, ledger, SECOND_WAY)
        ledger.settle(first)

    def _pass(
        self,
        batch: Batch,
        indices: Indices,
        ledger: Ledger,
        way: str = "",
        report: Callable[[int], None] | None = None,
    ) -> None:
        """Run the rows at `indices` once and enter what comes back into the ledger."""
        part = replace(batch, rows=batch.rows[indices])
        for local, answer in self._pool.process(part):
            own = indices[local]
            ledger.enter(own, answer, way)
            if report:
                report(own.size)


@contextmanager
def open_engine(
    jobs: int | None = None,
    store: Path | None = None,
    log: Path | None = None,
    limit_s: float = _DEFAULT_LIMIT_S,
    dask: str | None = None,
) -> Iterator[Engine]:
    """Open the engine with up to `jobs` workers (default: the cores this process may use).

    Workers start when first needed and are ended when the block is left, at once; an interruption
    by the user gets a note of what was done and how to go on. `log` names a
    file that takes ngspice's own messages; `limit_s` is the processor time a sample may take.
    `store` names the file of results already known (`default_store_path` is the usual one);
    without it nothing is remembered. Raises MachineError when the machine has no ngspice
    library or the store cannot be used. `dask` is the address of a dask scheduler whose workers
    then do the work, with the same results; `jobs` and `log` count for nothing there, and this
    machine itself needs no ngspice.
    """
    library, pool = _workers(jobs, log, limit_s) if dask is None else (None, _remote(dask, limit_s))
    try:
        with open_store(store) if store else nullcontext() as opened:
            engine = Engine(pool, library, opened)
            try:
                yield engine
            except KeyboardInterrupt as stop:
                stop.add_note(engine.what_is_done())
                raise
    finally:
        pool.close()


def _workers(jobs: int | None, log: Path | None, limit_s: float) -> tuple[Library, Pool]:
    library = used_library()
    workers = jobs if jobs is not None else usable_cores()
    if workers < 1:
        raise ValueError(f"jobs is {workers}; it must be at least 1")
    return library, Pool(library, workers, log.absolute() if log else None, limit_s)


def _remote(address: str, limit_s: float) -> RemotePool:
    from analog.engine.remote import RemotePool

    return RemotePool(address, limit_s)


def _mendable(failure: Failure) -> bool:
    """Tell whether another way of computing may help.

    Not after a kill from outside: the sample would get other digits for no reason of its own.
    """
    return failure.kind in _MENDABLE and not failure.stored and not failure.killed


def usable_cores() -> int:
    if hasattr(os, "sched_getaffinity"):  # Linux: what a container or taskset leaves us
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def second_way(experiment: Experiment) -> Experiment | None:
    """Return the experiment as it is tried when the first way gave no data; None without one."""
    analysis = experiment.analysis
    if not isinstance(analysis, Transient):
        return None
    finer = replace(analysis, method="gear", step_divisor=analysis.step_divisor * 4)
    return replace(experiment, analysis=finer)


def _table(experiment: Experiment, names: tuple[str, ...], rows: Floats) -> Floats:
    table = np.ascontiguousarray(rows, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != len(names):
        raise ValueError(f"rows of shape {table.shape} do not suit {len(names)} names")
    if len(set(names)) != len(names):
        raise ValueError(f"parameter names repeat: {names}")
    missing = experiment.circuit.parameters() - set(names)
    if missing:
        raise ValueError(f"rows lack the parameters {', '.join(sorted(missing))}")
    return table


def _finite_rows(table: Floats, names: tuple[str, ...], ledger: Ledger) -> Indices:
    """Return the indices of rows fit to send; the others become failures here and now."""
    finite = np.isfinite(table)
    for index in np.flatnonzero(~finite.all(axis=1)).tolist():
        name = names[int(np.argmin(finite[index]))]
        ledger.failures[index] = Failure("bad circuit", f"parameter {name} is not finite", "")
    return np.flatnonzero(finite.all(axis=1))


def _counter(progress: Progress | None, total: int, done: int) -> Callable[[int], None]:
    state = {"done": done}

    def report(more: int) -> None:
        state["done"] += more
        if progress is not None:
            progress(state["done"], total)

    return report


def _with_netlists(failures: Mapping[int, Failure], batch: Batch) -> dict[int, Failure]:
    """Add the netlist of each failed row, where the row can be written as one at all."""
    if not failures:
        return {}
    deck = prepare(batch.experiment)
    complete = {}
    for index, failure in sorted(failures.items()):
        row = dict(zip(batch.names, batch.rows[index].tolist(), strict=True))
        try:
            text = deck_text(deck, row, f"sample {index}")
        except ValueError:  # a number that is none, or pulses that do not fit
            text = ""
        complete[index] = replace(failure, netlist=text)
    return complete
