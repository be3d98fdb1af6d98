"""Keeping count of one call: values and failures as they come in, and what goes into the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analog.engine.outcome import Failure, FailureKind, Floats, Run
from analog.engine.protocol import Answer
from analog.engine.store import Sample, Store

Indices = NDArray[np.int64]

# Failures that come out the same anywhere; the others may be this machine's and are tried anew.
_LASTING: tuple[FailureKind, ...] = ("did not converge", "truncated")


@dataclass(slots=True)
class Ledger:
    """The state of one call, rows numbered as in the caller's array.

    `keys` are the rows' keys in `store`, empty without one. `engine_s` is processor
    time inside ngspice's run command, `busy_s` all that workers spent on rows.
    """

    values: Floats
    store: Store | None = None
    keys: Sequence[bytes] = ()
    failures: dict[int, Failure] = field(default_factory=dict)
    retried: dict[int, str] = field(default_factory=dict)
    runs: int = 0
    stored: int = 0
    engine_s: float = 0.0
    busy_s: float = 0.0
    run: Run | None = None

    def recall(self, wanted: Indices) -> Indices:
        """Take what the store has of the rows `wanted` and return the indices of the others."""
        if self.store is None:
            return wanted
        found = self.store.find([self.keys[i] for i in wanted.tolist()], self.values.shape[1])
        missing = []
        for index in wanted.tolist():
            sample = found.get(self.keys[index])
            if sample is None:
                missing.append(index)
            else:
                self._take(index, sample)
        return np.array(missing, dtype=np.int64)

    def enter(self, own: Indices, answer: Answer | Failure, way: str) -> None:
        """Enter an answer to the rows `own`, run by `way` ("" the first)."""
        if isinstance(answer, Failure):
            self.failures[int(own[0])] = replace(answer, attempts=2)
            self.runs += 2
            return
        self.values[own] = answer.values
        failed = {int(own[i]): failure for i, failure in answer.failures.items()}
        sound = [index for index in own.tolist() if index not in failed]
        for index in sound if way else ():
            self.failures.pop(index, None)
            self.retried[index] = way
        self._keep([(i, Sample(self.values[i], way)) for i in sound])
        self.failures |= failed
        self.runs += len(answer.values)
        self.engine_s += answer.engine_s
        self.busy_s += answer.busy_s
        self.run = answer.run or self.run

    def settle(self, first: dict[int, Failure]) -> None:
        """Let the first way's reason stand where the second failed too; count all attempts."""
        for index, failure in first.items():
            if index in self.failures:
                tries = failure.attempts + self.failures[index].attempts
                self.failures[index] = replace(failure, attempts=tries)

    def close(self) -> None:
        """Store the failures that would come out the same anywhere."""
        lasting = [
            (index, Sample(self.values[index], "", failure))
            for index, failure in self.failures.items()
            if failure.kind in _LASTING
        ]
        self._keep(lasting)

    def _take(self, index: int, sample: Sample) -> None:
        self.values[index] = sample.values
        self.stored += 1
        if sample.failure is not None:
            self.failures[index] = sample.failure
        elif sample.way:
            self.retried[index] = sample.way

    def _keep(self, samples: list[tuple[int, Sample]]) -> None:
        if self.store is not None:
            self.store.keep((self.keys[index], sample) for index, sample in samples)
