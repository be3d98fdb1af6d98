"""The benches: one file each. A new bench is one import and one line in `BENCHES`."""

from __future__ import annotations

from analog.benches.base import Bench
from analog.benches.reset import RESET

BENCHES: tuple[Bench, ...] = (RESET,)
"""In the order in which reports show them: line_sense, conditioner, reset, gate_drive."""
