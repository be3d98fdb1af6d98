"""The benches: one file each. A new bench is one import and one line in `BENCHES`."""

from __future__ import annotations

from analog.benches.base import Bench
from analog.benches.conditioner import CONDITIONER
from analog.benches.gate_drive import GATE_DRIVE
from analog.benches.line_sense import LINE_SENSE
from analog.benches.reset import RESET
from analog.benches.supply import SUPPLY

BENCHES: tuple[Bench, ...] = (LINE_SENSE, CONDITIONER, RESET, GATE_DRIVE, SUPPLY)
"""In the order in which reports show them: line_sense, conditioner, reset, gate_drive, supply."""
