"""What comes back from the engine: the traces of one run, the values of many, named failures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FailureKind = Literal["did not converge", "timed out", "engine died", "truncated", "bad circuit"]

FAILURE_KINDS: tuple[FailureKind, ...] = (
    "did not converge",
    "timed out",
    "engine died",
    "truncated",
    "bad circuit",
)


@dataclass(frozen=True, slots=True)
class Run:
    """One completed simulation.

    `time` is in s, shape (n,); for a DC sweep `sweep` holds the swept source's level (V or A) and
    `time` is empty; an operating point has ``time == [0.0]`` and traces of length one. `traces`
    are by save name, in V or A. `values` are the reducer's outputs, filled in by
    `Engine.traces` and empty inside the reducer itself.
    """

    time: Floats
    traces: Mapping[str, Floats]
    sweep: Floats | None = None
    values: Mapping[str, float] = field(default_factory=dict)

    def trace(self, name: str) -> Floats:
        """Return the trace saved as `name` (``v(pin)``), shape (n,); KeyError names the others."""
        try:
            return self.traces[name]
        except KeyError:
            raise KeyError(f"{name} was not saved; saved are {', '.join(self.traces)}") from None


@dataclass(frozen=True, slots=True)
class Failure:
    """A sample without valid data: one of the named kinds, the reason, the netlist as it was run.

    `attempts` counts the tries, retries included; `stored` marks one known from an earlier run,
    `killed` one whose workers were killed from outside, time and again.
    """

    kind: FailureKind
    reason: str
    netlist: str
    attempts: int = 1
    stored: bool = False
    killed: bool = False


@dataclass(frozen=True, slots=True)
class Outcomes:
    """The values of many samples.

    `values` has shape (n, len(outputs)), in the order of `outputs`; NaN means "it never
    happened", or that the sample is in `failures` (by row index). `retried` tells which rows
    needed a second way and which it was. `runs` counts simulations, retries included; samples
    taken from a store cost none and are counted in `stored`. `engine_s` is the processor time
    spent inside ngspice's run command, `busy_s` all that the workers spent on the samples.
    """

    outputs: tuple[str, ...]
    values: Floats
    failures: Mapping[int, Failure]
    retried: Mapping[int, str]
    runs: int
    stored: int = 0
    engine_s: float = 0.0
    busy_s: float = 0.0

    def column(self, output: str) -> Floats:
        """Return the values of one output, shape (n,); KeyError when there is none."""
        if output not in self.outputs:
            raise KeyError(output)
        return self.values[:, self.outputs.index(output)]
