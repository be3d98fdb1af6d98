"""Which line of the design file sets a limit: where an editor or a code review points at."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pydantic import BaseModel

from analog.cards import UnknownPartError, find_card
from analog.design import Design, problem_at
from analog.results.records import MeasureRow

_JUDGED_PARTS = {
    "line_sense": ("conditioner.part", "clocked.part"),
    "conditioner": ("conditioner.part",),
    "reset": ("reset.receiver", "clocked.part"),
    "gate_drive": ("gate_drive.triac",),
    "supply": ("supply.regulator", "supply.transformer_voltage"),
}
"""Whose limits a bench judges, where neither source nor measure says."""

_KEY = re.compile(r"\b[a-z_]+\.[a-z_]+\b")


def limit_key(design: Design, bench: str, row: MeasureRow) -> str:
    """Return the dotted key of the design that sets the limit of a row.

    That is the design's own limit where it has one for the row; else the key that the limit's
    source names; else the part whose card the source speaks of; else the part that the measure
    is about; else the part that the bench judges; else what moves the measure most; else the
    bench's section.
    """
    own = f"{bench}.{row.measure}"
    identifier = row.limit.id if row.limit else ""
    for index, limit in enumerate(design.limits):
        if limit.measure == own and (limit.limit or "user") == identifier:
            return f"limits[{index}].measure"
    keys = [*_named_in(row), *_part_of(design, bench, row), *_subject(design, bench, row)]
    keys += [str(driver.get("key", "")) for driver in row.drivers]
    return next((key for key in keys if _given(design, key)), bench)


def limit_place(design: Design, bench: str, row: MeasureRow) -> tuple[int, int]:
    """Return line and column (from 1) of what sets the limit; 1, 1 for a design without text."""
    if not design.text:
        return 1, 1
    found = problem_at(design, "", limit_key(design, bench, row), "", "")
    return found.line, found.column


def _named_in(row: MeasureRow) -> list[str]:
    return _KEY.findall(row.limit.source) if row.limit else []


def _part_of(design: Design, bench: str, row: MeasureRow) -> Iterator[str]:
    """Yield the keys of parts that the limit's source speaks of, the bench's own first."""
    source = row.limit.source if row.limit else ""
    sections = [bench, *(name for name in type(design).model_fields if name != bench)]
    for section in sections:
        record = getattr(design, section, None)
        if isinstance(record, BaseModel):
            for name in type(record).model_fields:
                value = getattr(record, name)
                if isinstance(value, str) and any(word in source for word in _names(value)):
                    yield f"{section}.{name}"


def _names(value: str) -> Iterator[str]:
    """Yield the names under which a source may speak of a part; none for what is no part."""
    try:
        card = find_card(value)
    except UnknownPartError:
        return
    yield from (value, card.identifier.upper(), card.identifier)


def _subject(design: Design, bench: str, row: MeasureRow) -> Iterator[str]:
    """Yield keys whose name begins the measure's: series_resistor of series_resistor_power."""
    record = getattr(design, bench, None)
    if isinstance(record, BaseModel):
        names = [name for name in type(record).model_fields if row.measure.startswith(name)]
        yield from (f"{bench}.{name}" for name in sorted(names, key=len, reverse=True))
    if row.measure.startswith("led_"):
        yield f"{bench}.opto"
    section = design.conditioner
    for key in _JUDGED_PARTS.get(bench, ()):
        if key != "conditioner.part" or (section is not None and section.part != "none"):
            yield key


def _given(design: Design, key: str) -> bool:
    """Tell whether the design's text has the key itself, not only its section."""
    if not design.text or "." not in key:
        return False
    section = problem_at(design, "", key.partition(".")[0], "", "")
    found = problem_at(design, "", key, "", "")
    return found.value != "" and (found.line, found.column) != (section.line, section.column)
