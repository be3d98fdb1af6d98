"""What a sample's values depend on besides its parameters, as one hash."""

from __future__ import annotations

import hashlib
import importlib.util
from functools import lru_cache
from pathlib import Path

from analog.circuits.record import Experiment
from analog.engine.build import library_texts
from analog.engine.store import context_hash

# Code that turns a row into values: netlist, run and measures.
_LAYERS = ("circuits", "measures", "engine", "benches")


def experiment_identity(experiment: Experiment, engine_version: str) -> bytes:
    """Return the hash of experiment, libraries, measuring code and engine version.

    The record's repr is exact: plain frozen records of names and floats.
    """
    libraries = library_texts(experiment.circuit)
    return context_hash(
        repr(experiment),
        repr(sorted(libraries.items())),
        code_identity(),
        _module_code(experiment.reducer.partition(":")[0]),
        engine_version,
    )


@lru_cache(maxsize=1)
def code_identity() -> str:
    """Return the hash of the code of ours that values depend on."""
    package = Path(__file__).resolve().parent.parent
    files = sorted(path for layer in _LAYERS for path in (package / layer).glob("*.py"))
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


@lru_cache(maxsize=64)
def _module_code(name: str) -> str:
    """Return the hash of the reducer's own module, which may lie outside the package."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        return ""
    return hashlib.sha256(Path(spec.origin).read_bytes()).hexdigest()
