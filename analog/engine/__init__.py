"""ngspice in worker processes: rows of parameters in, rows of measured values out."""

from analog.engine.build import netlist, refined
from analog.engine.engine import Engine, Progress, open_engine
from analog.engine.outcome import FAILURE_KINDS, Failure, FailureKind, Outcomes, Run
from analog.engine.store import default_store_path

__all__ = [
    "FAILURE_KINDS",
    "Engine",
    "Failure",
    "FailureKind",
    "Outcomes",
    "Progress",
    "Run",
    "default_store_path",
    "netlist",
    "open_engine",
    "refined",
]
