"""Run experiments in one session, altered and loaded anew; started as a process of its own.

Reads {name: (experiment, rows)} pickled from standard input; writes JSON: whether the circuit is
altered, the values of each row, whether they and the traces are the same bytes in another order
and with another row loaded first, and the largest difference of a value to that of a circuit
loaded anew, as a share of the value (NaN on both sides being none).
"""

from __future__ import annotations

import json
import math
import os
import pickle
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analog.circuits.record import Experiment
from analog.engine.library import used_library
from analog.engine.ready import Ready, make_ready, simulate, write
from analog.engine.reducers import reduce_run
from analog.engine.session import Session

Rows = Sequence[Mapping[str, float]]


def run(session: Session, ready: Ready, row: Mapping[str, float]) -> tuple[bytes, list[float]]:
    """Return all traces as bytes, and the values."""
    experiment = ready.deck.experiment
    found = simulate(session, ready, write(ready, row))
    raw = found.time.tobytes() + b"".join(found.trace(n).tobytes() for n in experiment.saves)
    values = reduce_run(ready.reducer, found, row, experiment.outputs)
    del found
    session.discard()
    return raw, values


def compare(session: Session, experiment: Experiment, rows: Rows) -> dict[str, Any]:
    ready = make_ready(experiment)
    assert isinstance(ready, Ready)
    first = [run(session, ready, row) for row in rows]
    session.remove_circuit()
    order = np.random.default_rng(7).permutation(len(rows)).tolist()
    again = {k: run(session, ready, rows[k]) for k in order}
    plain = replace(ready, alterations=None)
    loaded = [run(session, plain, row)[1] for row in rows]
    shares = [
        share(a, b)
        for (_, ours), theirs in zip(first, loaded, strict=True)
        for name, a, b in zip(experiment.outputs, ours, theirs, strict=True)
        # Of two samples of a crest, equal but for rounding, either may be the highest.
        if name not in ("t_peak", "t_trough")
    ]
    return {
        "altered": ready.alterations is not None,
        "values": [values for _, values in first],
        "same_in_any_order": all(again[k][0] == first[k][0] for k in order),
        "largest_share": max(shares),
    }


def share(ours: float, theirs: float) -> float:
    if math.isnan(ours) and math.isnan(theirs):
        return 0.0
    difference = abs(ours - theirs)
    return math.inf if math.isnan(difference) else difference / max(abs(theirs), 1e-6)


def main() -> None:
    work = pickle.load(sys.stdin.buffer)
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        Path(".spiceinit").touch()
        session = Session(used_library().path, lambda _line: None)
        found = {name: compare(session, *one) for name, one in work.items()}
        os.chdir("/")
    print(json.dumps(found))


if __name__ == "__main__":
    main()
