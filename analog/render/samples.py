"""Every sampled board as a table: `samples.csv`, SI units in the header, one row per board.

An empty cell is a simulation without data, ``never`` one that ran and in which the thing did not
happen. Text that a spreadsheet would take for a formula gets an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analog.circuits.space import Floats
from analog.studies.archive import Flags
from analog.workflows.board_runs import FAILED, LOST, WORKS
from analog.workflows.sweep import Swept

NEVER = "never"

_STATUS = {FAILED: "fails", LOST: "no data", WORKS: "works"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|")


@dataclass(frozen=True, slots=True)
class Sampled:
    """One column: its heading with unit, its numbers (boards,), where a run gave none."""

    heading: str
    values: Floats
    missing: Flags | None = None


def columns(swept: Swept) -> tuple[Sampled, ...]:
    """Return the columns of values: first what the boards are, then what they do."""
    return (*_inputs(swept), *_measures(swept))


def samples_csv(swept: Swept) -> str:
    """Return the table as CSV (RFC 4180, but lines end in a plain line feed)."""
    found = columns(swept)
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow([harmless(text) for text in ("board", "status", *(c.heading for c in found))])
    cells = [_cells(column) for column in found]
    for index, status in enumerate(statuses(swept)):
        writer.writerow([index, status, *(column[index] for column in cells)])
    return target.getvalue()


def statuses(swept: Swept) -> list[str]:
    """Return what became of every board, in words."""
    return [_STATUS[status] for status in swept.status.tolist()]


def harmless(text: str) -> str:
    """Return text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def _inputs(swept: Swept) -> Iterator[Sampled]:
    """Yield each design key once; one whose values differ by scene once per scene."""
    found: dict[str, list[tuple[str, str, Floats]]] = {}
    count = swept.runs.count
    for own in swept.runs.scenes:
        values = own.scene.values(swept.numbers)
        for axis in own.scene.scene.space.axes:
            column = np.broadcast_to(values[axis.key], count)
            known = found.setdefault(axis.key, [])
            if not any(np.array_equal(column, other) for _, _, other in known):
                place = f"{own.scene.plan.bench}.{own.scene.scene.identifier}"
                known.append((place, axis.unit, column))
    for key, variants in found.items():
        for place, unit, column in variants:
            name = key if len(variants) == 1 else f"{key} in {place}"
            yield Sampled(f"{name} [{unit}]", column)


def _measures(swept: Swept) -> Iterator[Sampled]:
    for bench in swept.verdicts.benches:
        for measure in bench.plan.measures:
            name = measure.identifier
            giving = [r for r in bench.runs if name in r.scene.scene.measures]
            for own in giving:
                place = f" in {own.scene.scene.identifier}" if len(giving) > 1 else ""
                heading = f"{bench.plan.bench}.{name}{place} [{measure.unit}]"
                yield Sampled(heading, own.column(name), own.failed)


def _cells(column: Sampled) -> Sequence[str]:
    missing = column.missing
    return [
        "" if missing is not None and missing[index] else _number(value)
        for index, value in enumerate(column.values.tolist())
    ]


def _number(value: float) -> str:
    return NEVER if math.isnan(value) else f"{value:.9g}"
