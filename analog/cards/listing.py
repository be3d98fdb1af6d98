"""Part cards as plain records, and the count of their figures by kind of source.

The records are what `edgeproof parts --json` prints; `parts_schema.json` beside this file
describes them.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, get_args

from analog.cards.figures import FigureTable, Source, SourceKind
from analog.cards.records import Card, Column, Technology

PARTS_SCHEMA = "edgeproof-parts-1"
SOURCE_KINDS: tuple[str, ...] = get_args(SourceKind)


def parts_schema() -> dict[str, Any]:
    """Return the JSON Schema of `part_records`."""
    path = Path(__file__).with_name("parts_schema.json")
    schema: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return schema


def part_records(cards: Iterable[Card]) -> dict[str, Any]:
    """Return the cards as plain data: SI units, None where a source gives nothing."""
    return {"schema": PARTS_SCHEMA, "parts": [_card_record(card) for card in cards]}


def count_sources(cards: Iterable[Card]) -> dict[str, int]:
    """Return the number of different statements by kind of source; shared ones count once."""
    entries = {entry for card in cards for entry in sourced_statements(card)}
    counted = Counter[str](source.kind for _, source in entries)
    return {kind: counted[kind] for kind in SOURCE_KINDS}


def low_confidence(cards: Iterable[Card]) -> tuple[str, ...]:
    """Return "part (maker): figure" for every figure that rests on low-confidence memory."""
    return tuple(
        f"{card.identifier} ({column.maker}): {table.name}"
        for card in cards
        for column in card.columns
        for table in column.tables.values()
        if table.source.confidence == "low"
    )


def sourced_statements(card: Card) -> Iterator[tuple[object, Source]]:
    """Yield every sourced statement of a card, with something that tells them apart."""
    for column in card.columns:
        for table in column.tables.values():
            yield table, table.source
        for curve in column.curves.values():
            yield curve, curve.source
        where = (card.identifier, column.maker)
        if column.spice_source is not None:
            yield (*where, "spice"), column.spice_source
        if column.unlimited_transition_source is not None:
            yield (*where, "unlimited transition"), column.unlimited_transition_source
    if card.technology is not None:
        yield from _technology_statements(card.technology)


def _technology_statements(make: Technology) -> Iterator[tuple[object, Source]]:
    sources = {
        "tolerance": make.tolerance_source,
        "rating": make.rating_source,
        "law": make.law.source,
        "leakage": None if make.leakage is None else make.leakage.source,
        "bias": make.bias_source,
        "ageing": make.ageing_source,
        "distribution": make.distribution_source,
        **{f"size {size.rating_w:g} W": size.source for size in make.sizes},
    }
    for what, source in sources.items():
        if source is not None:
            yield (make.identifier, what), source


def _card_record(card: Card) -> dict[str, Any]:
    return {
        "identifier": card.identifier,
        "kind": card.kind,
        "title": card.title,
        "family": card.family,
        "aliases": list(card.aliases),
        "note": card.note,
        "file": card.file,
        "sha256": card.sha256,
        "columns": [_column_record(column) for column in card.columns],
        "technology": None if card.technology is None else _plain(asdict(card.technology)),
    }


def _column_record(column: Column) -> dict[str, Any]:
    return {
        "maker": column.maker,
        "note": column.note,
        "unlimited_transition": column.unlimited_transition,
        "figures": [_figure_record(table) for table in column.tables.values()],
        "curves": [_plain(asdict(curve)) for curve in column.curves.values()],
        "spice": dict(column.spice),
        "spice_source": None if column.spice_source is None else asdict(column.spice_source),
    }


def _figure_record(table: FigureTable) -> dict[str, Any]:
    return {
        "name": table.name,
        "unit": table.unit,
        "vdd": list(table.supplies),
        "min": _ends(table.minimum),
        "typ": _ends(table.typical),
        "max": _ends(table.maximum),
        "conditions": table.conditions,
        "source": asdict(table.source),
    }


def _ends(values: tuple[float, ...] | None) -> list[float] | None:
    return None if values is None else list(values)


def _plain(value: Any) -> Any:
    """Turn tuples into lists, so that the records equal their JSON."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(inner) for inner in value]
    return value
