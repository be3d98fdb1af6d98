"""The Python API: ``check(design, engine)`` and what can be made of its outcome."""

from analog.workflows.check import check
from analog.workflows.checked import Case, Checked, CheckedBench, CheckedScene, FailedRun, FineRow
from analog.workflows.expectation import expectation_met
from analog.workflows.netlists import netlist

__all__ = [
    "Case",
    "Checked",
    "CheckedBench",
    "CheckedScene",
    "FailedRun",
    "FineRow",
    "check",
    "expectation_met",
    "netlist",
]
